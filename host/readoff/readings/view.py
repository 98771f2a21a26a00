"""One capture as the schemas of every kind look at it."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

from readoff.readings.shown import Capture, Shown, show


class View:
    """A capture, its place in the run, and whatever was worked out from it, each thing once for all schemas.

    index: of the capture in the run. program: as the tester named it, or its file; "" when it is not known.
    """

    def __init__(self, capture: Capture, index: int = 0, program: str = "") -> None:
        self.capture, self.index, self.program = capture, index, program
        self._kept: dict[str, Any] = {}

    @cached_property
    def shown(self) -> Shown:
        """The capture as lines of text."""
        return show(self.capture)

    def once(self, key: str, make: Callable[[Capture], Any]) -> Any:
        """What make(capture) gives, made when it is first asked for under this key."""
        if key not in self._kept:
            self._kept[key] = make(self.capture)
        return self._kept[key]
