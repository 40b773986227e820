"""What the usual shortcuts would have claimed on the same records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay.checks.ages import SHARE, PlainAge, plain_age
from bobstay.checks.spans import ALL, CLASS, respanned, told_by_removal, told_looks, used
from bobstay.tables import SHORTCUTS, checked

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from bobstay.settings import Settings

    Floats = NDArray[np.float64]

OURS = "ours"
DRAWS_POOLED = 400
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(7)


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read the lives: its name and the frame of lives with entry, lower and upper as it takes them."""

    name: str
    lives: pd.DataFrame


def shortcuts_table(
    lives: pd.DataFrame,
    looks: pd.DataFrame,
    classes: pd.DataFrame,
    class_draws: pd.DataFrame,
    *,
    whole_boat: pd.DataFrame,
    settings: Settings,
) -> pd.DataFrame:
    """Return tables.SHORTCUTS: by class and for all together, the B10 of each shortcut beside ours.

    `whole_boat` (boat_id, look_on) are the looks at a whole boat that found nothing.
    """
    rows = [_ours(row) for row in classes.to_dict("records")]
    rows.append(_ours_pooled(classes, class_draws, settings))
    for step, reading in enumerate(readings(lives, looks, whole_boat), start=1):
        rows += [_row(key, step, reading.name, group, settings) for key, group in _groups(reading.lives)]
    table = pd.DataFrame(rows, columns=[c for c in SHORTCUTS.column_names if c != "ratio_to_ours"])
    ours = table[table["step"] == 0][[*CLASS, "b10_years"]].rename(columns={"b10_years": "ours"})
    table = table.merge(ours, on=CLASS, how="left", validate="many_to_one")
    return checked(table.assign(ratio_to_ours=table["b10_years"] / table["ours"]), SHORTCUTS)


def readings(lives: pd.DataFrame, looks: pd.DataFrame, whole_boat: pd.DataFrame) -> list[Reading]:
    """Return the shortcuts in their order; every one leaves out lives of unknown age."""
    told = told_looks(looks)
    by_removal = told_by_removal(lives, told)
    right = used(lives)
    kept = told.assign(is_finding=(told["shows"] == "indication").to_numpy(dtype=bool))
    blanket = pd.concat(
        [told[["life_id", "look_years", "is_finding"]], _blanket_looks(lives, whole_boat)], ignore_index=True
    )
    return [
        Reading("only found ones", _only_found(lives)),
        Reading("finding date = event date", _at_the_finding(lives)),
        Reading("intervals, late joining ignored", right.assign(entry_years=0.0)),
        Reading("whole-boat looks taken as clear", used(respanned(lives, blanket, by_removal=by_removal))),
        Reading("false calls kept", used(respanned(lives, kept, by_removal=by_removal))),
        Reading("intervals and late joining, tests taken as right", right),
    ]


def _of_known_age(lives: pd.DataFrame) -> pd.DataFrame:
    return lives[~lives["left_out"].isin(["age_unknown", "indication_at_age_zero"]).to_numpy()]


def _only_found(lives: pd.DataFrame) -> pd.DataFrame:
    known = _of_known_age(lives)
    found: pd.DataFrame = known[np.isfinite(known["upper_years"].to_numpy(dtype=float))]
    return found.assign(entry_years=0.0, lower_years=found["upper_years"])


def _at_the_finding(lives: pd.DataFrame) -> pd.DataFrame:
    """Take the day of the finding for the day of the event, and every other life as lasting to its last clear look."""
    known = _of_known_age(lives)
    upper = known["upper_years"].to_numpy(dtype=float)
    return known.assign(entry_years=0.0, lower_years=np.where(np.isfinite(upper), upper, known["lower_years"]))


