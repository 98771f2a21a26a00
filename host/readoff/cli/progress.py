"""How far a long piece of work is, told on a terminal in one line that goes away again; in a pipe nothing is said."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TextIO

FIRST, EVERY = 1.0, 0.2
"""Seconds before the first word, and between two: what is done at once needs none."""


class Progress:
    """Called with what is being done; clear() takes the line away. stream: a terminal, or nothing is said.

    clock: seconds that do not go back. first: seconds before the first word.
    """

    def __init__(
        self,
        stream: TextIO | None = None,
        *,
        quiet: bool = False,
        first: float = FIRST,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._stream = sys.stderr if stream is None else stream
        self._on = not quiet and self._stream.isatty()
        self._clock = clock
        self._next = clock() + first
        self._shown = False

    def __call__(self, what: str) -> None:
        """Says what is being done, where it is time to."""
        now = self._clock()
        if self._on and now >= self._next:
            self._next = now + EVERY
            self._shown = True
            self._stream.write(f"\r\x1b[K{what} …")
            self._stream.flush()

    def count(self, what: str) -> Callable[[int, int], None]:
        """For work that counts: called with how many are done, and of how many. The last one clears the line."""

        def tell(done: int, of: int) -> None:
            if done >= of:
                self.clear()
            else:
                self(f"{done} of {of} {what}")

        return tell

    def clear(self) -> None:
        """Takes the line away."""
        if self._shown:
            self._shown = False
            self._stream.write("\r\x1b[K")
            self._stream.flush()
