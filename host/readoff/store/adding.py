"""A store opened only to add what a person says, beside a program that takes arrivals: nothing is read or derived here.

``open_store`` reads what waits when it opens; a second program that did so with other schemas would read it
differently.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from readoff.errors import StoreError
from readoff.store.browse import refuse_other_versions
from readoff.store.keep import Store
from readoff.store.sqlite import connect, telling

if TYPE_CHECKING:
    from readoff.readings import Schema


def open_to_add(path: Path, schemas: Callable[[], Sequence[Schema]] = tuple) -> Store:
    """A store to which typed numbers, notes and attachments are added. schemas: to know what a metric means.

    Raises StoreError where there is no store, it is of another version, or it cannot be written.
    """
    if not path.is_file():
        raise StoreError("there is no store", where=str(path), next_step="Take or watch something first.")
    db = connect(path)
    try:
        with telling(str(path)):
            refuse_other_versions(db, path)
    except BaseException:
        db.close()
        raise
    return Store(db, path, schemas, lambda: datetime.now(UTC))
