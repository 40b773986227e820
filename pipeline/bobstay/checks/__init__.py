"""Checks beside the estimate: what shortcuts would have claimed, and whether the curve and the clock hold."""

from __future__ import annotations

from bobstay.checks.clock import clock_table
from bobstay.checks.fits import fits_table
from bobstay.checks.forms import families_table
from bobstay.checks.scheduled import on_scheduled_looks, scheduled_table, with_warning
from bobstay.checks.shortcuts import shortcuts_table

__all__ = [
    "clock_table",
    "families_table",
    "fits_table",
    "on_scheduled_looks",
    "scheduled_table",
    "shortcuts_table",
    "with_warning",
]
