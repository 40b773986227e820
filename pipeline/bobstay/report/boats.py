"""What each boat's page and her line on the fleet page say: her fittings in order, her sums, her place in the plan."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from bobstay.report.names import page_names, shown_names
from bobstay.wording.forms import known

if TYPE_CHECKING:
    from collections.abc import Sequence

    from bobstay.report.fleet import Fleet, Row


@dataclass(frozen=True, slots=True)
class Boat:
    """One boat with her fittings in service, the most pressing first."""

    boat_id: str
    name: str
    page: str  # file name of her page, without folder or ending
    facts: Row
    fittings: list[Row]
    jobs: list[Row]  # of the haul-out plan
    expected: float  # cracks expected among fittings with an estimate
    loss: float  # expected loss, cost units
    worst: dict[str, Row] = field(default_factory=dict)  # fitting type: its fitting with the highest chance

    @property
    def first(self) -> Row | None:
        """Her most pressing fitting."""
        return self.fittings[0] if self.fittings else None

    @property
    def heaviest(self) -> Row | None:
        """The fitting that carries most of her expected loss; the most pressing where none has an estimate."""
        told = [f for f in self.fittings if known(f["expected_loss"])]
        return max(told, key=lambda f: (f["expected_loss"], f["fitting_id"]), default=self.first)

    @property
    def open_fittings(self) -> list[Row]:
        """Fittings with an open indication."""
        return [f for f in self.fittings if f["action"] == "act_now"]

    @property
    def seen(self) -> list[Row]:
        """Fittings ranked on evidence, open indications apart."""
        return [f for f in self.fittings if f["list"] == "evidence" and f["action"] != "act_now"]

    @property
    def unseen(self) -> list[Row]:
        """Fittings nobody has looked at, open indications apart."""
        return [f for f in self.fittings if f["list"] != "evidence" and f["action"] != "act_now"]

    @property
    def unestimated(self) -> int:
        """Fittings without an estimate."""
        return sum(not known(f["chance"]) for f in self.fittings)

    @property
    def actions(self) -> Counter[str]:
        """How many fittings are to be acted on, renewed, tested or left."""
        return Counter(f["action"] for f in self.fittings)


def boats_of(fleet: Fleet) -> list[Boat]:
    """Return every boat in service, the one with the most expected loss aboard first."""
    fittings = _grouped(fleet.tables["priority"])
    jobs = _grouped(fleet.tables["haul_plan"])
    facts = {b["boat_id"]: b for b in fleet.boats}
    facts |= {boat_id: {"boat_id": boat_id} for boat_id in fittings if boat_id not in facts}
    names = shown_names({boat_id: row.get("boat_name") for boat_id, row in facts.items()})
    pages = page_names(facts)
    made = [
        _boat(row, names[boat_id], page=pages[boat_id], fittings=fittings.get(boat_id, []), jobs=jobs.get(boat_id, []))
        for boat_id, row in facts.items()
    ]
    return sorted(made, key=lambda b: (-b.loss, -b.expected, b.boat_id))


def _boat(facts: Row, name: str, *, page: str, fittings: list[Row], jobs: list[Row]) -> Boat:
    ordered = sorted(fittings, key=_pressing)
    worst: dict[str, Row] = {}
    for row in ordered:
        best = worst.setdefault(row["fitting_type"], row)
        if (row["chance"] or 0.0) > (best["chance"] or 0.0):
            worst[row["fitting_type"]] = row
    expected = sum(f["chance"] for f in ordered if known(f["chance"]))
    loss = sum(f["expected_loss"] for f in ordered if known(f["expected_loss"]))
    return Boat(facts["boat_id"], name, page, facts, ordered, jobs, expected, loss, worst)


def _pressing(row: Row) -> tuple[Any, ...]:
    loss = row["expected_loss"] if known(row["expected_loss"]) else -1.0
    return (row["action"] != "act_now", -loss, -row["consequence"], -row["age_years"], row["fitting_id"])


def _grouped(rows: Sequence[Row]) -> dict[str, list[Row]]:
    groups: dict[str, list[Row]] = {}
    for row in rows:
        groups.setdefault(row["boat_id"], []).append(row)
    return groups
