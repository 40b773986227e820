"""Rows of looks laid out for the passes: copies with as many rows side by side, cut to what a cache holds.

A block holds the rows of its copies as a table (rows of a copy, copies), one look of each copy a line, so that sums
over the looks of a copy are sums of lines. Shorter copies are filled up with lines that tell nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bobstay.joint.fleet import Bools, Fleet, Floats, Ints
from bobstay.joint.rates import code_count, empty_code, entry_code, hidden_code

BLOCK_ROWS = 12_288  # ten arrays of these are about what a core's own cache holds
MOST_FILLED = 3_000  # lines that tell nothing are cheaper than one block more
_Rows = tuple[Floats, Ints, Floats]
LEAST_AGE = 0.5 / 365.25  # half a day: a look on the day of installation has no logarithm otherwise


@dataclass(frozen=True, slots=True)
class Block:
    """Some copies and their rows; the late joiners stand first."""

    places: slice  # of its copies in the order of the layout
    rows: slice
    depth: int  # rows a copy
    late_count: int

    def table(self, by_row: Floats) -> Floats:
        """Return this block's part of an array by row, as (depth, copies)."""
        return by_row[self.rows].reshape(self.depth, -1)

    def codes(self, by_row: Ints) -> Ints:
        """Return this block's codes, as (depth, copies)."""
        return by_row[self.rows].reshape(self.depth, -1)


@dataclass(frozen=True, slots=True)
class Layout:
    """Looks of a fleet in the order the passes want: arrays by row, by copy in the layout's order, by life."""

    log_age: Floats
    code: Ints
    gap: Floats  # years in service around each row in which a crack older than it could have failed
    life: Ints  # life of each copy, in the layout's order
    place: Ints  # where each copy of the fleet stands in that order
    log_weight: Floats  # prior weight of each copy, in the layout's order
    copy_counts: Ints  # copies of each life
    copy_starts: Ints  # where the copies of each life start, in the fleet's order
    code_count: int
    looks_by_code: Floats  # each look of a life once, whatever its copies
    blocks: tuple[Block, ...]

    @property
    def has_copies(self) -> bool:
        """Say whether some life has more than one copy."""
        return len(self.life) > len(self.copy_counts)

    def by_copy(self, by_place: Floats) -> Floats:
        """Return values of the last axis, in the layout's order, in the fleet's order of copies."""
        return np.take(by_place, self.place, axis=-1)

    def by_place(self, by_copy: Floats) -> Floats:
        """Return values of the last axis, by copy in the fleet's order, in the layout's."""
        out = np.empty_like(by_copy)
        out[..., self.place] = by_copy
        return out


def starts_of(counts: Ints) -> Ints:
    """Return where each group starts when groups of these sizes stand in a row."""
    return np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.intp) if len(counts) else counts


def lay_out(fleet: Fleet, row_count: int) -> Layout:
    """Sort the looks of `fleet` by copy and age, a late joiner's pseudo-look first, and cut them into blocks."""
    looks, late = _Looks.of(fleet), fleet.copy_entry > 0.0
    depths = _depths(np.maximum(looks.counts[fleet.copy_life] + late, 1))
    order = np.lexsort((~late, -depths))
    blocks = _cut(depths[order], late[order])
    copy_counts = np.bincount(fleet.copy_life, minlength=fleet.life_count)
    codes = code_count(row_count)
    log_age, code, gap = _filled(fleet, looks, order, blocks, row_count)
    place = np.empty(len(order), dtype=np.intp)
    place[order] = np.arange(len(order))
    return Layout(
        log_age=log_age,
        code=code,
        gap=gap,
        life=fleet.copy_life[order],
        place=place,
        log_weight=fleet.copy_log_weight[order],
        copy_counts=copy_counts,
        copy_starts=starts_of(copy_counts),
        code_count=codes,
        looks_by_code=np.bincount(fleet.look_code, minlength=codes).astype(float),
        blocks=blocks,
    )


def _depths(counts: Ints) -> Ints:
    """Return to how many rows each copy is filled up: those of the next longer copies while few rows are lost so."""
    sizes = np.bincount(counts)
    depth_of = np.arange(len(sizes))
    depth, filled = len(sizes) - 1, 0
    for size in range(len(sizes) - 1, 0, -1):
        filled += int(sizes[size]) * (depth - size)
        if filled > MOST_FILLED:
            depth, filled = size, 0
        depth_of[size] = depth
    return np.asarray(depth_of[counts], dtype=np.intp)


