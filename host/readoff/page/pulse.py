"""The pulse: one look at the store and the bench, several times a second, tells every viewer that something changed."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass

from readoff.errors import StoreError
from readoff.page.bench import Bench
from readoff.page.readers import Readers

EVERY = 0.2
"""Seconds between looks."""
A_VIEWER = 0.02
"""Seconds between looks for each viewer, where that is longer: all of them together ask no more than 50 times a second,
and the line beside them goes first."""
VIEWERS = 100
"""Viewers at a time; further ones are asked to come back."""


@dataclass(frozen=True)
class Beat:
    """How many changes of the store, and of the bench, were seen so far."""

    store: int = 0
    bench: int = 0


class Pulse:
    """Counts changes. A viewer that is slow sees the last count, not every one, so nothing piles up."""

    def __init__(self, readers: Readers, bench: Bench) -> None:
        self._readers, self._bench = readers, bench
        self._changed = asyncio.Condition()
        self.beat = Beat()
        self.ended = False
        self._viewers = 0

    @property
    def every(self) -> float:
        """Seconds between looks now."""
        return max(EVERY, A_VIEWER * self._viewers)

    async def run(self, going_on: Callable[[], bool]) -> None:
        """Looks until it is to end; then ends every viewer's stream."""
        version, mark = await self._version(), self._bench.mark()
        while going_on():
            await asyncio.sleep(self.every)
            before, told = version, mark
            version, mark = await self._version(), self._bench.mark()
            if version != before or mark != told:
                now = Beat(self.beat.store + (version != before), self.beat.bench + (mark != told))
                await self._tell(now)
        self.ended = True
        await self._tell(self.beat)

    async def changed(self) -> None:
        """The page itself has written: told at once, so that nobody is shown the view from before."""
        await self._tell(Beat(self.beat.store + 1, self.beat.bench))

    async def _version(self) -> int:
        try:
            return await self._readers.version()
        except StoreError:
            return -1  # locked for longer than we wait: looked at again soon

    async def _tell(self, beat: Beat) -> None:
        async with self._changed:
            self.beat = beat
            self._changed.notify_all()

    async def beats(self) -> AsyncIterator[Beat]:
        """The count now, then whenever it has changed, until the pulse ends."""
        seen: Beat | None = None
        self._viewers += 1
        try:
            while not self.ended:
                async with self._changed:
                    while self.beat == seen and not self.ended:
                        await self._changed.wait()
                    seen = self.beat
                yield seen
        finally:
            self._viewers -= 1