def _blanket_looks(lives: pd.DataFrame, whole_boat: pd.DataFrame) -> pd.DataFrame:
    """Return a clear look at every part in the boat on the day of each look at the whole boat."""
    spans = lives[["life_id", "boat_id", "installed_on", "ended_on"]]
    days = whole_boat.dropna(subset=["look_on"]).drop_duplicates()
    pairs = spans.merge(days, on="boat_id", how="inner", validate="many_to_many")
    on, installed = pd.to_datetime(pairs["look_on"]), pd.to_datetime(pairs["installed_on"])
    inside = (on > installed) & (on <= pd.to_datetime(pairs["ended_on"]))
    years = (on - installed).dt.days / 365.25
    made = pd.DataFrame({"life_id": pairs["life_id"], "look_years": years, "is_finding": False})
    return made.loc[inside.to_numpy(dtype=bool)]


def _groups(lives: pd.DataFrame) -> list[tuple[tuple[str, str], pd.DataFrame]]:
    own = [((str(key[0]), str(key[1])), group) for key, group in lives.groupby(CLASS, sort=True)]
    return [*own, (ALL, lives)]


def _row(key: tuple[str, str], step: int, name: str, lives: pd.DataFrame, settings: Settings) -> dict[str, Any]:
    entry, lower, upper = (lives[f"{part}_years"].to_numpy(dtype=float) for part in ("entry", "lower", "upper"))
    return _told(key, step, name, plain_age(entry, lower, upper, settings=settings, name="|".join((name, *key))))


def _told(key: tuple[str, str], step: int, name: str, made: PlainAge) -> dict[str, Any]:
    return {
        "fitting_type": key[0],
        "material": key[1],
        "step": step,
        "shortcut": name,
        "life_count": made.life_count,
        "event_count": made.event_count,
        **made.columns(),
        "note": made.why_none or None,
    }


def _ours(row: dict[Any, Any]) -> dict[str, Any]:
    """Return our estimate of one class as the first line of its rows."""
    age, low, high = (float(row[f"b10_years{end}"]) for end in ("", "_lower", "_upper"))
    why = str(row["model"]) if np.isnan(age) else ""
    made = PlainAge(int(row["life_count"]), int(row["event_count"]), age, low, high, why)
    return _told((row["fitting_type"], row["material"]), 0, OURS, made)


def _ours_pooled(classes: pd.DataFrame, draws: pd.DataFrame, settings: Settings) -> dict[str, Any]:
    """Return the age by which one in ten of all lives together has one: classes mixed by their lives, boats included.

    Boats' own water, climate and use stay at their means.
    """
    lives, events = int(classes["life_count"].sum()), int(classes["event_count"].sum())
    why = "" if len(draws) else "no class has an estimate"
    ages = _mixed(classes, draws, settings.estimate.interval) if len(draws) else (np.nan, np.nan, np.nan)
    return _told(ALL, 0, OURS, PlainAge(lives, events, *ages, why))


def _mixed(classes: pd.DataFrame, draws: pd.DataFrame, cover: float) -> tuple[float, float, float]:
    few = draws[draws["draw"] <= DRAWS_POOLED]
    tables = {n: few.pivot(index="draw", columns=CLASS, values=n) for n in ("log_scale", "log_shape", "boat_sd")}
    weight = classes.set_index(CLASS)["life_count"].reindex(tables["log_scale"].columns).to_numpy(dtype=float)
    scale, shape, sd = (tables[n].to_numpy(dtype=float)[:, :, None] for n in ("log_scale", "log_shape", "boat_sd"))
    shares = weight[:, None] / weight.sum() * WEIGHTS / WEIGHTS.sum()
    ages = np.exp(_bisected(scale + sd * NODES, np.exp(shape), shares))
    low, high = np.quantile(ages[1:] if len(ages) > 1 else ages, [(1 - cover) / 2, (1 + cover) / 2])
    return float(ages[0]), float(low), float(high)


def _bisected(log_scale: Floats, shape: Floats, shares: Floats) -> Floats:
    """Return by draw the log age at which the mixture reaches one in ten."""
    low = np.full(len(log_scale), float(log_scale.min()) - 20.0)
    high = np.full(len(log_scale), float(log_scale.max()) + 5.0)
    for _ in range(40):
        middle = (low + high) / 2
        hazard = np.exp(np.minimum(shape * (middle[:, None, None] - log_scale), 690.0))
        above = -(np.expm1(-hazard) * shares).sum(axis=(1, 2)) > SHARE
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return np.asarray((low + high) / 2)
