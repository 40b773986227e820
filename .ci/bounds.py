"""Print each dependency at the lowest version that pyproject.toml allows, one a line: what `.ci/lowest` installs."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path


def pinned(requirement: str) -> str:
    """Return `name==bound` for `name>=bound`; raises SystemExit where a requirement has no lower bound."""
    read = re.fullmatch(r"([A-Za-z0-9._-]+)>=([0-9.]+)", requirement)
    if read is None:
        sys.exit(f"{requirement!r} in pyproject.toml is not written as NAME>=VERSION")
    return f"{read[1]}=={read[2]}"


if __name__ == "__main__":
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = project["dependencies"] + project["optional-dependencies"]["dev"]
    print(*map(pinned, wanted), sep="\n")  # noqa: T201 - it is what the script is for
