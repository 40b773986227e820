"""When each fitting is due by its class's guidance, by a rule from outside or by a notice, the earliest first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Days = NDArray[np.datetime64]
    Words = NDArray[np.object_]
    Floats = NDArray[np.float64]

OURS = "our guidance"
NOTICE = "notice "
_CLASS = ["fitting_type", "material"]
# A renewal comes before a test that is due on the same day, and a rule of ours before one from outside.
_KINDS = (("replace_by", "replace"), ("test_from", "test"), ("retest", "test"))
_NEVER = np.datetime64("9999-01-01")
_LONGEST = 200.0  # years


@dataclass(frozen=True, slots=True)
class _Candidate:
    """One sort of day by which something is due, arrays of shape (n,); _NEVER where it asks for nothing."""

    on: Days
    action: str
    by: Words
    years: Floats


def due(
    frame: pd.DataFrame, guidance: pd.DataFrame | None, until: date, *, notices: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Return due_on, due_action, due_by, due_years and ruled, rule_by, rule_years, rule_on, on the index of `frame`.

    due_...: the earliest day of all, what is due, whose word it is, and the years it rests on. ruled, rule_...: what a
    rule from outside asks for by `until`, whatever it costs (a renewal before a test). `guidance` as in
    tables.GUIDANCE; without it nothing is due. Days count from installed_on, those of another test from the last clear
    look that counts; a first test is not due any more once such a look was made at that age or later. An open notice
    of `notices` (tables.NOTICE_STATUS) that surely means the part is due since its own day, as a rule from outside.
    """
    ages = frame[_CLASS].merge(_ages(guidance), on=_CLASS, how="left", validate="many_to_one")
    ours, theirs = (_candidates(frame, ages, is_ours=side) for side in (True, False))
    theirs += _noticed(frame, notices)
    first = _earliest([*ours, *theirs], len(frame))
    pressing = [_until(candidate, until) for candidate in theirs]
    renewals, tests = ([c for c in pressing if c.action == action] for action in ("replace", "test"))
    by_rule, test_rule = _earliest(renewals, len(frame)), _earliest(tests, len(frame))
    rule = by_rule.where(by_rule["on"].notna(), test_rule)
    columns = {"on": "due_on", "action": "due_action", "by": "due_by", "years": "due_years"}
    named = {"on": "rule_on", "action": "ruled", "by": "rule_by", "years": "rule_years"}
    both = pd.concat([first.rename(columns=columns), rule.rename(columns=named)], axis=1)
    return both.set_axis(frame.index)


def _ages(guidance: pd.DataFrame | None) -> pd.DataFrame:
    names = [f"{kind}{end}" for kind, _ in _KINDS for end in ("_years", "_rule_years", "_rule_by")]
    if guidance is None:
        return pd.DataFrame({name: pd.Series(dtype=object) for name in [*_CLASS, *names]})
    return guidance[[*_CLASS, *names]]


def _candidates(frame: pd.DataFrame, ages: pd.DataFrame, *, is_ours: bool) -> list[_Candidate]:
    born = frame["installed_on"].to_numpy(dtype="datetime64[D]")
    looked = pd.to_datetime(frame["clear_on"]).to_numpy(dtype="datetime64[D]")
    found = []
    for kind, action in _KINDS:
        years = ages[f"{kind}_years" if is_ours else f"{kind}_rule_years"].to_numpy(dtype=np.float64)
        by = np.full(len(frame), OURS, dtype=object) if is_ours else ages[f"{kind}_rule_by"].to_numpy(dtype=object)
        day = _day(looked if kind == "retest" else born, years)
        if kind == "test_from":
            day = np.where(~np.isnat(looked) & (looked >= day), _NEVER, day)
        found.append(_Candidate(day, action, by, years))
    return found


def _noticed(frame: pd.DataFrame, notices: pd.DataFrame | None) -> list[_Candidate]:
    """Return the oldest open notice of each action that surely means each part."""
    found = []
    for action in ("replace", "test"):
        if notices is None:
            break
        mine = notices[(notices["status"] == "open") & (notices["match"] == "sure") & (notices["action"] == action)]
        first = mine.sort_values(["issued_on", "notice_id"]).drop_duplicates("life_id").set_index("life_id")
        theirs = first.reindex(frame["life_id"])
        on = pd.to_datetime(theirs["issued_on"]).to_numpy(dtype="datetime64[D]")
        by = (NOTICE + theirs["notice_id"]).to_numpy(dtype=object)
        years = (on - frame["installed_on"].to_numpy(dtype="datetime64[D]")).astype(np.float64) / 365.25
        found.append(_Candidate(np.where(np.isnat(on), _NEVER, on), action, by, years))
    return found


def _day(since: Days, years: Floats) -> Days:
    """Return the day so many years after, _NEVER where either is not known."""
    is_known = ~np.isnat(since) & (years <= _LONGEST)
    days = np.round(np.where(is_known, years, 0.0) * 365.25).astype("timedelta64[D]")
    return np.where(is_known, since + days, _NEVER)


def _until(candidate: _Candidate, until: date) -> _Candidate:
    on = np.where(candidate.on <= np.datetime64(until), candidate.on, _NEVER)
    return _Candidate(on, candidate.action, candidate.by, candidate.years)


def _earliest(candidates: list[_Candidate], size: int) -> pd.DataFrame:
    """Return on, action, by and years of the earliest candidate of each row, empty where there is none."""
    days = np.stack([c.on for c in candidates])
    which, rows = np.argmin(days, axis=0), np.arange(size)
    on = days[which, rows]
    is_due = on < _NEVER
    actions = np.array([c.action for c in candidates], dtype=object)[which]
    by = np.stack([c.by for c in candidates])[which, rows]
    years = np.stack([c.years for c in candidates])[which, rows]
    return pd.DataFrame(
        {
            "on": pd.Series(np.where(is_due, on, np.datetime64("NaT", "s")).astype("datetime64[s]")),
            "action": np.where(is_due, actions, None),
            "by": np.where(is_due, by, None),
            "years": np.where(is_due, years, np.nan),
        }
    )
