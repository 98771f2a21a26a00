"""Files of a store. The records that it keeps lie in them octet for octet, and yet they are not what arrives.

Without this, a store in the folder that it takes from would take itself, again and again.
"""

from __future__ import annotations

import sys

# SQLite's database file, its write-ahead log and that one's index, its rollback journal (SQLite, "Database File
# Format", 1.3, 3, 4.1, and "WAL-mode File Format", 2.1).
_BEGINNINGS = (
    b"SQLite format 3\0",
    b"\x37\x7f\x06\x82",
    b"\x37\x7f\x06\x83",
    (3007000).to_bytes(4, sys.byteorder),
    b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7",
)


# Beside a store, and empty or hardly begun.
BESIDE = ("-wal", "-shm", "-journal")


def is_of_a_store(start: bytes) -> bool:
    """Whether octets begin as one of a store's files does."""
    return start.startswith(_BEGINNINGS)
