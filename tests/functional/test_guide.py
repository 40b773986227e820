"""The guide's seasons, command for command: each ends with its exit code and says every line that the page shows.

Source: the pages themselves, whose lines were taken from the program; what is checked is that they stay true, not
that the numbers are right (that is checked elsewhere).
"""

from __future__ import annotations

import re
import shlex
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from bobstay.cli import run_command

ROOT = Path(__file__).parents[2]
GUIDE, FILES = ROOT / "reports" / "guide", ROOT / "tests" / "data" / "guide"
SEASONS = ("charter", "school", "club")
GAP, CUT = "...", " ..."  # a line of dots stands for lines left out; dots at a line's end for the rest of it


@dataclass(frozen=True, slots=True)
class Step:
    """A command, and the lines that the page shows of its answer."""

    command: str
    shown: tuple[str, ...]


def steps(page: str) -> list[Step]:
    """Return the commands of a page's console blocks, in their order."""
    made: list[Step] = []
    for block in re.findall(r"```console\n(.*?)```", page, re.S):
        for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
            command, *shown = part.splitlines()
            made.append(Step(command, tuple(line.rstrip() for line in shown if line.strip())))
    return made


def missing(shown: tuple[str, ...], answer: str) -> list[str]:
    """Return the lines shown that do not follow in the answer, in order; others may stand at a line of dots."""
    lines = [line.rstrip() for line in answer.splitlines() if line.strip()]
    wrong, place, may_skip = [], 0, False
    for line in shown:
        if line == GAP:
            may_skip = True
            continue
        reach = range(place, len(lines) if may_skip else min(place + 1, len(lines)))
        found = next((i for i in reach if _same(line, lines[i])), None)
        if found is None:
            wrong.append(line)
        place, may_skip = (place if found is None else found) + 1, False
    return wrong


def _same(shown: str, line: str) -> bool:
    return line == shown or (shown.endswith(CUT) and line.startswith(shown.removesuffix(CUT)))


@pytest.mark.parametrize("season", SEASONS)
def test_a_season_runs_command_for_command(season, tmp_path, monkeypatch, capsys):
    """Every command ends with 0 and its answer holds the lines shown; all that the page names is there at the end."""
    page = (GUIDE / f"season_{season}.md").read_text(encoding="utf-8")
    monkeypatch.chdir(shutil.copytree(FILES / season, tmp_path / season))
    monkeypatch.setenv("NO_COLOR", "1")
    told = steps(page)
    assert len(told) >= 7
    for step in told:
        program, *arguments = shlex.split(step.command)
        assert program == "bobstay"
        code = run_command(arguments)
        said = capsys.readouterr()
        assert code == 0, f"{step.command}\n{said.err}"
        assert step.shown, f"the page shows nothing of: {step.command}"
        assert not missing(step.shown, said.out), f"{step.command}\n{said.out}"


def test_a_line_that_is_not_said_is_missed():
    """Worked out by hand: a changed line, one out of order, and one that is not next are each told."""
    answer = "one\ntwo\n\nthree four\n"
    assert missing(("one", "two", "three ..."), answer) == []
    assert missing(("...", "three four"), answer) == []
    assert missing(("one", "three four"), answer) == ["three four"]
    assert missing(("...", "two", "...", "one"), answer) == ["one"]
    assert missing(("one", "three"), answer) == ["three"]


@pytest.mark.parametrize("season", SEASONS)
def test_the_files_of_a_season_are_those_its_maker_writes(season, tmp_path, monkeypatch):
    """The seeded generator beside the files writes them again, byte for byte."""
    import importlib.util

    spec = importlib.util.spec_from_file_location("make_seasons", FILES / "make_seasons.py")
    assert spec is not None
    assert spec.loader is not None
    maker = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(__import__("sys").modules, "make_seasons", maker)
    spec.loader.exec_module(maker)
    monkeypatch.setattr(maker, "HERE", tmp_path)
    getattr(maker, season)()
    made = sorted(p.name for p in (tmp_path / season).iterdir())
    assert made
    assert [n for n in made if (tmp_path / season / n).read_bytes() != (FILES / season / n).read_bytes()] == []
