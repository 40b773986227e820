"""The plan rolls on: what was done in the first weeks of one season is where the next season's plan starts from.

Source: worked out by hand from the README's "Worksheets that come back"; common practice, no publication. The same
second season is planned twice, after the yard's work and as if nothing had been done, and the two are compared.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import duckdb
import pandas as pd
import pytest

from bobstay.settings import load
from plan_checker import check_plan
from season_fleet import fleet, write_rows

SETTINGS = (
    'as_of = "{}"\n[estimate]\ndetection = "perfect"\npooling = "none"\nboat_effect = false\n[rank]\ndraw = 0\n'
    "[backtest]\norigins = 0\n[costs]\nreplace = 3.58\n"
)
FIRST, SECOND = date(2026, 10, 1), date(2027, 10, 1)
WEEKS, WEEKS_DONE = 6, 3
TABLES = ("haul_plan", "plan_summary", "priority", "lives", "boats", "slots", "availability", "prices")


@dataclass(frozen=True)
class Season:
    """The tables of one store after its plan, and the settings it was made with."""

    tables: dict[str, pd.DataFrame]
    settings: Path
    as_of: date

    @property
    def jobs(self) -> set[tuple[str, str]]:
        return set(_parts(self.tables["haul_plan"]))

    @property
    def by_part(self) -> pd.DataFrame:
        return self.tables["priority"].set_index(["boat_id", "fitting_id"])


@dataclass(frozen=True)
class Rolled:
    """The first season, the second after its work came back, the second had nothing been done, and what was done."""

    first: Season
    second: Season
    idle: Season
    done: pd.DataFrame
    cracked: tuple[str, str]


def _parts(frame: pd.DataFrame) -> list[tuple[str, str]]:
    return list(zip(frame["boat_id"], frame["fitting_id"], strict=True))


def _slots(folder: Path, season: date) -> Path:
    days = [season + timedelta(days=4 + 7 * n) for n in range(WEEKS)]
    rows = [{"slot_id": "crane", "starts_on": day.isoformat(), "boats_max": "1", "hours_max": "30"} for day in days]
    return write_rows(folder / f"slots_{season.year}.csv", rows)


def _settings(folder: Path, as_of: date) -> Path:
    path = folder / f"{as_of.year}.toml"
    path.write_text(SETTINGS.format(as_of), encoding="utf-8")
    return path


def _season(folder: Path, out: str, as_of: date) -> Season:
    with duckdb.connect(str(folder / out / "bobstay.duckdb"), read_only=True) as con:
        tables = {name: con.sql(f'SELECT * FROM "{name}"').df() for name in TABLES}
    return Season(tables, folder / f"{as_of.year}.toml", as_of)


def _sheets_back(folder: Path, first: Season) -> tuple[Path, pd.DataFrame, tuple[str, str]]:
    """Answer the jobs of the first weeks: one test finds a crack that stays; all else is clear, renewed or not."""
    plan = first.tables["haul_plan"]
    done = plan[plan["starts_on"] < pd.Timestamp(FIRST + timedelta(days=4 + 7 * WEEKS_DONE))]
    codes = pd.read_csv(folder / "out" / "tables" / "worksheet_lines.csv").set_index(["boat_id", "fitting_id"])["code"]
    cracked = next(part for part, action in zip(_parts(done), done["action"], strict=True) if action == "test")
    answers = []
    for job in done.to_dict("records"):
        part = (job["boat_id"], job["fitting_id"])
        tested = job["action"] == "test"
        answers.append(
            {
                "code": codes[part],
                "result": "relevant" if part == cracked else "no indication",
                "method": "eddy current",
                "scope": "taken off",
                "inspected_on": (job["starts_on"] + pd.Timedelta(days=1)).date().isoformat(),
                "action": "" if tested else "replaced",
            }
        )
    return write_rows(folder / "back.csv", answers), done, cracked


@pytest.fixture(scope="module")
def rolled(tmp_path_factory, bobstay) -> Rolled:
    folder = tmp_path_factory.mktemp("rolled")
    for day in (FIRST, SECOND):
        _settings(folder, day)

    def told(*arguments: object) -> None:
        answer = bobstay(*arguments, cwd=folder)
        assert answer.code == 0, answer.err

    told("run", *fleet(folder), _slots(folder, FIRST), "--settings", "2026.toml", "--out", "out")
    first = _season(folder, "out", FIRST)
    back, done, cracked = _sheets_back(folder, first)
    shutil.copytree(folder / "out", folder / "idle")
    slots = _slots(folder, SECOND)
    told("ingest", slots, "--settings", "2027.toml", "--out", "idle")
    told("ingest", back, slots, "--settings", "2027.toml", "--out", "out")
    for out in ("idle", "out"):
        for stage in ("estimate", "rank", "plan"):
            told(stage, "--settings", "2027.toml", "--out", out)
    return Rolled(first, _season(folder, "out", SECOND), _season(folder, "idle", SECOND), done, cracked)


def test_the_first_weeks_hold_tests_and_renewals_and_work_is_left_over(rolled):
    """Else nothing below would be tried."""
    assert {"test", "replace"} <= set(rolled.done["action"])
    assert rolled.first.jobs - set(_parts(rolled.done))


@pytest.mark.parametrize("name", ["first", "second", "idle"])
def test_each_plan_is_lawful(rolled, name):
    """By a judge that shares no code with the planner: weeks gone by are offered to nobody."""
    season = getattr(rolled, name)
    named = {k: season.tables[k] for k in ("priority", "boats", "slots", "availability", "prices")}
    plan, summary = season.tables["haul_plan"], season.tables["plan_summary"]
    assert len(plan)
    assert check_plan(plan, summary, **named, settings=load(season.settings), as_of=season.as_of) == []


def test_renewed_parts_start_a_new_life_and_are_not_renewed_again(rolled):
    renewed = rolled.done[rolled.done["action"] != "test"]
    for part in _parts(renewed):
        before, after = rolled.first.by_part.loc[part], rolled.second.by_part.loc[part]
        assert after["life_id"] != before["life_id"]
        assert after["age_years"] == pytest.approx(1.0, abs=0.1)
        assert after["action"] in {"leave", "test"}


def test_parts_found_clear_stand_lower_than_had_nobody_looked(rolled):
    clear = [p for p in _parts(rolled.done[rolled.done["action"] == "test"]) if p != rolled.cracked]
    assert clear
    for part in clear:
        looked, idle = rolled.second.by_part.loc[part], rolled.idle.by_part.loc[part]
        assert looked["chance"] < idle["chance"]
        assert str(looked["last_valid_look"])[:4] == "2026"


def test_the_crack_that_was_left_open_comes_first(rolled):
    row = rolled.second.by_part.loc[rolled.cracked]
    assert (row["action"], row["rank"]) == ("act_now", 1)
    assert rolled.cracked in rolled.second.jobs


def test_work_not_done_is_asked_for_again(rolled):
    """A planned week that went by undone leaves its parts as they were: older by a year, and on the list."""
    undone = rolled.first.jobs - set(_parts(rolled.done))
    asked = rolled.second.by_part
    assert all(asked.loc[part, "action"] != "leave" for part in undone)
    assert all(asked.loc[part, "life_id"] == rolled.first.by_part.loc[part, "life_id"] for part in undone)
    assert rolled.second.jobs & undone


def test_less_is_left_to_win_than_had_nothing_been_done(rolled):
    """The open crack apart: it is news, and counts as certain."""

    def at_stake(season: Season) -> float:
        rows = season.by_part.drop(index=[rolled.cracked])
        return float(rows.loc[rows["action"] != "leave", "loss_avoided"].sum())

    assert at_stake(rolled.second) < at_stake(rolled.idle)
