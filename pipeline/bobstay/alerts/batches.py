"""Alerts about suppliers and batches: more findings than luck would bring, set against the rest of their class."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay.alerts.chance import group_tail, share_tail
from bobstay.bounds import holm

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

LEVEL = 0.05  # of the adjusted chance


@dataclass(frozen=True, slots=True)
class _Group:
    """One supplier or batch within one class."""

    name: str
    size: int
    seen: int
    total: int
    found: int
    share: float  # of the hazard gone through by the class; the share of lives where the class has no curve

    @property
    def expected(self) -> float:
        return self.found * max(self.share, self.size / self.total)

    @property
    def p_value(self) -> float:
        """Return the larger of two chances: by count of parts, and by hazard gone through (older parts find more)."""
        by_count = group_tail(self.seen, group=self.size, found=self.found, total=self.total)
        return max(by_count, share_tail(self.seen, found=self.found, share=self.share))


def batches(lives: pd.DataFrame, classes: pd.DataFrame) -> list[dict[str, Any]]:
    """Return an alert for each supplier or batch whose findings stand out from its class (Holm-adjusted, LEVEL).

    Only lives with a look that counts are compared; a group that is the whole class has nothing to stand out from.
    """
    groups = list(_groups(lives, classes))
    if not groups:
        return []
    p_values = np.array([group.p_value for group in groups])
    adjusted = holm(p_values)
    return [
        _row(group, float(p), float(q)) for group, p, q in zip(groups, p_values, adjusted, strict=True) if q <= LEVEL
    ]


def _groups(lives: pd.DataFrame, classes: pd.DataFrame) -> Iterator[_Group]:
    looked = lives[(lives["valid_look_count"] > 0) & lives["left_out"].isna()]
    curves = {(c["fitting_type"], c["material"]): (c["shape"], c["scale_years"]) for c in classes.to_dict("records")}
    for (kind, material), rows in looked.groupby(["fitting_type", "material"], sort=True):
        is_found = np.isfinite(rows["upper_years"].to_numpy(dtype=np.float64))
        if not is_found.any():
            continue
        hazard = hazard_gone_through(rows, *curves.get((kind, material), (np.nan, np.nan)))
        for name, members in _members(rows):
            if 1 < members.sum() < len(rows):
                share = float(hazard[members].sum() / hazard.sum())
                counts = (int(members.sum()), int(is_found[members].sum()), len(rows), int(is_found.sum()))
                yield _Group(f"{kind} of {material}: {name}", *counts, share)


def _members(rows: pd.DataFrame) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    """Yield each supplier, and each batch of each supplier, with the rows that are its own."""
    supplier = rows["supplier"].fillna("").astype(str)
    batch = rows["batch"].fillna("").astype(str)
    for name in sorted(set(supplier) - {""}):
        yield f"supplier {name}", (supplier == name).to_numpy()
    for name, lot in sorted(set(zip(supplier, batch, strict=True))):
        if lot:
            whose = f" of {name}" if name else ""
            yield f"batch {lot}{whose}", ((supplier == name) & (batch == lot)).to_numpy()


def hazard_gone_through(rows: pd.DataFrame, shape: float, scale_years: float) -> NDArray[np.float64]:
    """Return the cumulative hazard of each life between entry and its last look; ones where there is no curve."""
    if np.isnan(shape) or np.isnan(scale_years):
        return np.ones(len(rows))
    upper = rows["upper_years"].to_numpy(dtype=np.float64)
    last = np.where(np.isfinite(upper), upper, rows["lower_years"].to_numpy(dtype=np.float64))
    entry = rows["entry_years"].fillna(0.0).to_numpy(dtype=np.float64)
    gone = (last / scale_years) ** shape - (np.minimum(entry, last) / scale_years) ** shape
    return np.asarray(gone if gone.sum() > 0 else np.ones(len(rows)), dtype=np.float64)


def _row(group: _Group, p_value: float, p_adjusted: float) -> dict[str, Any]:
    return {
        "kind": "batch",
        "subject": group.name,
        "seen": float(group.seen),
        "expected": group.expected,
        "p_value": p_value,
        "p_adjusted": p_adjusted,
        "note": f"{group.seen} of {group.size} looked at showed an indication, where {group.expected:.1f} would be "
        f"expected from the whole class ({group.found} of {group.total}) and its ages. Look at the others of this "
        "group first; parts of one boat are not independent, so take the chance as a pointer.",
    }
