"""The README says what the code says: columns, commands, settings, outputs, and the two commands."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
import typer

from bobstay import __version__
from bobstay.cli import app
from bobstay.mapping import load as load_mapping
from bobstay.settings import Settings, flattened
from bobstay.tables import INPUTS, OUTPUTS, InputColumn, InputTable

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _written(column: InputColumn) -> str:
    if column.choices:
        return ", ".join(column.choices)
    limits = {"integer": "whole number", "number": "number", "date": "date", "id": "text", "text": "text"}[column.kind]
    return limits if column.low is None else f"{limits}, {column.low:g} to {column.high:g}" if column.high else limits


def columns_markdown(table: InputTable) -> str:
    """Return the README's table of the columns of one input table."""
    rows = [f"| {'**' + c.name + '**' if c.required else c.name} | {c.about} | {_written(c)} |" for c in table.columns]
    return "\n".join(
        [
            f"**{table.name}**, one row a {table.grain}:",
            "",
            "| column | says | written as |",
            "| --- | --- | --- |",
            *rows,
        ]
    )


@pytest.mark.parametrize("table", INPUTS, ids=lambda t: t.name)
def test_readme_lists_every_input_column(table):
    assert columns_markdown(table) in README


def test_readme_names_every_command():
    commands = typer.main.get_command(app).commands
    assert len(commands) >= 11
    missing = [name for name in commands if f"`bobstay {name}" not in README]
    assert not missing


def test_readme_names_every_output_table():
    missing = [t.name for t in OUTPUTS if t.exported and f"`{t.name}`" not in README]
    assert not missing


def test_readme_shows_every_setting():
    block = re.search(r"```toml\n(.*?)```", README.partition("## Settings")[2], re.S)
    assert block
    missing = []
    for key in flattened(Settings()):
        last = key.rsplit(".", 1)[-1]
        if key.startswith(("detection.", "consequence.")):
            continue  # one method and one type stand for all; `bobstay settings` prints them
        if not re.search(rf"\b{re.escape(last)}\b", block.group(1)):
            missing.append(key)
    assert not missing


def test_readme_begins_with_the_job_in_one_paragraph_and_keeps_the_caution():
    title, _, rest = README.partition("\n\n")
    assert title == "# Bobstay"
    paragraph = rest.partition("\n\n")[0]
    assert len(paragraph.split()) > 80
    assert "does not say that a fitting or a boat is fit for sea" in README


@pytest.mark.parametrize("name", ["demo", "tests"])
def test_the_two_commands_are_one_line_each_and_set_themselves_up(name):
    block = re.search(rf"<!-- command: {name} -->\n```sh\n(.*?)\n```", README, re.S)
    assert block
    assert "\n" not in block.group(1)
    assert block.group(1).startswith("python3 -m venv")


def test_the_mapping_in_the_readme_is_one(tmp_path):
    """Its every key is read by the program, and its words and columns are taken as it says."""
    block = re.search(r"<!-- mapping: example -->\n```toml\n(.*?)```", README, re.S)
    assert block
    path = tmp_path / "readme.toml"
    path.write_text(block.group(1), encoding="utf-8")
    mapping = load_mapping(path)
    assert mapping.is_for_file("priel_2019.csv")
    assert mapping.vocabulary.canonical("result", "o.B.") == "no_indication"
    assert mapping.parts[0].joined == {"fitting_id": ("Bauteil", "Seite")}


def test_readme_names_every_key_of_a_mapping():
    from bobstay.mapping import parts, reading

    assert not [key for key in (*reading._TOP, *parts._PART, *parts._WIDE) if key not in README]


GUIDE = ROOT / "reports" / "guide"


def test_the_guide_lists_the_licence_of_every_package_it_rests_on():
    """The list is held against pyproject: a package more or less is told."""
    listed = re.findall(r"^\| ([a-z][a-z0-9-]*) \| \S", (GUIDE / "changes.md").read_text(encoding="utf-8"), re.M)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [re.split(r"[>=<]", one)[0] for one in project["dependencies"]]
    assert [name for name in listed if name != "package"] == wanted


def test_the_guide_tells_of_the_version_in_force():
    assert f"## {__version__}\n" in (GUIDE / "changes.md").read_text(encoding="utf-8")


def test_every_page_of_the_guide_is_linked_from_the_readme():
    pages = sorted(page.name for page in GUIDE.glob("*.md"))
    assert len(pages) >= 5
    assert not [name for name in pages if f"(reports/guide/{name})" not in README]


def test_the_guide_tells_how_to_read_everything_that_comes_out():
    """A heading for each row of the README's list, in its order; the demo's files are held to that list elsewhere."""
    listed = README[README.index("## What comes out") :]
    rows = re.findall(r"^\| `([^`]+)`.* \|$", listed[: listed.index("The same inputs")], re.M)
    page = (ROOT / "reports" / "guide" / "reading.md").read_text(encoding="utf-8")
    assert re.findall(r"^## `([^`]+)`$", page, re.M) == rows


_GROUPED = {  # keys that stand once for all of a kind, as the page writes them
    r"consequence\.[1-5]$": "consequence.1` to `consequence.5",
    r"consequence\.[a-z_]+$": "consequence.TYPE",
    r"(guidance\.(test|replace)_limit)\.[1-5]$": r"\1.CLASS",
    r"((costs\.access|plan\.access_boats_max|plan\.access_hours))\.[a-z_]+$": r"\1.ACCESS",
    r"detection\..*\.(found|false_call|weight)$": r"\1",
}
# keys without a default of their own: what the user names is up to the user
_NAMED_BY_USERS = {
    "consequence.reasons.TYPE",
    "guidance.growth_years.TYPE",
    "plan.kept_in_service.GROUP",
    "plan.lead_weeks.TYPE",
}


def _grouped(key: str) -> str:
    if key == "consequence.otherwise":
        return key
    for pattern, name in _GROUPED.items():
        if re.match(pattern, key):
            return re.sub(pattern, name, key)
    return key


def _rows_of_settings() -> dict[str, tuple[str, str]]:
    """Return default and limits of each key as the guide's page states them."""
    page = (GUIDE / "settings.md").read_text(encoding="utf-8")
    return {
        key: (default, limits) for key, default, limits in re.findall(r"^\| `(.+?)` \| (.+?) \| (.+?) \|", page, re.M)
    }


def test_the_guide_explains_every_setting_and_no_other():
    keys = {_grouped(key) for key in flattened(Settings())} | _NAMED_BY_USERS
    assert set(_rows_of_settings()) == keys


def _said(value: object) -> str:
    if value is None:
        return "the newest date in the data"
    if isinstance(value, bool):
        return str(value).lower()
    if value == float("inf"):
        return "no limit"
    return f"{value:.10g}" if isinstance(value, (int, float)) else str(value) or "none"


def test_defaults_and_limits_in_the_guide_are_those_in_force():
    from bobstay.settings import reading

    rows = _rows_of_settings()
    for key, (value, _) in flattened(Settings()).items():
        default, limits = rows[_grouped(key)]
        if _grouped(key) == key:
            assert default == _said(value), key
        if allowed := reading._LIMITS.get(key):
            is_words = isinstance(allowed[0], str)
            assert limits == (", ".join(allowed) if is_words else f"{_said(allowed[0])} to {_said(allowed[1])}"), key
    assert rows["weight"][0] == "20"
    assert rows["found"][1] == "0.001 to 0.9999"
