"""Takes files in: known tables only, every row either used or set aside with its reason, nothing half stored."""

from __future__ import annotations

from bobstay.ingest.load import ingest
from bobstay.ingest.record import Confirmation, FileReport, IngestReport

__all__ = ["Confirmation", "FileReport", "IngestReport", "ingest"]
