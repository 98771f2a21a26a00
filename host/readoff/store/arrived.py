"""The octets of one arrival, held against the digest under which they were kept."""

from __future__ import annotations

import hashlib
import sqlite3


def arrived(db: sqlite3.Connection, number: int) -> tuple[bytes, str]:
    """(octets, "") of an arrival as it came; else (whatever is there, what is wrong with it)."""
    try:
        row = db.execute("SELECT sha256, octets FROM arrivals WHERE number = ?", [number]).fetchone()
    except sqlite3.DatabaseError as error:
        return b"", f"its octets cannot be read ({error})"
    sha256, octets = row or ("", None)
    if not isinstance(octets, bytes):
        return b"", "its octets are not there any more"
    if hashlib.sha256(octets).hexdigest() != sha256:
        return octets, "its octets are not those that came: their SHA-256 is another"
    return octets, ""
