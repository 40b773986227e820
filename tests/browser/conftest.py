"""Headless Chromium for the page tests, and where their screenshots go."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

_QUIET = ("--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking",
          "--disable-component-update", "--disable-sync")  # fmt: skip


def chromium() -> str | None:
    return next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    path = chromium()
    if path is None:
        if os.environ.get("BOBSTAY_REQUIRE_BROWSER") == "1":
            pytest.fail("BOBSTAY_REQUIRE_BROWSER=1 and no chromium, chromium-browser or google-chrome on PATH")
        pytest.skip("no chromium, chromium-browser or google-chrome on PATH")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as p:
        opened = p.chromium.launch(executable_path=path, args=list(_QUIET))
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def shots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder for screenshots: BOBSTAY_SCREENSHOTS where a person wants to look at them."""
    named = os.environ.get("BOBSTAY_SCREENSHOTS")
    folder = Path(named) if named else tmp_path_factory.mktemp("screenshots")
    folder.mkdir(parents=True, exist_ok=True)
    return folder
