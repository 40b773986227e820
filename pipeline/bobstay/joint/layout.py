"""Rows of looks, sorted by copy and age and cut into chunks that stay in the processor's cache."""

from __future__ import annotations

from dataclasses import dataclass

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
    order = np.lexsort((fleet.look_code, fleet.look_age, fleet.look_life))
    look_counts = np.bincount(fleet.look_life, minlength=fleet.life_count)
    late = fleet.copy_entry > 0.0
    looks = look_counts[fleet.copy_life]
    head = (late | (looks == 0)).astype(np.intp)
    counts = looks + head
    starts = starts_of(counts)
    log_age, code = _rows(fleet, order, starts_of(look_counts), looks, head, starts, row_count)
    copy_counts = np.bincount(fleet.copy_life, minlength=fleet.life_count)
    codes = code_count(row_count)
    return Layout(
        log_age=log_age,
        code=code,
        row_counts=counts,
        row_starts=starts,
        copy_counts=copy_counts,
        copy_starts=starts_of(copy_counts),
        copy_life=fleet.copy_life,
        copy_log_weight=fleet.copy_log_weight,
        late=np.flatnonzero(late),
        late_log_entry=np.log(np.maximum(fleet.copy_entry[late], LEAST_AGE)),
        code_count=codes,
        looks_by_code=np.bincount(fleet.look_code, minlength=codes).astype(float),
        chunks=_cut(counts, starts, copy_counts, starts_of(copy_counts)),
    )


def _rows(
    fleet: Fleet, order: Ints, look_starts: Ints, looks: Ints, head: Ints, starts: Ints, row_count: int
) -> tuple[Floats, Ints]:
    """Return ln age and code of every row; head rows are pseudo-looks or empty rows."""
    within = np.arange(looks.sum()) - np.repeat(starts_of(looks), looks)
    source = order[np.repeat(look_starts[fleet.copy_life], looks) + within]
    target = np.repeat(starts + head, looks) + within
    age = np.ones(int(looks.sum() + head.sum()))
    code = np.full(len(age), empty_code(row_count), dtype=np.intp)
    age[target] = fleet.look_age[source] + np.repeat(fleet.copy_shift, looks)
    hidden = np.repeat(fleet.copy_hidden, looks)
    code[target] = np.where(hidden, hidden_code(fleet.look_code[source], row_count), fleet.look_code[source])
    late = fleet.copy_entry > 0.0
    age[starts[late]] = fleet.copy_entry[late]
    code[starts[late]] = entry_code(row_count)
    return np.log(np.maximum(age, LEAST_AGE)), code


def _cut(counts: Ints, starts: Ints, copy_counts: Ints, copy_starts: Ints) -> tuple[Chunk, ...]:
    """Cut between lives so that no chunk has many more than CHUNK_ROWS rows."""
    if not len(copy_counts):
        return ()
    ends = starts + counts
    last_row = ends[copy_starts + copy_counts - 1]
    first_row = np.concatenate([[0], last_row[:-1]])
    bucket = first_row // CHUNK_ROWS
    firsts = np.flatnonzero(np.diff(bucket, prepend=-1))
    bounds = [*firsts.tolist(), len(copy_counts)]
    return tuple(_chunk(lo, hi, first_row, last_row, copy_starts, copy_counts) for lo, hi in _pairs(bounds))


def _pairs(bounds: list[int]) -> list[tuple[int, int]]:
    return list(zip(bounds[:-1], bounds[1:], strict=True))


def _chunk(lo: int, hi: int, first_row: Ints, last_row: Ints, copy_starts: Ints, copy_counts: Ints) -> Chunk:
    copies = slice(int(copy_starts[lo]), int(copy_starts[hi - 1] + copy_counts[hi - 1]))
    return Chunk(slice(lo, hi), copies, slice(int(first_row[lo]), int(last_row[hi - 1])))
