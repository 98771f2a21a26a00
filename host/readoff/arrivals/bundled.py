"""How a bundle (reports.bundle) is known among files: it is taken when a person names it, never by itself."""

from __future__ import annotations

from pathlib import Path

MANIFEST, ROWS = "bundle.json", "store.json"


def looks_like_bundle(start: bytes) -> bool:
    """Whether octets begin as a bundle does: a zip file whose first member is bundle.json."""
    return start[:4] == b"PK\x03\x04" and start[30 : 30 + len(MANIFEST)] == MANIFEST.encode()


def is_bundle(path: Path) -> bool:
    """Whether a file begins as a bundle does, or a folder holds one that was unpacked."""
    if path.is_dir():
        return all((path / name).is_file() for name in (MANIFEST, ROWS))
    try:
        with path.open("rb") as file:
            return looks_like_bundle(file.read(64))
    except OSError:
        return False
