"""Puts tests/ on the path, so that shared support is imported as ``support.something``.

Generated examples have no deadline: a busy machine is no fault of the code. The person's own settings, and the width
that a parallel run of the tests sets, are out of the way.
"""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

sys.path.insert(0, str(Path(__file__).resolve().parent))
settings.register_profile("readoff", deadline=None)
settings.load_profile("readoff")


@pytest.fixture(autouse=True)
def _no_settings_from_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("COLUMNS", "LINES", "READOFF_STORE", "READOFF_SCHEMAS"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """The one browser of a worker: its driver cannot be started twice in a process."""
    from playwright.sync_api import sync_playwright

    from support.page_bench import CHROMIUM, QUIET

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield browser
        browser.close()
