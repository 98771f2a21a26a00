"""A Watch in a thread of its own, for tests: what it told, and waiting for a condition instead of a time."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from readoff.arrivals.told import About, Note, Took
from readoff.arrivals.watch import Watch

LONGEST = 20.0
"""Seconds after which a condition is taken to fail."""


def wait_until(condition: Callable[[], object], what: str = "") -> None:
    """Returns as soon as it holds. AssertionError when it has not after LONGEST."""
    deadline = time.monotonic() + LONGEST
    while not condition():
        assert time.monotonic() < deadline, f"waited in vain {what}"
        time.sleep(0.005)


class Watching:
    """A running watch and what it told."""

    def __init__(self, watch: Watch, told: list[Took | Note]) -> None:
        self.watch, self.told = watch, told

    @property
    def took(self) -> list[Took]:
        return [each for each in self.told if isinstance(each, Took)]

    def notes(self, about: About) -> list[str]:
        return [each.what for each in self.told if isinstance(each, Note) and each.about is about]


@contextmanager
def watching(intake: Any, *args: Any, until_idle: float | None = None, **options: Any) -> Iterator[Watching]:
    """Runs ``Watch(intake, *args, **options)``; in the end stops it, and sees that all its threads ended."""
    told: list[Took | Note] = []
    options = {"every": 0.1, "settle": 0.3, **options}
    before = set(threading.enumerate())
    watch = Watch(intake, *args, told=told.append, **options)
    failures: list[BaseException] = []

    def run() -> None:
        try:
            watch.run(until_idle)
        except BaseException as error:
            failures.append(error)

    thread = threading.Thread(target=run, name="watch")
    thread.start()
    try:
        yield Watching(watch, told)
    finally:
        if until_idle is None:
            watch.stop()
        thread.join(LONGEST)
    assert not thread.is_alive(), "the watch does not end"
    assert not failures, failures
    left = {each.name for each in set(threading.enumerate()) - before}
    assert not left, f"threads are left behind: {left}"
