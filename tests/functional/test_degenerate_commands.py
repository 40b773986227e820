"""Files that tell next to nothing, through the commands: a refusal or a bound in words, and no number that is none."""

from __future__ import annotations

from pathlib import Path

import duckdb
import numpy as np
import pytest

from bobstay.cli import run_command

DONE, UNUSABLE, TOO_LITTLE = 0, 3, 4
PLAIN = 'as_of = "2024-06-01"\n[estimate]\ndetection = "perfect"\npooling = "none"\nboat_effect = false\ndraws = 100\n'
DEFAULT = 'as_of = "2024-06-01"\n[estimate]\ndraws = 100\n'
Look = tuple[int, str, str]  # fitting, day, result


def written(
    folder: Path, looks: list[Look], *, boats: int = 3, fittings: int = 4, installed: str = "2010-01-01"
) -> Path:
    """Write boats, fittings and looks; fitting n is on boat n modulo `boats`."""
    folder.mkdir(exist_ok=True)
    rows = [f"B{n},2010-01-01" for n in range(boats)]
    (folder / "boats.csv").write_text("\n".join(["boat_id,joined", *rows]) + "\n", encoding="utf-8")
    rows = [f"B{n % boats},F{n},chainplate,stainless 316,{installed}" for n in range(fittings)]
    head = "boat_id,fitting_id,fitting_type,material,installed"
    (folder / "fittings.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    rows = [f"B{n % boats},F{n},{day},visual,{result}" for n, day, result in looks]
    head = "boat_id,fitting_id,inspected_on,method,result"
    (folder / "inspections.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return folder


CLEAR, FOUND = "no_indication", "relevant"
FLEETS: dict[str, tuple[dict[str, object], list[Look], int]] = {
    "no event": ({}, [(n, f"20{y}-05-01", CLEAR) for n in range(4) for y in (12, 15, 18)], TOO_LITTLE),
    "one event": ({}, [*((n, "2015-05-01", CLEAR) for n in range(4)), (0, "2018-05-01", FOUND)], DONE),
    "every first look a finding": ({}, [(n, f"201{n + 2}-05-01", FOUND) for n in range(4)], TOO_LITTLE),
    "one boat, one fitting": ({"boats": 1, "fittings": 1}, [(0, "2012-05-01", CLEAR), (0, "2016-05-01", FOUND)], DONE),
    "one look each": ({}, [(0, "2012-05-01", CLEAR), (1, "2013-05-01", CLEAR), (2, "2016-05-01", FOUND)], DONE),
    "ages of zero": ({}, [(n, "2010-01-01", FOUND) for n in range(4)], TOO_LITTLE),
    "identical rows": (
        {"boats": 1, "fittings": 30},
        [(n, day, r) for n in range(30) for day, r in (("2015-01-01", CLEAR), ("2016-01-01", FOUND))],
        DONE,
    ),
    "ages of a thousand years": (
        {"installed": "1024-01-01"}, [*((n, "2015-05-01", CLEAR) for n in range(4)), (0, "2018-05-01", FOUND)], DONE,
    ),
}  # fmt: skip


@pytest.mark.parametrize("way", [DEFAULT, PLAIN], ids=["default", "plain"])
@pytest.mark.parametrize("name", FLEETS)
def test_commands_give_a_bound_or_a_refusal(name: str, way: str, tmp_path: Path) -> None:
    """Ingest, estimate and rank: done, or too little evidence where the fleet has none; every number in the store is
    finite or empty, and a class without numbers says why (DoD of the estimate)."""
    more, looks, expected = FLEETS[name]
    folder, store = written(tmp_path / "in", looks, **more), tmp_path / "s.duckdb"  # type: ignore[arg-type]
    (tmp_path / "bobstay.toml").write_text(way, encoding="utf-8")
    settings = str(tmp_path / "bobstay.toml")
    how = ["--store", str(store), "--settings", settings, "--out", str(tmp_path / "out"), "--quiet"]
    files = [str(folder / f"{table}.csv") for table in ("boats", "fittings", "inspections")]
    assert run_command(["ingest", *files, *how]) == DONE
    code = run_command(["estimate", *how])
    # the plain estimate refuses what has no finite maximum: one event, one life, rows all alike
    assert code == expected if way == DEFAULT else code in {DONE, TOO_LITTLE}
    assert run_command(["rank", *how]) in {DONE, TOO_LITTLE}
    no_numbers_that_are_none(store)


def no_numbers_that_are_none(store: Path) -> None:
    with duckdb.connect(str(store), read_only=True) as con:
        for table in ("classes", "detection", "nonparametric", "chances", "class_draws", "priority"):
            rows = con.execute(f'SELECT * FROM "{table}"').df()
            numbers = rows.select_dtypes("float").to_numpy(dtype=float)
            assert not np.isinf(numbers).any(), table
        doubles = con.execute(
            "SELECT table_name, column_name FROM information_schema.columns WHERE data_type = 'DOUBLE' "
            "AND table_name IN ('classes', 'chances', 'priority', 'detection')"
        ).fetchall()
        for table, column in doubles:
            assert con.execute(f'SELECT count(*) FROM "{table}" WHERE isnan("{column}")').fetchone() == (0,), column
        silent = con.execute("SELECT count(*) FROM classes WHERE b10_years IS NULL AND length(model) < 20").fetchone()
        assert silent == (0,)


def test_a_part_put_in_before_any_calendar_is_set_aside(tmp_path: Path) -> None:
    """A million years of age has no day: the fitting's day is not read, and the run says so or refuses."""
    folder = written(tmp_path / "in", [(0, "2015-05-01", CLEAR)], installed="-998000-01-01")
    how = ["--store", str(tmp_path / "s.duckdb"), "--out", str(tmp_path / "out"), "--quiet"]
    files = [str(folder / f"{table}.csv") for table in ("boats", "fittings", "inspections")]
    code = run_command(["ingest", *files, *how])
    assert code in {DONE, UNUSABLE}
    if code == DONE:
        with duckdb.connect(str(tmp_path / "s.duckdb"), read_only=True) as con:
            told = con.execute("SELECT count(*) FROM set_aside WHERE value LIKE '%998000%'").fetchone()
        assert told is not None
        assert told[0] > 0
