"""What moved since the last run of the same store, and why."""

from bobstay.changes.record import Run, keep_last, last_run, named, note, run_before, this_run
from bobstay.changes.table import moved

__all__ = ["Run", "keep_last", "last_run", "moved", "named", "note", "run_before", "this_run"]
