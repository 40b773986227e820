"""Takes files in: known tables only, every row either used or set aside with its reason, nothing half stored."""

from __future__ import annotations

from bobstay.ingest.load import ingest
from bobstay.ingest.record import FileReport, IngestReport

__all__ = ["FileReport", "IngestReport", "ingest"]
