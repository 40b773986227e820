"""What each look was expected to show, given only the looks at its life before it: what seen findings are held against.

Look by look the chance of a crack runs on: it grows with age by the curve, falls with a clear look, and rises with a
finding. Seen less predicted findings are then uncorrelated whatever the looks, so that they may be summed over any
group (Dawid 1984, prequential, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bobstay.joint.fleet import Floats, Ints
from bobstay.joint.model import Model, Point
from bobstay.joint.passes import Part
from bobstay.joint.rates import KINDS, code_tables, expit

LEAST = 1e-300


@dataclass(frozen=True, slots=True)
class Predicted:
    """By look at a life of known age: its class, its age, what it showed and the chance that it would."""

    class_index: Ints
    age_years: Floats
    shows: Floats
    chance: Floats


def predicted(model: Model, point: Point) -> Predicted:
    """Return the looks by a named method at lives of one age, with their chances to show an indication at `point`."""
    layout, rate_count = model.layout, model.rates.row_count
    a, b = model.ab(point)
    beta, rates = np.exp(b), expit(point.psi)
    tables = code_tables(point.psi, model.cleared, log_times=model.signs.log_times)
    single = layout.copy_counts[layout.life] == 1
    kept: list[tuple[Ints, Floats, Floats, Floats]] = []
    for block in layout.blocks:
        part, code = Part.of(layout, block, a, beta), block.codes(layout.code)
        row = np.minimum(code // len(KINDS), rate_count - 1)
        cracked = _run_on(part, tables, code, excess=model.signs.excess * block.table(layout.gap))
        chance = rates[row] * cracked + rates[rate_count + row] * (1.0 - cracked)
        told = (code < rate_count * len(KINDS)) & single[block.places]
        classes = np.broadcast_to(model.fleet.class_index[layout.life[block.places]], code.shape)
        shows = (code % len(KINDS) > 0).astype(float)
        age = np.exp(block.table(layout.log_age))
        kept.append((classes[told], age[told], shows[told], chance[told]))
    columns = [np.concatenate(column) for column in zip(*kept, strict=True)]
    return Predicted(columns[0].astype(np.intp), columns[1], columns[2], columns[3])


def _run_on(part: Part, tables: tuple[Floats, Floats], code: Ints, *, excess: Floats) -> Floats:
    """Return by row the chance of a crack just before its look, given the rows before it."""
    copies = code.shape[1]
    sound, cracked, hazard = np.ones(copies), np.zeros(copies), np.zeros(copies)
    out = np.empty(code.shape)
    for line in range(part.block.depth):
        grown = -np.expm1(hazard - part.hazard[line])  # chance to crack since the row before, if sound then
        cracked, sound, hazard = cracked + sound * grown, sound * (1.0 - grown), part.hazard[line]
        out[line] = cracked / np.maximum(cracked + sound, LEAST)
        sound = (1.0 - out[line]) * np.exp(tables[0][code[line]])
        cracked = out[line] * np.exp(tables[1][code[line]] - excess[line])
    return out
