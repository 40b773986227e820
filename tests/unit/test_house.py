"""The house keeps its own rules: arrows run down, every query and package is at home, help is quick to load."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "pipeline" / "bobstay"

# Who stands above whom. A module may import from lower floors only; stages share a floor and never meet.
FLOORS = [
    {"errors", "sql_text"},
    {"tables", "settings", "weibull", "turnbull", "detection", "replacement", "inspection_interval", "bounds", "joint",
     "outside", "rates_known",
     "scores", "observations", "weibull_likelihood", "turnbull_climb", "likelihood_ratio", "told", "vocabulary",
     "consequences", "censored", "mapping", "wording",
     "codes", "engine_faults", "stopping"},
    {"looks_frame"},
    {"store"},
    {"export"},
    {"ingest", "lives", "estimate", "rank", "plan", "guidance", "alerts", "backtest", "charts",
     "checks", "study", "rank_changes", "changes"},
    {"report", "show"},
    {"papers"},
    {"run", "explain", "holdings", "propose"},
    {"history", "bench", "returned"},
    {"cli"},
    {"__main__"},
]  # fmt: skip


def _rooms():
    return sorted(SOURCE.rglob("*.py"))


def _room(path):
    return path.relative_to(SOURCE).with_suffix("").parts[0]


def _imported(path, *, at_run_time_only=True):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    skipped = set()
    if at_run_time_only:
        for node in ast.walk(tree):
            if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING":
                skipped |= set(map(id, ast.walk(node)))
    names = set()
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Import):
            names |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names |= {f"{node.module}.{a.name}" for a in node.names}
    return names


def _floor(room):
    return next((i for i, rooms in enumerate(FLOORS) if room in rooms), None)


def test_every_room_stands_on_a_floor():
    rooms = {_room(p) for p in _rooms()} - {"__init__"}
    assert rooms <= set().union(*FLOORS)


def test_arrows_run_down_only():
    wrong = []
    for path in _rooms():
        here = _room(path)
        for name in _imported(path) if here != "__init__" else ():
            parts = name.split(".")
            there = parts[1] if parts[0] == "bobstay" and len(parts) > 1 else None
            if there in {None, here, "queries", "templates", "data_demo", "__version__"} or _floor(there) is None:
                continue
            maths = _floor(there) == 1 and _floor(here) == 1
            if _floor(there) >= _floor(here) and not maths:
                wrong.append(f"{path.relative_to(SOURCE)} -> {there}")
    assert not wrong


MATHS = {"weibull", "turnbull", "detection", "replacement", "inspection_interval", "bounds", "joint", "scores",
         "censored"}  # fmt: skip


def test_maths_knows_no_tables():
    wrong = [
        f"{p.name}: {n}"
        for p in _rooms()
        if _room(p) in MATHS
        for n in _imported(p, at_run_time_only=False)
        if n.split(".")[0] in {"pandas", "duckdb", "pyarrow"} or n.startswith(("bobstay.tables", "bobstay.store"))
    ]
    assert not wrong


def test_every_package_is_in_the_wheel():
    listed = set(tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["packages"])
    present = {".".join(("bobstay", *p.parent.relative_to(SOURCE).parts)) for p in SOURCE.rglob("__init__.py")}
    assert present | {"bobstay.queries", "bobstay.templates", "bobstay.data_demo"} == listed


def test_no_assert_and_no_print_left_in_the_pipeline():
    wrong = [
        f"{p.name}:{node.lineno}"
        for p in _rooms()
        for node in ast.walk(ast.parse(p.read_text(encoding="utf-8")))
        if isinstance(node, ast.Assert)
    ]
    assert not wrong


def test_top_level_is_fixed():
    allowed = {
        "pyproject.toml",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "MANIFEST.in",
        "pipeline",
        "queries",
        "data_demo",
        "reports",
        "tests",
    }
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout.split(
        "\n"
    )
    if not any(tracked):
        pytest.skip("not a git checkout")
    assert {name.split("/")[0] for name in tracked if name and not name.startswith(".")} <= allowed


@pytest.mark.parametrize("arguments", [["--help"], ["run", "--help"], ["--version"]])
def test_help_imports_nothing_heavy(arguments):
    code = (
        "import sys\n"
        "from bobstay.cli import run_command\n"
        f"run_command({arguments!r})\n"
        "heavy = {'lifelines', 'altair', 'pandas', 'scipy', 'numpy', 'duckdb', 'pyarrow'} & set(sys.modules)\n"
        "sys.exit(f'imported {heavy}' if heavy else 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout


def test_linear_algebra_keeps_to_one_thread():
    """Small matrices: threads would wait for each other, and sums would depend on how many there are."""
    code = (
        "import os, sys; sys.argv = ['bobstay', '--help']; from bobstay.cli import main\n"
        "try:\n    main()\nexcept SystemExit:\n    print('threads', os.environ['OPENBLAS_NUM_THREADS'])"
    )
    env = {k: v for k, v in os.environ.items() if "NUM_THREADS" not in k}
    shown = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True).stdout
    assert "threads 1" in shown
