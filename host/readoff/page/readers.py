"""Connections that only read, worked by a few threads, and one answer for all who ask the same of the same store."""

from __future__ import annotations

import asyncio
import queue
from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from readoff.store import Store
from readoff.store.browse import data_version, open_to_read
from readoff.store.sqlite import tell_damage, telling

if TYPE_CHECKING:
    from readoff.readings import Schema

THREADS = 2
"""More would only take turns with the thread that keeps what arrives."""
KEPT = 64
"""Answers that are remembered."""

Answer = TypeVar("Answer")


class Readers:
    """Asks the store in threads of its own. Its coroutines belong to one event loop.

    Raises StoreError at once when the store cannot be read.
    """

    def __init__(self, path: Path, schemas: Callable[[], Sequence[Schema]] = tuple) -> None:
        self._stores: queue.SimpleQueue[Store] = queue.SimpleQueue()
        for _ in range(THREADS):
            self._stores.put(open_to_read(path, schemas))
        self._watcher = open_to_read(path)  # the number is each connection's own
        self._threads = ThreadPoolExecutor(THREADS, thread_name_prefix="page")
        self._answers: OrderedDict[Hashable, asyncio.Future[bytes]] = OrderedDict()

    async def ask(self, question: Callable[[Store], Answer]) -> Answer:
        """The answer to a question, worked out in a thread, in one read of the store."""
        return await asyncio.get_running_loop().run_in_executor(self._threads, self._work, question)

    async def ask_once(self, key: Hashable, question: Callable[[Store], bytes]) -> bytes:
        """The answer, worked out once for all who ask with the same key. An error is not remembered."""
        found = self._answers.get(key)
        if found is None:
            found = asyncio.ensure_future(self.ask(question))
            self._answers[key] = found
            found.add_done_callback(lambda done: self._forget(key, done))
            while len(self._answers) > KEPT:
                self._answers.popitem(last=False)
        return await asyncio.shield(found)  # one viewer that goes away takes nothing from the others

    async def version(self) -> int:
        """A number that changes when something has been committed to the store."""
        return await asyncio.get_running_loop().run_in_executor(self._threads, data_version, self._watcher)

    def _forget(self, key: Hashable, done: asyncio.Future[bytes]) -> None:
        if done.cancelled() or done.exception() is not None:
            self._answers.pop(key, None)

    def _work(self, question: Callable[[Store], Answer]) -> Answer:
        store = self._stores.get()
        try:
            with telling(str(store.path)):
                store.db.execute("BEGIN")  # all that one answer tells is of one moment
                return question(store)
        except Exception as error:
            tell_damage(store.path, error)
            raise
        finally:
            store.db.rollback()
            self._stores.put(store)

    def close(self) -> None:
        """Ends the threads and closes the connections."""
        self._threads.shutdown(wait=True, cancel_futures=True)
        while not self._stores.empty():
            self._stores.get().close()
        self._watcher.close()
