"""The store: every arrival as it came, and everything derived from it, in one SQLite file.

``open_store`` opens it; ``Store.take`` takes an arrival (raw octets first, in a transaction of their own); the
functions of ``store.find`` look things up.
"""

from readoff.store.changes import Changes
from readoff.store.keep import Store, open_store

__all__ = ["Changes", "Store", "open_store"]
