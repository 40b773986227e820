"""What each factor does to a chance, and what would change it: the part asked for again under other facts.

The parts made up for that take no part in the estimate; it is worked out once, and once more for each assumption that
bears on all parts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay.estimate.ages import unknown_age_in_words
from bobstay.told import percent

if TYPE_CHECKING:
    from bobstay.run import Job
    from bobstay.settings import Settings

    Row = Any

_UNUSED = "indication_at_age_zero"  # lives the estimate leaves out but answers for
_KINDS = {"water": ("salt", "fresh"), "climate": ("warm", "cold"), "service": ("charter", "private")}
_FOUND = (0.7, 1.3)  # times the settings


@dataclass(frozen=True, slots=True)
class Asked:
    """The answers in words, and the chances behind them by name."""

    factors: tuple[str, ...]
    changes: tuple[str, ...]
    assumptions: tuple[str, ...]
    chances: dict[str, float]


class _Copies:
    """Copies of one part under other facts, added to the fleet's tables."""

    def __init__(self, job: Job, life: Row) -> None:
        self.lives, self.looks, self.boats = (job.table("lives"), job.table("life_looks"), job.given("boats"))
        self.life = self.lives[self.lives["life_id"] == life["life_id"]]
        self.own = self.looks[self.looks["life_id"] == life["life_id"]]
        self.added: list[tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]] = []
        self.names: list[str] = []

    def add(self, name: str, *, facts: dict[str, Any], looks: pd.DataFrame, boat: dict[str, Any] | None = None) -> None:
        """Add a copy with `facts` put in; `boat`: on a boat like hers but for these, with no effect of its own."""
        life_id = f"if/{name}/{self.life['life_id'].iloc[0]}"
        copy = self.life.assign(life_id=life_id, left_out=_UNUSED, **facts)
        boats = self.boats.iloc[:0]
        if boat is not None:
            boats = self.boats[self.boats["boat_id"] == copy["boat_id"].iloc[0]].assign(boat_id=life_id, **boat)
            copy = copy.assign(boat_id=life_id)
        self.added.append((copy, looks.assign(life_id=life_id), boats))
        self.names.append(name)

    def chances(self, job: Job, settings: Settings) -> dict[str, float]:
        """Estimate once and return the chance of every copy, and of the part itself under `itself`."""
        from bobstay.estimate import estimate

        lives, looks, boats = (
            pd.concat(
                [base, *(_alike(added[place], base) for added in self.added if len(added[place]))], ignore_index=True
            )
            for place, base in enumerate((self.lives, self.looks, self.boats))
        )
        made = estimate(lives, looks, boats, as_of=job.as_of, settings=settings)
        found = made.chances.set_index("life_id")["chance"]
        itself = str(self.life["life_id"].iloc[0])
        return {"itself": float(found[itself])} | {n: float(found[f"if/{n}/{itself}"]) for n in self.names}


def _alike(rows: pd.DataFrame, base: pd.DataFrame) -> pd.DataFrame:
    """Return rows with the kinds of column of `base`, so that what is empty in them changes no kind."""
    return rows.astype({name: base[name].dtype for name in rows.columns if name in base.columns})


def what_ifs(job: Job, life: Row, row: Row) -> Asked:
    """Return what each factor does, what would change the chance, and which assumption matters most."""
    if pd.isna(row["chance"]):
        first = "one look by a stated method, with its minima stated, would be the first evidence about it"
        return Asked(("no chance can be estimated",), (first,), ("no chance can be estimated",), {})
    copies = _copies(job, life)
    chances = copies.chances(job, job.settings)
    others = {f"found x {times:g}": _other_found(job, life, times) for times in _FOUND}
    known = job.table("chances").set_index("life_id").loc[life["life_id"]]
    return Asked(
        _factors(chances), _changes(job, chances), _assumptions(known, life, chances, others), chances | others
    )


