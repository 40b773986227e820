"""Settings: every key optional, every mistake named with key, value and what is allowed."""

from __future__ import annotations

import tomllib
from datetime import date

import pytest

from bobstay.errors import UsageError
from bobstay.settings import Settings, consequence_class, flattened, from_tree, load, tree


def test_no_file_gives_the_defaults(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert load(None) == Settings()


def test_the_example_of_the_contract_is_read():
    text = """
        as_of = "2027-01-10"
        horizon_months = 12
        [estimate]
        detection = "perfect"
        pooling = "none"
        boat_effect = false
        minimum_events = 4
        seed = 7
        [detection.penetrant]
        found = 0.6
        false_call = 0.04
        weight = 30
        [detection.penetrant.in_place]
        found = 0.2
        [consequence]
        4 = 250
        chainplate = 5
        [costs]
        test = 0.5
        [guidance]
        clear_counts_years = 1.5
        [plan]
        budget = 20000
    """
    read = from_tree(tomllib.loads(text), source="bobstay.toml")
    assert read.as_of == date(2027, 1, 10)
    assert (read.estimate.detection, read.estimate.pooling, read.estimate.boat_effect) == ("perfect", "none", False)
    assert read.detection["penetrant", "removed"].found == 0.6
    assert read.detection["penetrant", "in_place"].found == 0.2
    assert read.detection["penetrant", "in_place"].weight == 30
    assert read.detection["visual", "removed"] == Settings().detection["visual", "removed"]
    assert read.consequence.units[4] == 250
    assert consequence_class(read, "Chainplate") == 5
    assert read.plan.budget == 20000
    assert read.sources["estimate.seed"] == "bobstay.toml"


@pytest.mark.parametrize(
    ("given", "key", "allowed"),
    [
        ({"horizon": 12}, "horizon", "horizon_months"),
        ({"horizon_months": "12"}, "horizon_months", "a whole number from 1 to 240"),
        ({"horizon_months": True}, "horizon_months", "a whole number from 1 to 240"),
        ({"as_of": "3/4/19"}, "as_of", "a day"),
        ({"invented": 1}, "invented", "true or false"),
        ({"estimate": 3}, "estimate", "a table [estimate]"),
        ({"estimate": {"detecton": "x"}}, "estimate.detecton", "did you mean detection?"),
        ({"estimate": {"detection": "none"}}, "estimate.detection", "imperfect or perfect"),
        ({"detection": {"penetrant": {"found": 1.0}}}, "detection.penetrant.found", "a number from"),
        ({"detection": {"penetrant": {"find": 0.5}}}, "detection.penetrant.find", "found"),
        ({"detection": {"penetrent": {"found": 0.5}}}, "detection.penetrent", "did you mean penetrant?"),
        ({"detection": {"penetrant": {"in_place": 0.5}}}, "detection.penetrant.in_place", "a table"),
        ({"consequence": {"6": 5}}, "consequence.6", "1, 2, 3, 4, 5"),
        ({"consequence": {"chainplate": 9}}, "consequence.chainplate", "from 1 to 5"),
        ({"costs": {"access": {"moon": 1}}}, "costs.access.moon", "mast_out"),
        ({"guidance": {"test_limit": {"7": 0.1}}}, "guidance.test_limit.7", "1, 2, 3, 4, 5"),
        ({"plan": {"budget": -1}}, "plan.budget", "a number from 0"),
    ],
)
def test_a_mistake_names_key_and_what_is_allowed(given, key, allowed):
    with pytest.raises(UsageError) as fault:
        from_tree(given, source="bobstay.toml")
    assert fault.value.exit_code == 2
    what, where, remedy = fault.value.lines()
    assert key in what
    assert f"key {key}" in where
    assert allowed in remedy


def test_what_is_printed_reads_back_the_same():
    given = {"as_of": "2027-01-10", "consequence": {"4": 200, "cleat": 1}, "guidance": {"test_limit": {"4": 0.1}}}
    read = from_tree(given, source="here")
    assert from_tree(tree(read), source="here") == read


def test_every_setting_has_a_value_and_a_source():
    rows = flattened(Settings())
    assert len(rows) > 60
    assert {source for _, source in rows.values()} == {"default"}


def test_a_file_that_is_not_toml_is_named(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text("as_of = = 3")
    with pytest.raises(UsageError, match="not TOML") as fault:
        load(path)
    assert fault.value.where == "mine.toml"
