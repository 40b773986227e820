"""The sdist and the wheel, built from a copy of this tree: nothing that is here is missing there, and the other way."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FOLDERS = (".ci", "data_demo", "pipeline", "queries", "reports", "tests")
LOOSE = (".gitignore", ".pre-commit-config.yaml", "DEVELOPERS.md", "LICENSE", "MANIFEST.in", "README.md")
MADE_BY_TOOLS = ("__pycache__", "*.egg-info", ".*_cache", ".hypothesis")
ADDED_BY_THE_BUILDER = {"PKG-INFO", "setup.cfg"}


@pytest.fixture(scope="module")
def copied(tmp_path_factory) -> Path:
    tree = tmp_path_factory.mktemp("tree")
    for name in FOLDERS:
        shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns(*MADE_BY_TOOLS))
    for name in (*LOOSE, "pyproject.toml"):
        shutil.copy(ROOT / name, tree / name)
    return tree


def _files(tree: Path) -> set[str]:
    return {path.relative_to(tree).as_posix() for path in tree.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def built(copied, tmp_path_factory) -> tuple[set[str], set[str], set[str]]:
    """The files of the tree, of the sdist and of the wheel that is built from the sdist."""
    here, out = _files(copied), tmp_path_factory.mktemp("dist")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--outdir", out, copied],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    with tarfile.open(next(out.glob("*.tar.gz"))) as sdist:
        packed = {member.name.split("/", 1)[1] for member in sdist.getmembers() if member.isfile()}
    with zipfile.ZipFile(next(out.glob("*.whl"))) as wheel:
        return here, packed, set(wheel.namelist())


def test_the_sdist_holds_every_file_of_the_tree_and_no_other(built):
    here, packed, _ = built
    own = {name for name in packed if ".egg-info/" not in name} - ADDED_BY_THE_BUILDER
    assert own == here


def test_the_wheel_holds_every_file_of_its_packages_and_no_test(built):
    here, _, wheel = built
    homes = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["package-dir"]
    program = {name.removeprefix("pipeline/") for name in here if name.startswith("pipeline/")}
    for package, folder in homes.items():
        if package:
            program |= {
                package.replace(".", "/") + name.removeprefix(folder) for name in here if name.startswith(f"{folder}/")
            }
    assert {name for name in wheel if ".dist-info/" not in name} == program


def test_what_git_holds_is_what_these_tests_copy(built):
    """A new top-level file or folder must come into the copy above, or it would be missing from the sdist unseen."""
    tracked = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False)
    if tracked.returncode != 0:
        pytest.skip("not a git checkout")
    assert {name for name in tracked.stdout.split("\0") if name} - built[0] == set()
