"""Where the documentation is, for the tests that hold it true."""

from __future__ import annotations

from pathlib import Path

DOCS = Path(__file__).resolve().parents[2] / "docs"