def _copies(job: Job, life: Row) -> _Copies:
    copies = _Copies(job, life)
    age = float(life["age_years"])
    copies.add("no look", facts={"ranking_clear_years": None}, looks=copies.own.iloc[:0])
    copies.add("other boat", facts={}, looks=copies.own, boat={})
    copies.add("a season's wait", facts={"age_years": age + 1}, looks=copies.own)
    clear = pd.DataFrame([_clear_look(life, job)])
    copies.add("a clear penetrant test", facts={}, looks=pd.concat([copies.own, clear], ignore_index=True))
    for fact, words in _KINDS.items():
        for word in words:
            copies.add(f"{fact} {word}", facts={}, looks=copies.own, boat={fact: word})
    for word, is_through in (("yes", True), ("no", False)):
        copies.add(f"through_deck {word}", facts={"through_deck": is_through}, looks=copies.own)
    used = job.table("classes").query("fitting_type == @life.fitting_type and material != @life.material")
    for other in used["material"]:
        copies.add(f"of {other}", facts={"material": other}, looks=copies.own)
    return copies


def _clear_look(life: Row, job: Job) -> dict[str, Any]:
    age = float(life["age_years"])
    look: dict[str, Any] = {"life_id": life["life_id"], "look_years": age, "look_on": pd.Timestamp(job.as_of)}
    look |= {"method": "penetrant", "scope": "removed", "result": "no_indication", "shows": "clear", "verdict": "none"}
    return look | {"grade": "valid", "grade_reason": None, "trigger": "scheduled", "file": "if", "line": 0}


def _other_found(job: Job, life: Row, times: float) -> float:
    """Return the chance had every method been thought to find `times` as much."""
    rates = {pair: replace(rate, found=min(0.999, rate.found * times)) for pair, rate in job.settings.detection.items()}
    copies = _Copies(job, life)
    return copies.chances(job, replace(job.settings, detection=rates))["itself"]


def _factors(chances: dict[str, float]) -> tuple[str, ...]:
    now = percent(chances["itself"])
    lines = [
        f"its looks: {percent(chances['no look'])} without any of them, {now} with them",
        f"its boat: {percent(chances['other boat'])} on a boat like her whose own effect is not known, {now} on her",
    ]
    for fact, words in _KINDS.items():
        said = ", ".join(f"{percent(chances[f'{fact} {word}'])} for {word}" for word in words)
        lines.append(f"{fact} (on a boat else like her, her own effect not known): {said}")
    through = ", ".join(f"{percent(chances[f'through_deck {word}'])} for {word}" for word in ("yes", "no"))
    return (*lines, f"passing through deck or hull: {through}")


def _changes(job: Job, chances: dict[str, float]) -> tuple[str, ...]:
    now = percent(chances["itself"])
    made = [
        f"one clear penetrant test, part taken off, minima stated, on {job.as_of.isoformat()}: "
        f"{now} becomes {percent(chances['a clear penetrant test'])}",
        f"a season's wait with no look: {now} becomes {percent(chances[_WAIT])}",
    ]
    made += [
        f"another material, all else the same: {now} becomes {percent(chance)} were it {name}"
        for name, chance in chances.items()
        if name.startswith("of ")
    ]
    return tuple(made)


_WAIT = "a season's wait"


def _assumptions(
    known: pd.Series[Any], life: Row, chances: dict[str, float], others: dict[str, float]
) -> tuple[str, ...]:
    """Say how far each assumption moves the chance, the one that moves it farthest first."""
    now = chances["itself"]
    moves = [
        (abs(chance - now), f"tests thought to show {name.removeprefix('found x ')} times as much: {percent(chance)}")
        for name, chance in others.items()
    ]
    ages = unknown_age_in_words(
        known["chance_if_oldest"],
        known["chance_if_newest"],
        earliest=life["installed_earliest"],
        latest=life["installed_latest"],
    )
    if ages:
        farthest = max(abs(known["chance_if_oldest"] - now), abs(known["chance_if_newest"] - now))
        moves.append((farthest, ages))
    ordered = sorted(moves, reverse=True)
    return (f"as assumed: {percent(now)}", *(f"{text} (moves it by {100 * move:.1f} points)" for move, text in ordered))
