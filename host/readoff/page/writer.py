"""The one thread through which the page adds what a person said: one deed after the other, each on a fresh connection.

It writes nothing but what a person typed, noted or attached; arrivals are never touched, and nothing is derived.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from readoff.store import Store
from readoff.store.adding import open_to_add

if TYPE_CHECKING:
    from readoff.readings import Schema

Answer = TypeVar("Answer")


class Writer:
    """Does what is asked, in turn. Its coroutines belong to one event loop."""

    def __init__(self, path: Path, schemas: Callable[[], Sequence[Schema]]) -> None:
        self._path, self._schemas = path, schemas
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="page writes")

    async def do(self, deed: Callable[[Store], Answer]) -> Answer:
        """What a deed gives. Raises what it raises; a deed is one transaction, so nothing is half done."""
        return await asyncio.get_running_loop().run_in_executor(self._thread, self._work, deed)

    def _work(self, deed: Callable[[Store], Answer]) -> Answer:
        with open_to_add(self._path, self._schemas) as store:
            return deed(store)

    def close(self) -> None:
        """Ends the thread, after what has begun."""
        self._thread.shutdown(wait=True, cancel_futures=True)
