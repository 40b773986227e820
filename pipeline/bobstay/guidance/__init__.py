"""Guidance for each class of fittings: test from, test again after, renew by; with the rule that set each age."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay.consequences import consequence_classes
from bobstay.guidance.advice import Advice, Standing
from bobstay.guidance.ages import Draws
from bobstay.guidance.intervals import cheapest
from bobstay.guidance.outsiders import beside
from bobstay.guidance.rules import UNSET, Age, Case, replace_by, retest, test_from
from bobstay.guidance.shown import SHARES, bound_upper, still_needed
from bobstay.guidance.words import assumption, binding
from bobstay.outside import rules_of
from bobstay.rates_known import rates_known
from bobstay.settings import plain_word
from bobstay.tables import GUIDANCE, checked

if TYPE_CHECKING:
    from bobstay.settings import Rates, Settings

    Key = tuple[str, str]

STANDING_COLUMNS = (  # of lives
    *("boat_id", "fitting_type", "material", "upper_years", "valid_look_count"),
    *("is_in_service", "access", "consequence"),
)
USUAL_TEST = ("penetrant", "removed")  # the test that guidance is written for


def guide(  # what the table is made from, one for one
    classes: pd.DataFrame,
    class_draws: pd.DataFrame,
    lives: pd.DataFrame,
    *,
    settings: Settings,
    rules: pd.DataFrame | None = None,
    detection: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return `tables.GUIDANCE`, a row for each row of `classes`.

    Ages are the cautious ends of their ranges, rounded down to half years. With a curve of its own a class gets no age
    beyond oldest_years; borrowed ages may lie beyond, which `assumption` then says. Of `lives` the STANDING_COLUMNS
    are read. `rules`: input table of that name;
    `detection` as in tables.DETECTION.
    """
    draws = _draws_by_class(class_draws)
    standings = _standings(lives, settings)
    usual = rates_known(detection, settings)[USUAL_TEST]
    outside = rules_of(rules)
    rows = [(row, standings.get((row.fitting_type, row.material), _nothing(row, settings))) for row in _rows(classes)]
    known = {
        (row.fitting_type, row.material): (standing.consequence, advice)
        for row, standing in rows
        if (advice := _own(row, standing, draws, settings, usual)) is not None
    }
    told = []
    for row, standing in rows:
        advice = _interim(row, standing, known, settings)
        told.append(_row(row, standing, advice, settings, usual) | beside(row, advice, outside))
    return checked(pd.DataFrame(told, columns=list(GUIDANCE.column_names)), GUIDANCE)


def _rows(classes: pd.DataFrame) -> list[Any]:
    return list(classes.sort_values(["fitting_type", "material"]).itertuples(index=False))


def _draws_by_class(class_draws: pd.DataFrame) -> dict[Key, Draws]:
    ordered = class_draws.sort_values(["fitting_type", "material", "draw"], kind="stable")
    columns = ["log_scale", "log_shape", "boat_sd"]
    return {
        (str(kind), str(material)): Draws(*(rows[name].to_numpy(dtype=np.float64) for name in columns))
        for (kind, material), rows in ordered.groupby(["fitting_type", "material"], sort=True)
    }


def _standings(lives: pd.DataFrame, settings: Settings) -> dict[Key, Standing]:
    """Return each class's usual consequence (the graver of two equally usual), access, and counts of lives."""
    frame = lives.assign(consequence=consequence_classes(lives, settings), access_share=_access_share(lives, settings))
    grouped = frame.groupby(["fitting_type", "material"], sort=True)
    return {(str(kind), str(material)): _standing(rows) for (kind, material), rows in grouped}


def _access_share(lives: pd.DataFrame, settings: Settings) -> pd.Series[float]:
    """Return each life's share of the cost of its access, shared with what is in service and needs the same."""
    serving = lives["is_in_service"].astype(bool).groupby([lives["boat_id"], lives["access"]]).transform("sum")
    return (lives["access"].map(settings.costs.access).astype("float64") / serving.clip(lower=1)).fillna(0.0)


def _standing(rows: pd.DataFrame) -> Standing:
    usual = rows["consequence"].value_counts().sort_index(ascending=False)
    access = rows["access"].dropna().mode()
    looked = rows["valid_look_count"] > 0
    return Standing(
        consequence=int(usual.index[int(usual.to_numpy().argmax())]),
        access=None if access.empty else str(access.min()),
        looked_count=int(looked.sum()),
        found_count=int((looked & np.isfinite(rows["upper_years"])).sum()),
        access_share=float(rows["access_share"].mean()),
    )


