"""Rows of looks, sorted by copy and age and cut into chunks that stay in the processor's cache."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from bobstay.joint.fleet import Fleet, Floats, Ints
from bobstay.joint.rates import code_count, empty_code, entry_code, hidden_code

CHUNK_ROWS = 32_768
LEAST_AGE = 0.5 / 365.25  # half a day: a look on the day of installation has no logarithm otherwise


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bounds of one chunk, cut between lives: lives, copies and rows, each [from, to)."""

    lives: slice
    copies: slice
    rows: slice


@dataclass(frozen=True, slots=True)
class Layout:
    """Looks of a fleet in the order the passes want; arrays by row, by copy and by life."""

    log_age: Floats
    code: Ints
    gap: Floats  # years in service around each row in which a crack older than it could have failed
    row_counts: Ints  # rows of each copy
    row_starts: Ints
    copy_counts: Ints  # copies of each life
    copy_starts: Ints
    copy_life: Ints
    copy_log_weight: Floats
    late: Ints  # copies that joined late
    late_log_entry: Floats
    code_count: int
    looks_by_code: Floats  # each look of a life once, whatever its copies
    chunks: tuple[Chunk, ...]

    @property
    def has_copies(self) -> bool:
        """Say whether some life has more than one copy."""
        return len(self.copy_life) > len(self.copy_counts)


def starts_of(counts: Ints) -> Ints:
    """Return where each group starts when groups of these sizes stand in a row."""
    return np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.intp) if len(counts) else counts


def lay_out(fleet: Fleet, row_count: int) -> Layout:
    """Sort the looks of `fleet` by copy and age, a late joiner's pseudo-look first, and cut them into chunks."""
    looks = np.bincount(fleet.look_life, minlength=fleet.life_count)[fleet.copy_life]
    late = fleet.copy_entry > 0.0
    row_counts = looks + (late | (looks == 0))
    copy_counts = np.bincount(fleet.copy_life, minlength=fleet.life_count)
    age, code = _rows(fleet, looks, row_counts, row_count)
    row_starts, copy_starts = starts_of(row_counts), starts_of(copy_counts)
    codes = code_count(row_count)
    return Layout(
        log_age=np.log(np.maximum(age, LEAST_AGE)),
        code=code,
        gap=_gaps(fleet, age, code, row_counts, empty_code(row_count)),
        row_counts=row_counts,
        row_starts=row_starts,
        copy_counts=copy_counts,
        copy_starts=copy_starts,
        copy_life=fleet.copy_life,
        copy_log_weight=fleet.copy_log_weight,
        late=np.flatnonzero(late),
        late_log_entry=np.log(np.maximum(fleet.copy_entry[late], LEAST_AGE)),
        code_count=codes,
        looks_by_code=np.bincount(fleet.look_code, minlength=codes).astype(float),
        chunks=_cut(np.append(row_starts, row_counts.sum()), np.append(copy_starts, len(row_counts))),
    )


def _rows(fleet: Fleet, looks: Ints, row_counts: Ints, row_count: int) -> tuple[Floats, Ints]:
    """Return age and code of every row; a copy that joined late or has no look begins with a row of its own."""
    source, target = _places(fleet, looks, row_counts)
    age = np.ones(int(row_counts.sum()))
    code = np.full(len(age), empty_code(row_count), dtype=np.intp)
    age[target] = fleet.look_age[source] + np.repeat(fleet.copy_shift, looks)
    hidden = np.repeat(fleet.copy_hidden, looks) & (fleet.look_code[source] < hidden_code(0, row_count))
    code[target] = fleet.look_code[source] + np.where(hidden, hidden_code(0, row_count), 0)
    late = fleet.copy_entry > 0.0
    first = starts_of(row_counts)[late]
    age[first], code[first] = fleet.copy_entry[late], entry_code(row_count)
    return age, code


def _gaps(fleet: Fleet, age: Floats, code: Ints, row_counts: Ints, empty: int) -> Floats:
    """Return by row half of the years since the row before and until the next, all of those from the last to the end.

    A crack that began between two rows has been there for half of the years between them on average.
    """
    if fleet.end_years is None or not len(age):
        return np.zeros(len(age))
    first = starts_of(row_counts)
    last = first + row_counts - 1
    before, after = np.zeros(len(age)), np.zeros(len(age))
    before[1:] = np.diff(age)
    after[:-1] = before[1:]
    before[first] = np.where(fleet.copy_entry > 0.0, 0.0, age[first])
    after[last] = 2.0 * (fleet.end_years[fleet.copy_life] + fleet.copy_shift - age[last])
    return np.where(code == empty, 0.0, np.maximum(0.5 * (before + np.maximum(after, 0.0)), 0.0))


def _places(fleet: Fleet, looks: Ints, row_counts: Ints) -> tuple[Ints, Ints]:
    """Return for each look of each copy, by age, its place among the fleet's looks and among the rows."""
    order = np.lexsort((fleet.look_code, fleet.look_age, fleet.look_life))
    first_look = starts_of(np.bincount(fleet.look_life, minlength=fleet.life_count))
    within = np.arange(looks.sum()) - np.repeat(starts_of(looks), looks)
    source = order[np.repeat(first_look[fleet.copy_life], looks) + within]
    return source, np.repeat(starts_of(row_counts) + row_counts - looks, looks) + within


def _cut(row_bounds: Ints, copy_bounds: Ints) -> tuple[Chunk, ...]:
    """Cut between lives so that no chunk has many more than CHUNK_ROWS rows; bounds by copy and by life."""
    first_row = row_bounds[copy_bounds]
    cuts = np.flatnonzero(np.diff(first_row[:-1] // CHUNK_ROWS, prepend=-1))
    edges = [*cuts.tolist(), len(copy_bounds) - 1]
    return tuple(
        Chunk(
            slice(lo, hi),
            slice(int(copy_bounds[lo]), int(copy_bounds[hi])),
            slice(int(first_row[lo]), int(first_row[hi])),
        )
        for lo, hi in pairwise(edges)
    )
