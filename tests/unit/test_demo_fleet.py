"""The demo fleet: its files are its generator's, they hold what is promised, and they obey the truth beside them."""

from __future__ import annotations

import csv
import io
import json
import math
import zipfile
from collections import Counter
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from bobstay.data_demo.generate import write_all
from scipy import stats

from bobstay import data_demo, store
from bobstay.ingest import ingest
from bobstay.settings import load
from bobstay.tables import INPUT_BY_NAME

FOLDER = Path(data_demo.__file__).parent
WRITTEN = ("boats.csv", "fittings.csv", "inspections_charter.csv", "events.csv", "slots.csv", "availability.csv",
           "prices.csv", "truth.csv", "truth.json")  # fmt: skip
TRUTH = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
WRONG_IDS = {w["cells"].get("inspection_id") for w in TRUTH["wrong_on_purpose"] if w["is_row"]}


@pytest.fixture(scope="module")
def again(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    write_all(folder)
    return folder


def _csv(name: str) -> pd.DataFrame:
    return pd.read_csv(FOLDER / name, dtype=str, keep_default_na=False)


def _xlsx(content: bytes) -> pd.DataFrame:
    frame = pd.read_excel(io.BytesIO(content), engine="calamine", dtype=str, keep_default_na=False)
    days = frame["inspected_on"].str.slice(0, 10)
    return frame.assign(inspected_on=days)


def _looks() -> pd.DataFrame:
    """All rows of the three inspection files, those wrong on purpose left out."""
    club = pd.read_parquet(FOLDER / "inspections_club.parquet").astype(object)
    frames = [_csv("inspections_charter.csv"), _xlsx((FOLDER / "inspections_school.xlsx").read_bytes()), club]
    rows = pd.concat([f.where(f.notna(), "") for f in frames], ignore_index=True)
    wrong = rows["inspection_id"].isin(WRONG_IDS - {"C00100"}) | rows["note"].eq("wrong on purpose")
    return rows[~wrong].reset_index(drop=True)


@pytest.fixture(scope="module")
def looks() -> pd.DataFrame:
    return _looks()


@pytest.fixture(scope="module")
def lives() -> pd.DataFrame:
    frame = pd.read_csv(FOLDER / "truth.csv", parse_dates=["true_installed_on", "true_ended_on"])
    frame.columns = frame.columns.str.removeprefix("true_")
    boats = _csv("boats.csv").drop_duplicates("boat_id")
    places = _csv("fittings.csv").drop_duplicates(["boat_id", "fitting_id"])
    frame = frame.merge(boats[["boat_id", "service", "water", "climate"]], on="boat_id", validate="many_to_one")
    through = places[["boat_id", "fitting_id", "through_deck"]]
    return frame.merge(through, on=["boat_id", "fitting_id"], validate="many_to_one")


# --- the files are the generator's ---


@pytest.mark.parametrize("name", WRITTEN)
def test_committed_text_is_the_generators_byte_for_byte(again: Path, name: str) -> None:
    assert (again / name).read_bytes() == (FOLDER / name).read_bytes()


def test_committed_workbook_holds_what_the_generator_writes(again: Path) -> None:
    """By contents: how tightly a zip is packed depends on the machine's zlib."""
    name = "inspections_school.xlsx"
    with zipfile.ZipFile(again / name) as new, zipfile.ZipFile(FOLDER / name) as old:
        stamps = [[(i.filename, i.date_time) for i in book.infolist()] for book in (new, old)]
        assert stamps[0] == stamps[1]
        assert all(new.read(n) == old.read(n) for n in new.namelist())


def test_committed_parquet_holds_what_the_generator_writes(again: Path) -> None:
    """By contents: the bytes depend on the version of the writing library."""
    new, old = (pd.read_parquet(f / "inspections_club.parquet") for f in (again, FOLDER))
    pd.testing.assert_frame_equal(new, old)


def test_nothing_else_is_written_or_missing(again: Path) -> None:
    written = {p.name for p in again.iterdir()}
    assert written == {*WRITTEN, "inspections_school.xlsx", "inspections_club.parquet"}
    assert {p.name for p in data_demo.demo_paths()} | {"truth.csv", "truth.json"} == written


def test_committed_files_are_small() -> None:
    assert sum(p.stat().st_size for p in FOLDER.iterdir() if p.is_file()) < 3_000_000


# --- what users get ---


def test_copy_to_gives_the_inputs_and_the_settings(tmp_path: Path) -> None:
    copied = data_demo.copy_to(tmp_path / "new" / "folder")
    assert [p.name for p in copied] == list(data_demo.INPUT_FILES)
    assert all(p.read_bytes() == (FOLDER / p.name).read_bytes() for p in copied)
    assert {p.name for p in copied[0].parent.iterdir()} == {*data_demo.INPUT_FILES, "bobstay.toml"}


def test_settings_say_invented_and_fix_the_day() -> None:
    settings = load(FOLDER / "bobstay.toml")
    assert settings.invented
    assert settings.as_of is not None
    assert settings.as_of.isoformat() == TRUTH["as_of"] == "2026-10-31"


@pytest.mark.parametrize("path", [p for p in data_demo.demo_paths() if p.name.endswith(".csv")], ids=lambda p: p.name)
def test_each_text_file_has_the_canonical_columns(path: Path) -> None:
    header = next(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    table = INPUT_BY_NAME[path.name.split("_")[0].removesuffix(".csv")]
    assert [c for c in header if c != "owner"] == [c.name for c in table.columns]


def test_every_owner_design_and_port_is_labelled_invented() -> None:
    boats = _csv("boats.csv")
    for column in ("owner", "design", "home_port"):
        assert boats[column].str.endswith("(invented)").all(), column


def test_no_boat_name_comes_twice() -> None:
    names = Counter(_csv("boats.csv")["boat_name"])
    assert max(names.values()) == 1


# --- size and make-up, as the project promises of its demo ---


def test_size_is_as_promised(looks: pd.DataFrame, lives: pd.DataFrame) -> None:
    serving = lives[lives["end_reason"] == "in_service"]
    assert lives["boat_id"].nunique() >= 60
    assert 2300 <= len(serving) <= 2700
    assert serving["fitting_type"].nunique() >= 10
    assert serving["material"].nunique() >= 6
    assert 11_000 <= (looks["fitting_id"] != "").sum() <= 13_000
    assert (looks["fitting_id"] == "").sum() >= 100
    assert 300 <= looks["result"].isin(["relevant", "failed"]).sum() <= 700


def test_records_span_twenty_years_and_end_at_the_as_of_date(looks: pd.DataFrame) -> None:
    days = looks["inspected_on"].str.slice(0, 10)
    days = days[days.str.match(r"^\d{4}-\d\d-\d\d$")]
    assert days.min() < "2007-12-31"
    assert "2026-01-01" < days.max() <= TRUTH["as_of"]


def test_boats_differ_as_the_three_owners_do() -> None:
    boats = _csv("boats.csv")
    lies = list(zip(boats["owner"], boats["water"], boats["climate"], strict=True))
    charter, school, club = ({pair[1:] for pair in lies if word in pair[0]} for word in ("Charter", "School", "Club"))
    assert charter == {("salt", "warm")}
    assert school == {("brackish", "temperate")}
    assert {water for water, _ in club} == {"salt", "fresh", "brackish"}
    assert {climate for _, climate in club} == {"cold", "temperate"}


def test_counts_in_the_truth_agree_with_the_files(looks: pd.DataFrame, lives: pd.DataFrame) -> None:
    counts = TRUTH["counts"]
    assert counts["boats"] == _csv("boats.csv")["boat_id"].nunique()
    assert counts["lives"] == len(lives)
    assert counts["looks_at_a_fitting"] == (looks["fitting_id"] != "").sum()
    assert counts["whole_boat_rows"] == (looks["fitting_id"] == "").sum()
    assert counts["findings"] == looks["result"].isin(["relevant", "failed", "non_relevant", "false"]).sum()
    assert counts["failed"] == (looks["result"] == "failed").sum()


# --- a fleet a practitioner would believe: bounds by judgement, no source ---


def test_few_fittings_in_service_carry_a_crack(lives: pd.DataFrame) -> None:
    serving = lives[lives["end_reason"] == "in_service"]
    age = (pd.Timestamp(TRUTH["as_of"]) - serving["installed_on"]).dt.days / 365.25
    assert 0.04 < (age > serving["onset_years"]).mean() < 0.08
    assert 0.06 < (age + 1 > serving["onset_years"]).mean() < 0.10  # by the horizon, if nothing is done


def test_few_indications_are_left_open(looks: pd.DataFrame, lives: pd.DataFrame) -> None:
    serving = lives[lives["end_reason"] == "in_service"]
    found = looks[looks["result"].isin(["relevant", "failed"]) & (looks["disposition"] != "unfounded")]
    both = found.merge(serving[["boat_id", "fitting_id", "installed_on"]], on=["boat_id", "fitting_id"])
    is_open = pd.to_datetime(both["inspected_on"]) > both["installed_on"]
    assert 10 <= len(both[is_open].drop_duplicates(["boat_id", "fitting_id"])) <= 20


def test_old_boats_are_few_and_mostly_renewed(lives: pd.DataFrame) -> None:
    boats = _csv("boats.csv").query("left == ''").drop_duplicates("boat_id")
    built = boats["built"].str.slice(0, 4).astype(int)
    assert 0 < (built < 1991).mean() < 0.15
    serving = lives[lives["end_reason"] == "in_service"].merge(boats[["boat_id", "built"]], on="boat_id")
    old = serving[serving["built"].str.slice(0, 4).astype(int) <= 1996]
    old = old[old["fitting_type"].isin(["chainplate", "keel bolt", "rudder stock", "stem fitting"])]
    original = old["installed_on"].dt.year == old["built"].str.slice(0, 4).astype(int)
    assert len(old) >= 40
    assert original.mean() < 0.25


@pytest.mark.parametrize(
    ("fitting_type", "low", "high"),
    [("keel bolt", 16, 30), ("rudder stock", 18, 30), ("seacock", 12, 20), ("chainplate", 9.5, 17),
     ("swaged terminal", 9, 12), ("exhaust elbow", 4.5, 6), ("stanchion base", 15, 20)],
)  # fmt: skip
def test_one_in_ten_has_cracked_at_an_age_the_trade_knows(fitting_type: str, low: float, high: float) -> None:
    ages = [c["b10_years_bad_batches_apart"] for c in TRUTH["classes"] if c["fitting_type"] == fitting_type]
    assert ages
    assert all(low <= age <= high for age in ages), ages


# --- what is planted ---


def test_a_class_is_unknown_past_age_twelve(lives: pd.DataFrame) -> None:
    of_class = lives[(lives["fitting_type"] == "chainplate") & (lives["material"] == "stainless duplex")]
    ages = (of_class["ended_on"] - of_class["installed_on"]).dt.days / 365.25
    assert len(of_class) >= 20
    assert ages.max() < 12


def test_a_class_has_no_finding(looks: pd.DataFrame, lives: pd.DataFrame) -> None:
    of_class = lives[(lives["fitting_type"] == "stem fitting") & (lives["material"] == "silicon bronze")]
    seen = looks.merge(of_class[["boat_id", "fitting_id"]], on=["boat_id", "fitting_id"])
    assert len(of_class) >= 5
    assert len(seen) >= 20
    assert set(seen["result"]) <= {"no_indication", "inconclusive", "not_inspected"}


@pytest.mark.parametrize("batch", TRUTH["bad_batches"], ids=lambda b: b["batch"])
def test_bad_batches_are_in_the_records_and_crack_early(batch: dict[str, object], lives: pd.DataFrame) -> None:
    rows = _csv("fittings.csv")
    named = rows[(rows["fitting_type"] == batch["fitting_type"]) & (rows["batch"] == batch["batch"])]
    bad = lives[(lives["from_bad_batch"] == "yes") & (lives["fitting_type"] == batch["fitting_type"])]
    good = lives[
        (lives["from_bad_batch"] == "no")
        & (lives["fitting_type"] == batch["fitting_type"])
        & (lives["material"] == batch["material"])
    ]
    assert len(named) >= 15
    assert named["boat_id"].nunique() >= 3
    assert bad["onset_years"].median() < good["onset_years"].median() / 2


def test_a_class_has_gone_bad_and_its_looks_of_the_last_season_show_it(
    looks: pd.DataFrame, lives: pd.DataFrame
) -> None:
    gone = TRUTH["class_gone_bad"]
    of_class = lives[(lives["fitting_type"] == gone["fitting_type"]) & (lives["material"] == gone["material"])]
    bad = of_class[(of_class["gone_bad"] == "yes") & (of_class["ended_on"] > gone["since"])]
    seen = looks.merge(of_class[["boat_id", "fitting_id"]].drop_duplicates(), on=["boat_id", "fitting_id"])
    found = seen["result"].isin(["relevant", "failed"])
    is_new = seen["inspected_on"] > "2025-10-31"
    assert len(bad) == gone["parts"] >= 30
    assert set(bad["boat_id"].str[0]) == set(gone["boats"])
    assert found[is_new].mean() > 3 * found[~is_new].mean()


def test_penetrant_tests_fall_below_each_minimum(looks: pd.DataFrame) -> None:
    tests = looks[looks["method"].str.endswith("penetrant")]
    cells = tests[["part_temp_c", "penetrant_dwell_min", "developer_dwell_min"]].apply(pd.to_numeric, errors="coerce")
    assert (cells["part_temp_c"] == 4).sum() >= 10
    assert (cells["penetrant_dwell_min"] < 5).sum() >= 10
    assert (cells["developer_dwell_min"] < 10).sum() >= 10
    assert (tests["surface_cleaned"] == "no").sum() >= 10
    assert 0.2 < cells.isna().all(axis=1).mean() < 0.5  # minima not stated


def test_install_dates_are_as_poor_as_in_life() -> None:
    said = _csv("fittings.csv")["installed"]
    forms = {
        "": said.eq(""),
        "year": said.str.fullmatch(r"\d{4}"),
        "about": said.str.fullmatch(r"\d{4}~"),
        "unknown": said.eq("XXXX"),
        "range": said.str.fullmatch(r"\d{4}/\d{4}"),
        "before": said.str.fullmatch(r"\.\./\d{4}"),
        "month": said.str.fullmatch(r"\d{4}-\d\d"),
        "day": said.str.fullmatch(r"\d{4}-\d\d-\d\d"),
    }
    assert sum(mask.sum() for mask in forms.values()) == len(said)
    assert all(mask.sum() >= 20 for mask in forms.values())


def test_stated_install_ranges_hold_the_truth(lives: pd.DataFrame) -> None:
    rows = _csv("fittings.csv")
    rows = rows[rows["installed"].str.fullmatch(r"\d{4}/\d{4}")]
    first = lives[lives["part_number"] == 1]
    both = rows.merge(first, on=["boat_id", "fitting_id"])
    year = both["installed_on"].dt.year
    low, high = (both["installed"].str.split("/").str[n].astype(int) for n in (0, 1))
    assert len(both) >= 20
    assert ((low <= year) & (year <= high)).all()


def test_renewals_come_with_and_without_a_row_of_their_own(looks: pd.DataFrame) -> None:
    rows = _csv("fittings.csv")[["boat_id", "fitting_id", "installed"]]
    renewed = looks.loc[looks["action"] == "replaced", ["boat_id", "fitting_id", "inspected_on"]]
    pairs = renewed.merge(rows, on=["boat_id", "fitting_id"])
    gap = (pd.to_datetime(pairs["installed"], errors="coerce") - pd.to_datetime(pairs["inspected_on"])).dt.days
    with_row = pairs[gap.between(0, 31)].drop_duplicates(["boat_id", "fitting_id", "inspected_on"])
    assert 0.4 < len(with_row) / len(renewed) < 0.8


def test_late_joiners_removals_and_departed_boats_are_there(lives: pd.DataFrame) -> None:
    reasons = Counter(_csv("fittings.csv")["removal_reason"])
    assert 0.3 < (lives["joined_late"] == "yes").mean() < 0.6
    assert {"indication", "preventive", "damage", "refit"} <= reasons.keys()
    assert reasons["preventive"] >= 100
    departed = _csv("boats.csv").query("left != ''")
    assert len(departed) >= 8
    assert (departed["joined"] < departed["left"]).all()
    assert (departed["left"] <= TRUTH["as_of"]).all()
    assert len(_csv("events.csv")) >= 50


def test_every_planted_fault_is_in_its_file() -> None:
    frames = {p.stem: _csv(p.name) for p in FOLDER.glob("*.csv")}
    frames["inspections_school"] = _xlsx((FOLDER / "inspections_school.xlsx").read_bytes())
    club = pd.read_parquet(FOLDER / "inspections_club.parquet").astype(object)
    frames["inspections_club"] = club.where(club.notna(), "")
    assert sum(w["is_row"] for w in TRUTH["wrong_on_purpose"]) >= 15
    for wrong in TRUTH["wrong_on_purpose"]:
        frame = frames[wrong["file"]]
        hits = pd.concat([frame[c].eq(v) for c, v in wrong["cells"].items()], axis=1).all(axis=1)
        assert hits.sum() == 1, wrong


def test_ingest_sets_aside_what_is_planted_and_nothing_else(tmp_path: Path) -> None:
    """Agreement of two parts written apart: the list of planted faults, and what taking the files in sets aside."""
    paths = data_demo.copy_to(tmp_path / "files")
    with store.opened(tmp_path / "demo.duckdb", folders=[tmp_path / "files"], create=True) as con:
        ingest(con, paths, limit=date.fromisoformat(TRUTH["as_of"]))
        rows = con.execute("SELECT file, row_json FROM set_aside").fetchall()
        cells = con.execute('SELECT file, "column", value FROM cells_unread').fetchall()
    planted = Counter(w["file"] for w in TRUTH["wrong_on_purpose"] if w["is_row"])
    assert Counter(file.split(".")[0] for file, _ in rows) == planted
    spoilt = {(w["file"], *next(iter(w["cells"].items()))) for w in TRUTH["wrong_on_purpose"] if not w["is_row"]}
    assert {(file.split(".")[0], column, value) for file, column, value in cells} == spoilt


# --- the records obey the truth ---


def test_onsets_follow_the_stated_distribution(lives: pd.DataFrame) -> None:
    """H(onset) of each life under the stated truth must be unit exponential: Kolmogorov-Smirnov with SciPy.

    Only lives not chosen by having outlived something: those put in after their boat joined. Parts whose
    through_deck is not stated are left out, since the truth cannot be worked out from the records, and those of the
    class gone bad, which crack by another cause.
    """
    shapes = {(c["fitting_type"], c["material"]): (c["shape"], c["b10_years_reference_boat"]) for c in TRUTH["classes"]}
    chosen = lives[(lives["joined_late"] == "no") & (lives["through_deck"] != "") & (lives["gone_bad"] == "no")]
    hazards = []
    for row in chosen.itertuples():
        shape, b10 = shapes[row.fitting_type, row.material]
        effects = TRUTH["effects_on_ln_scale"]
        shift = sum(effects[name][getattr(row, name)] for name in ("water", "climate", "service", "through_deck"))
        shift += TRUTH["boat_effects"][row.boat_id]
        shift -= math.log(3) if row.from_bad_batch == "yes" else 0
        hazards.append(-math.log(0.9) * (row.onset_years / b10 / math.exp(shift)) ** shape)
    assert len(hazards) > 1500
    assert stats.kstest(hazards, "expon").pvalue > 0.01


def test_boat_effects_look_normal_with_the_stated_spread() -> None:
    """Shapiro-Wilk and the chi-square interval of a standard deviation, both with SciPy."""
    effects = list(TRUTH["boat_effects"].values())
    assert stats.shapiro(effects).pvalue > 0.01
    squares = sum(e * e for e in effects) / TRUTH["boat_effect_sd"] ** 2
    assert 0.005 < stats.chi2.cdf(squares, len(effects)) < 0.995


def _with_truth(looks: pd.DataFrame, lives: pd.DataFrame) -> pd.DataFrame:
    """Each scheduled look at a fitting with the day from which its part was truly cracked."""
    seen = looks[(looks["fitting_id"] != "") & (looks["inspected_on"].str.len() == 10)]
    seen = seen[~seen["trigger"].isin(["suspicion"]) & (seen["result"] != "failed")]
    both = seen.merge(lives.drop(columns=["through_deck"]), on=["boat_id", "fitting_id"])
    day = pd.to_datetime(both["inspected_on"])
    both = both[(both["installed_on"] < day) & (day <= both["ended_on"])]
    age = (pd.to_datetime(both["inspected_on"]) - both["installed_on"]).dt.days / 365.25
    both = both.assign(cracked=age > both["onset_years"], shows=~both["result"].isin(["no_indication"]))
    clear_cut = (age - both["onset_years"]).abs() > 0.01  # onsets are written to the hundredth of a year
    return both[clear_cut & ~both["result"].isin(["inconclusive", "not_inspected"])]


@pytest.mark.parametrize("method", ["visual", "magnified", "ultrasonic"])
def test_tests_find_and_cry_wolf_as_often_as_stated(method: str, looks: pd.DataFrame, lives: pd.DataFrame) -> None:
    """Exact binomial test with SciPy; methods without minima, scope stated."""
    seen = _with_truth(looks, lives)
    seen = seen[(seen["method"] == method) & (seen["scope"] != "")]
    for scope in ("removed", "in_place"):
        cracked = seen[seen["cracked"] & (seen["scope"] == scope)]
        assert stats.binomtest(int(cracked["shows"].sum()), len(cracked), TRUTH["tests"][method][scope]).pvalue > 0.005
    sound = seen[~seen["cracked"]]
    assert stats.binomtest(int(sound["shows"].sum()), len(sound), TRUTH["tests"][method]["false_call"]).pvalue > 0.005


def test_half_of_the_findings_are_followed_up_whatever_the_truth(looks: pd.DataFrame, lives: pd.DataFrame) -> None:
    """Exact binomial test with SciPy, for true findings and false ones apart; a follow-up is always right."""
    found = _with_truth(looks, lives)
    found = found[found["shows"]]
    followed = found["disposition"].isin(["confirmed", "unfounded"]) | found["result"].isin(["non_relevant", "false"])
    for is_cracked in (True, False):
        group = followed[found["cracked"] == is_cracked]
        assert stats.binomtest(int(group.sum()), len(group), TRUTH["followed_up_share"]).pvalue > 0.005
    assert set(found.loc[found["disposition"] == "confirmed", "cracked"]) == {True}
    assert set(found.loc[found["disposition"] == "unfounded", "cracked"]) == {False}
