"""The reason of each place, in one or two plain sentences made from the facts."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay.rank.due import NOTICE, OURS

if TYPE_CHECKING:
    from bobstay.settings import Settings

GRAVE = 4  # classes from here on: the rig over the side, capsize, sinking
_AGE = {
    "stated": "{:.1f} years old",
    "rough": "about {:.0f} years old",
    "bounded": "up to {:.0f} years old (day of installation unknown)",
    "at_least": "at least {:.0f} years old (day of installation unknown)",
}
_WORTHLESS = {"below_minima": "below the method's minima", "no_information": "without a usable result"}
_BASIS = {
    "own": "from its class's own records",
    "borrowed": "borrowed from like classes, its own records being too few",
}


@dataclass(frozen=True, slots=True)
class Setting:
    """What all reasons share: the end of the horizon, and the looks of each life by worth."""

    as_of: date
    until: date
    clear_counts_years: float
    worth: dict[str, Counter[str]]  # of those nobody looked at in a way that counts


def setting_of(looks: pd.DataFrame, lives: pd.Series[str], settings: Settings, as_of: date) -> Setting:
    """Count the looks that tell nothing of each of `lives` by grade, and find the end of the horizon."""
    worth: dict[str, Counter[str]] = {}
    mine = looks.loc[looks["grade"].isin(list(_WORTHLESS)), ["life_id", "grade"]]
    counts = mine[mine["life_id"].isin(lives)].value_counts().rename("count").reset_index()
    for life_id, grade, count in zip(counts["life_id"], counts["grade"], counts["count"], strict=True):
        worth.setdefault(life_id, Counter())[grade] = int(count)
    until = as_of + timedelta(days=round(settings.horizon_years * 365.25))
    return Setting(as_of, until, settings.guidance.clear_counts_years, worth)


DRAWN = " Drawn by lot this season: test it all the same, so that this list can be proved wrong."
_ROWS_AT_ONCE = 20_000  # as objects a row takes a kilobyte
_DAYS = ("open_indication_on", "clear_on", "rule_on", "due_on", "installed_on")
_USED = (
    *("list", "life_id", "action", "ruled", "last_method", "voided_by", "age_basis", "age_years", "consequence"),
    *("consequence_reason", "chance", "chance_lower", "chance_upper", "chance_now", "basis", "rule_by", "rule_years"),
    *("margin", "access", "method", "scope", "runner_up", "runner_up_method", "due_by", "due_action", "due_years"),
    "part_number",
)


def reasons(frame: pd.DataFrame, shared: Setting) -> list[str]:
    """Return why each row of the weighed frame stands where it stands; of the lots nothing is said yet."""
    starts = range(0, len(frame), _ROWS_AT_ONCE)
    return [text for first in starts for text in _reasons(frame.iloc[first : first + _ROWS_AT_ONCE], shared)]


def _reasons(frame: pd.DataFrame, shared: Setting) -> list[str]:
    days = {name: frame[name].to_numpy(dtype="datetime64[D]").astype(object) for name in _DAYS}
    texts = pd.DataFrame({name: frame[name].to_numpy(dtype=object) for name in _USED} | days)
    return [_reason(row, shared) for row in texts.itertuples(index=False)]


def _reason(row: Any, shared: Setting) -> str:
    parts = (_state(row, shared), _chance(row, shared), _action(row), _due(row, shared))
    return " ".join(filter(None, parts))


def percent(chance: float) -> str:
    """Write a chance as whole percent, "<1 %" and ">99 %" at the ends."""
    if chance < 0.01:
        return "<1 %"
    return ">99 %" if chance > 0.99 else f"{chance * 100:.0f} %"


def _state(row: Any, shared: Setting) -> str:
    if row.action == "act_now":
        return f"Open indication since {_day(row.open_indication_on)}: take it out of use until it is followed up."
    if row.list == "nobody_looked":
        return _nobody(row, shared.worth.get(row.life_id, Counter()))
    if _is_missing(row.clear_on):
        return "An indication was seen and not called unfounded."
    by = "" if _is_missing(row.last_method) else f" (last method: {_words(row.last_method)})"
    return f"The last look that counts found nothing on {_day(row.clear_on)}{by}."


def _nobody(row: Any, worth: Counter[str]) -> str:
    if not _is_missing(row.voided_by):
        return f"Not looked at since {_spaced(row.voided_by)}: what was found clear before no longer counts."
    told = [f"{worth[grade]} {text}" for grade, text in _WORTHLESS.items() if worth[grade]]
    if told:
        return f"Nobody has looked at this part in a way that counts: {', '.join(told)}."
    if row.part_number > 1 and row.age_basis == "stated":
        return f"Nobody has looked at this part since it was put in on {_day(row.installed_on)}."
    return "Nobody has looked at this part: no record names it."


def _chance(row: Any, shared: Setting) -> str:
    age = _AGE.get(row.age_basis, "{:.1f} years old").format(row.age_years)
    moved = "" if row.consequence_reason is None else f" ({row.consequence_reason})"
    facts = f"It is {age}, consequence class {row.consequence}{moved}"
    if _is_missing(row.chance):
        return f"{facts}; no chance can be estimated from these records, so its place rests on class and age only."
    if row.action == "act_now" and row.chance > 0.99:
        return f"{facts}."
    ends = f"{percent(row.chance_lower)} to {percent(row.chance_upper)}"
    basis = _BASIS.get(row.basis, "basis not stated")
    return (
        f"{facts}; the chance of an indication-worthy crack by {shared.until} is {percent(row.chance)} ({ends}), "
        f"{basis}{_driver(row)}."
    )


def _driver(row: Any) -> str:
    if _is_missing(row.chance_now) or row.chance < 0.02:
        return ""
    return ", most of it already there" if row.chance_now > 0.5 * row.chance else ", most of it still to come"


def _action(row: Any) -> str:
    if row.action == "act_now":
        return ""
    if row.action == row.ruled and not row.margin >= 0:
        return f"{_do(row)}: {_whose(row.rule_by)} asks for it{_when(row.rule_by, row.rule_years, row.rule_on)}."
    if row.action == "test":
        why = "its failure is grave" if _is_missing(row.chance) else f"the cheapest way at the costs set{_next(row)}"
        return f"{_do(row)}: {why}."
    if row.action == "replace":
        return f"Renew: the cheapest way at the costs set{_next(row)}."
    if row.list == "nobody_looked" and row.consequence >= GRAVE:
        return "Left only because nothing pays at the costs set; its failure is grave and nobody has looked."
    if _is_missing(row.chance):
        return "Left for now for want of an estimate."
    return "Lower on this list: neither a test nor renewal pays at the costs set."


def _do(row: Any) -> str:
    if row.action != "test":
        return "Renew"
    reach = "" if _is_missing(row.access) else f", {_ACCESS.get(row.access, _words(row.access))}"
    return f"Test by {_words(row.method)}, {_SITTING[row.scope]}{reach}"


_ACCESS = {"mast_out": "with the mast out", "keel_off": "with the keel off", "engine_bay": "in the engine bay"}
_SITTING = {"removed": "taken off", "in_place": "where it sits"}
AS_MUCH = 0.05  # cost units by which two ways may differ and still cost about as much
_WAYS = {"leave": "leaving it", "replace": "renewing it", "test": "a test by"}


def _next(row: Any) -> str:
    if not row.margin >= 0:
        return ""
    how = "" if _is_missing(row.runner_up_method) else f" {_tested(*row.runner_up_method.rsplit(', ', 1))}"
    dearer = f"{row.margin:.2g}" if row.margin < 10 else f"{row.margin:.0f}"
    told = "about as much" if row.margin < AS_MUCH else f"{dearer} units more"
    return f"; {_WAYS[row.runner_up]}{how} would cost {told}"


def _tested(method: str, scope: str) -> str:
    return f"{_words(method)} {_SITTING[scope]}"


def _due(row: Any, shared: Setting) -> str:
    """Say what is due by the end of the horizon and whose word that is, where the action does not say it already."""
    if _is_missing(row.due_on) or row.due_on > shared.until or row.action == "act_now":
        return ""
    if row.action == row.ruled and row.due_by == row.rule_by:
        return ""
    if row.due_by == OURS and row.action in (row.due_action, "replace"):
        return ""
    what = "Renewal" if row.due_action == "replace" else "A test"
    was = "was" if row.due_on <= shared.as_of else "is"
    return f"{what} {was} due on {_day(row.due_on)} by {_whose(row.due_by)}{_when(row.due_by, row.due_years)}."


def _whose(by: str) -> str:
    if by == OURS:
        return "our guidance for its class"
    return _spaced(by) if by.startswith(NOTICE) else f"the rule of {_spaced(by)}"


def _when(by: str, years: float, on: Any = None) -> str:
    due = "" if on is None else f", due {_day(on)}"
    return due.replace(", due", " since") if by.startswith(NOTICE) else f" ({years:g} years{due})"


def _day(value: date) -> str:
    return value.isoformat()


def _is_missing(value: Any) -> bool:
    return value is None or (isinstance(value, float) and math.isnan(value))


def _words(word: str) -> str:
    return word.replace("_", " ")


def _spaced(text: str) -> str:
    return " ".join(str(text).split())
