"""Errors a user can meet: three lines (what is wrong, where, what to do) and an exit code."""

from __future__ import annotations


class BobstayError(Exception):
    """A fault that is explained to the user in three lines; never shown as a traceback.

    `what` says what is wrong, `where` names file, line, column or value, `remedy` says what to do.
    """

    exit_code = 1

    def __init__(self, what: str, *, where: str = "-", remedy: str = "-") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.remedy = remedy

    def lines(self) -> tuple[str, str, str]:
        """Return the three lines that are printed."""
        return (f"error: {self.what}", f"where: {self.where}", f"to do: {self.remedy}")


class UsageError(BobstayError):
    """Wrong use: a missing file, an unknown setting, an unknown boat. Exit code 2."""

    exit_code = 2


class UnusableDataError(BobstayError):
    """Files that cannot be used at all; nothing was stored. Exit code 3."""

    exit_code = 3


class StoreError(BobstayError):
    """The store cannot be opened, is locked by another process, or is not one of ours. Exit code 2."""

    exit_code = 2


class EstimateError(BobstayError, ValueError):
    """Numbers from which no estimate can be made: bad intervals, or no finite maximum. Exit code 4."""

    exit_code = 4
