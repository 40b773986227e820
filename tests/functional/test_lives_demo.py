"""The lives of the demo fleet against the truth its generator wrote beside the files (data_demo/truth.csv)."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from bobstay import store
from bobstay.ingest import ingest
from bobstay.lives import build_lives
from bobstay.settings import load

DEMO = Path(__file__).parents[2] / "data_demo"
FILES = (
    "boats.csv",
    "fittings.csv",
    "events.csv",
    "inspections_charter.csv",
    "inspections_school.xlsx",
    "inspections_club.parquet",
)


@pytest.fixture(scope="module")
def known(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, object]]:
    """Every life of the truth beside ours; one side is empty where the other has a life more."""
    path = tmp_path_factory.mktemp("demo") / "store.duckdb"
    settings = load(DEMO / "bobstay.toml")
    assert settings.as_of is not None
    with store.opened(path, folders=[DEMO], create=True) as con:
        ingest(con, [DEMO / name for name in FILES], limit=settings.as_of)
        build_lives(con, as_of=settings.as_of, settings=settings)
        lives = _rows(con, "SELECT * FROM lives")
    with duckdb.connect() as con:
        truths = _rows(con, "SELECT * FROM read_csv($truth)", truth=str(DEMO / "truth.csv"))
    ours = {r["life_id"]: r for r in lives}
    true = {str(r["true_life_id"]): r for r in truths}
    nothing: dict[str, object] = {"life_id": None, "true_life_id": None}
    return [nothing | true.get(k, {}) | ours.get(k, {}) for k in sorted(ours.keys() | true.keys())]


def _rows(con: duckdb.DuckDBPyConnection, sql: str, **given: str) -> list[dict[str, object]]:
    found = con.execute(sql, given)
    heads = [d[0] for d in found.description or ()]
    return [dict(zip(heads, row, strict=True)) for row in found.fetchall()]


def test_every_true_life_is_found_and_no_other(known: list[dict[str, object]]) -> None:
    assert len(known) > 2500
    assert [r for r in known if r["true_life_id"] != r["life_id"] or r["true_fitting_type"] != r["fitting_type"]] == []


def test_every_life_ends_on_its_true_day(known: list[dict[str, object]]) -> None:
    assert [r["life_id"] for r in known if r["ended_on"] != r["true_ended_on"]] == []


def test_the_true_day_of_installation_is_the_stated_one_or_lies_within_the_bounds(
    known: list[dict[str, object]],
) -> None:
    stated = [r for r in known if r["age_basis"] == "stated"]
    assert [r["life_id"] for r in stated if r["installed_on"] != r["true_installed_on"]] == []
    loose = [r for r in known if r["age_basis"] in ("rough", "bounded")]
    assert len(stated) > 500 and len(loose) > 500
    outside = [
        r["life_id"]
        for r in loose
        if not r["installed_earliest"] <= r["true_installed_on"] <= r["installed_latest"]  # type: ignore[operator]
    ]
    assert outside == []