def _cut(depths: Ints, late: Bools) -> tuple[Block, ...]:
    """Cut copies sorted by depth, the late first, so that no block has many more than BLOCK_ROWS rows."""
    edges = np.append(np.flatnonzero(np.diff(depths, prepend=-1)), len(depths))
    blocks: list[Block] = []
    row = 0
    for lo, hi in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        depth = int(depths[lo])
        wide = max(BLOCK_ROWS // depth, 1)
        for first in range(lo, hi, wide):
            last = min(first + wide, hi)
            rows = slice(row, row + depth * (last - first))
            blocks.append(Block(slice(first, last), rows, depth, int(late[first:last].sum())))
            row = rows.stop
    return tuple(blocks)


@dataclass(frozen=True, slots=True)
class _Looks:
    """The looks of a fleet in the order of life and age, where those of each life start, and how many there are."""

    age: Floats
    code: Ints
    first: Ints
    counts: Ints

    @classmethod
    def of(cls, fleet: Fleet) -> _Looks:
        """Sort the looks of a fleet."""
        order, counts = _sorted_looks(fleet), np.bincount(fleet.look_life, minlength=fleet.life_count)
        return cls(fleet.look_age[order], fleet.look_code[order], starts_of(counts), counts)


def _filled(fleet: Fleet, looks: _Looks, order: Ints, blocks: tuple[Block, ...], row_count: int) -> _Rows:
    """Return log age, code and gap of every row."""
    rows = blocks[-1].rows.stop if blocks else 0
    log_age, code, gap = np.empty(rows), np.empty(rows, dtype=np.intp), np.zeros(rows)
    for block in blocks:
        copies = order[block.places]
        age, codes, counts = _block_rows(fleet, looks, copies, block.depth, row_count)
        code[block.rows], log_age[block.rows] = codes.ravel(), np.log(np.maximum(age, LEAST_AGE)).ravel()
        if fleet.end_years is not None:
            ends = fleet.end_years[fleet.copy_life[copies]] + fleet.copy_shift[copies]
            gaps = _gaps(age, counts, fleet.copy_entry[copies] > 0.0, ends)
            gap[block.rows] = np.where(codes == empty_code(row_count), 0.0, gaps).ravel()
    return log_age, code, gap


def _block_rows(fleet: Fleet, looks: _Looks, copies: Ints, depth: int, row_count: int) -> tuple[Floats, Ints, Ints]:
    """Return age and code by row (depth, copies), and by copy the rows that are its own."""
    life, late = fleet.copy_life[copies], fleet.copy_entry[copies] > 0.0
    number = np.arange(depth)[:, None] - late  # of the look that stands in a line; -1: a late joiner's entry
    is_look = (number >= 0) & (number < looks.counts[life])
    age, codes = np.ones(number.shape), np.full(number.shape, empty_code(row_count), dtype=np.intp)
    if len(looks.age):
        at = np.where(is_look, looks.first[life] + number, 0)
        age = np.where(is_look, looks.age[at] + fleet.copy_shift[copies], age)
        codes = np.where(is_look, looks.code[at], codes)
    codes[is_look & fleet.copy_hidden[copies] & (codes < hidden_code(0, row_count))] += hidden_code(0, row_count)
    age[0, late], codes[0, late] = fleet.copy_entry[copies[late]], entry_code(row_count)
    counts = np.maximum(looks.counts[life] + late, 1)
    for line in range(1, depth):  # lines that tell nothing stand at the age of the last that does
        age[line] = np.where(line < counts, age[line], age[line - 1])
    return age, codes, counts


def _gaps(age: Floats, counts: Ints, late: Bools, ends: Floats) -> Floats:
    """Return by row half of the years since the row before and until the next, all of those from the last to the end.

    A crack that began between two rows has been there for half of the years between them on average. A part that never
    came under watch (its entry is infinite) has none.
    """
    is_watched = np.isfinite(age)
    age = np.where(is_watched, age, 0.0)
    before = np.diff(age, axis=0, prepend=np.where(late, age[0], 0.0)[None])
    after = np.concatenate([before[1:], np.zeros((1, age.shape[1]))])
    last = counts - 1
    columns = np.arange(age.shape[1])
    after[last, columns] = np.maximum(2.0 * (ends - age[last, columns]), 0.0)
    return np.where(is_watched, np.maximum(0.5 * (before + after), 0.0), 0.0)


def _sorted_looks(fleet: Fleet) -> Ints:
    """Return the looks in the order of their lives and ages, those of one day by code."""
    order = np.lexsort((fleet.look_age, fleet.look_life))
    life, age = fleet.look_life[order], fleet.look_age[order]
    if ((life[1:] == life[:-1]) & (age[1:] == age[:-1])).any():
        return np.lexsort((fleet.look_code, fleet.look_age, fleet.look_life))
    return order
