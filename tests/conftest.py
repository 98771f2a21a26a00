"""Puts tests/ on the path, so that shared support is imported as ``support.something``.

Generated examples have no deadline: a busy machine is no fault of the code. The person's own settings, and the width
that a parallel run of the tests sets, are out of the way.
"""

import sys
from pathlib import Path

import pytest
from hypothesis import settings

sys.path.insert(0, str(Path(__file__).resolve().parent))
settings.register_profile("readoff", deadline=None)
settings.load_profile("readoff")


@pytest.fixture(autouse=True)
def _no_settings_from_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("COLUMNS", "LINES", "READOFF_STORE", "READOFF_SCHEMAS"):
        monkeypatch.delenv(name, raising=False)
