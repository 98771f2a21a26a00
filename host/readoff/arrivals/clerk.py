"""One writer: threads that work the sources hand their arrivals over, and one thread takes them to the store."""

from __future__ import annotations

import queue
from collections.abc import Callable
from concurrent.futures import Future
from typing import TypeVar

from readoff.arrivals.intake import Intake, TakenResult
from readoff.arrivals.told import Note, Told, Took
from readoff.contract.record import RecordId
from readoff.link.events import Asked
from readoff.link.steps import GivenStep

T = TypeVar("T")
Job = Callable[[], None]
Planner = Callable[[Asked], GivenStep]
"""Finds the step for an agent that asks, in the store's thread. Raises ReadoffError where it cannot."""


def _no_study(asked: Asked) -> GivenStep:
    return GivenStep("nothing", "This host watches without a study: there is nothing to do.")


class Clerk:
    """An intake for many threads in front of one for a single thread; what is told goes the same way.

    The thread that owns the store calls serve again and again, until the last of the others has ended.
    """

    def __init__(self, intake: Intake, told: Told) -> None:
        self._intake, self._told = intake, told
        self.planner: Planner = _no_study
        self._jobs: queue.SimpleQueue[Job] = queue.SimpleQueue()

    def take(self, octets: bytes, came_from: str) -> TakenResult:
        """As Intake.take; waits until it is done."""
        return self._wait_for(lambda: self._intake.take(octets, came_from))

    def known(self, id: RecordId, length: int, check: int) -> bool:
        """As Intake.known; waits for the answer."""
        return self._wait_for(lambda: self._intake.known(id, length, check))

    def step(self, asked: Asked) -> GivenStep:
        """As the planner; waits for the answer."""
        return self._wait_for(lambda: self.planner(asked))

    def tell(self, what: Took | Note) -> None:
        """Hands over something to be told; does not wait."""
        self._jobs.put(lambda: self._told(what))

    def serve(self, seconds: float) -> bool:
        """Does one job, if one comes within this time; says whether one came."""
        try:
            job = self._jobs.get(timeout=seconds)
        except queue.Empty:
            return False
        job()
        return True

    def _wait_for(self, call: Callable[[], T]) -> T:
        future: Future[T] = Future()

        def job() -> None:
            try:
                future.set_result(call())
            except BaseException as error:
                future.set_exception(error)
                if not isinstance(error, Exception):
                    raise

        self._jobs.put(job)
        return future.result()