def _nothing(row: Any, settings: Settings) -> Standing:
    """Return the standing of a class without lives: the consequence its type has in the settings."""
    kind = pd.DataFrame({"fitting_type": [row.fitting_type], "consequence": [np.nan]})
    return Standing(int(consequence_classes(kind, settings)[0]), None, 0, 0)


def _own(row: Any, standing: Standing, draws: dict[Key, Draws], settings: Settings, usual: Rates) -> Advice | None:
    """Return what the class's draws say, its own or borrowed; None where the estimate made none."""
    mine = draws.get((row.fitting_type, row.material))
    if mine is None:
        return None
    case = _case(row, standing, mine, settings, usual)
    source = "borrowed" if row.evidence == "none" else "own"
    test, renew = test_from(case, settings), replace_by(case, settings)
    oldest = float(row.oldest_years)
    is_beyond = not max(test.upper, renew.upper) <= oldest
    is_capped = source == "own" and max(test.years, renew.years) > oldest
    if is_capped:
        test, renew = (_capped(age, oldest) for age in (test, renew))
    test = test.rounded()
    least = cheapest(case, test.years, settings)
    again = retest(case, test.years, settings, cheapest=least.years).rounded()
    return Advice(
        test,
        again,
        renew.rounded(),
        source,
        is_capped=is_capped,
        is_beyond=is_beyond,
        cheapest_retest=least.years,
        failure_chance=least.failure_chance(test.years, again.years),
    )


def _case(row: Any, standing: Standing, draws: Draws, settings: Settings, usual: Rates) -> Case:
    access_cost = settings.costs.access.get(standing.access or "", 0.0)
    growth = growth_years(row.fitting_type, settings)
    share = standing.access_share
    return Case(draws, standing.consequence, growth, access_cost, usual.found, usual.false_call, share)


def growth_years(fitting_type: str, settings: Settings) -> float:
    """Return the assumed median growth from detectable to broken of a type, years."""
    return settings.guidance.growth_years.get(plain_word(fitting_type), settings.guidance.growth_years_otherwise)


def _capped(age: Age, oldest: float) -> Age:
    """Return the age, not beyond the end of the evidence; its upper end keeps what the curve says."""
    if age.years <= oldest:
        return age
    return Age(oldest, min(age.lower, oldest), max(age.upper, oldest), "end of the evidence")


def _interim(row: Any, standing: Standing, known: dict[Key, tuple[int, Advice]], settings: Settings) -> Advice:
    """Return the class's advice; without a curve the earliest of the same type, else of the same consequence."""
    mine = known.get((row.fitting_type, row.material))
    if mine is not None:
        return mine[1]
    half = max(0.5, growth_years(row.fitting_type, settings) / 2)
    again = Age(half, half, half, "half the assumed growth time").rounded()
    alike = {key: advice for key, (_, advice) in known.items() if key[0] == row.fitting_type} or {
        key: advice for key, (consequence, advice) in known.items() if consequence == standing.consequence
    }
    if not alike:
        years = settings.guidance.interim_test_years
        return Advice(Age(years, years, years, "interim default of the settings").rounded(), again, UNSET, "none")
    lender = min(alike, key=lambda key: (alike[key].test.years, key))
    lent = alike[lender]
    shorter = min(lent.again, again, key=lambda age: age.years)
    return replace(lent, again=shorter, source="interim", lender=", ".join(lender), is_capped=False, is_beyond=True)


def _row(row: Any, standing: Standing, advice: Advice, settings: Settings, usual: Rates) -> dict[str, Any]:
    ages = {"test_from": advice.test, "retest": advice.again, "replace_by": advice.renew}
    numbers = {
        f"{name}_years{end}": value
        for name, age in ages.items()
        for end, value in (("", age.years), ("_lower", age.lower), ("_upper", age.upper))
    }
    return numbers | {
        "fitting_type": row.fitting_type,
        "material": row.material,
        "binding_rule": binding(advice),
        "oldest_years": row.oldest_years,
        "beyond_evidence": advice.is_beyond,
        "assumption": assumption(row, standing, advice, settings, usual),
        "consequence": standing.consequence,
        "evidence": row.evidence,
        "cheapest_retest_years": advice.cheapest_retest,
        "failure_chance": advice.failure_chance,
        **_shown(standing.found_count, standing.looked_count),
    }


def _shown(found: int, looked: int) -> dict[str, Any]:
    needed = {f"tests_needed_{round(100 * share)}": None if found else still_needed(share, looked) for share in SHARES}
    return {"looked_count": looked, "found_count": found, "share_upper": bound_upper(found, looked)} | needed
