"""What the edges tell while they work: arrivals and notes; and the state of each source, to look at any time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from readoff.arrivals.intake import TakenResult


class About(StrEnum):
    """What a note is about."""

    SOURCE = "source"
    """A folder or port could not be opened, is gone, or is back."""
    AGENT = "agent"
    """An agent said hello or bye, or speaks another version."""
    RECORD = "record"
    """A record was refused, let go unfinished, or started again."""
    NOISE = "noise"
    """Octets on a line that were no frame, or a frame that did not belong there."""
    FILE = "file"
    """A file was ignored, or could not be read."""
    STORE = "store"
    """The store could not keep something now; it is still where it was."""
    POWER = "power"
    """The power of a machine is switched, or was to be."""


@dataclass(frozen=True)
class Took:
    """An arrival was committed. source: which folder or line; came_from: the file, or the record on the line.

    octets: how many it has.
    """

    source: str
    came_from: str
    octets: int
    result: TakenResult


@dataclass(frozen=True)
class Note:
    """Something a person may want to know, in a sentence without a full stop. octets: of noise, else 0."""

    source: str
    about: About
    what: str
    octets: int = 0


Told = Callable[[Took | Note], None]
"""Where the edges send what they have to tell."""


@dataclass
class Status:
    """The state of one source, kept current by the thread that works it.

    kind: "folder" or "line". alive: it could be opened or listed the last time. last_arrival, last_activity:
    seconds of time.monotonic, or None before the first. octets: read so far. records: arrivals committed.
    noise: octets on a line that were no frame. pending: files that are still growing or settling, or records
    that are coming in. problem: why it is not alive, or "". left: records that stay in the agent's spool by its
    own last word, or None where it has not said so, or has spoken since. bits: the rate that a line goes at now, in
    bits a second, as agent and host agreed; 0 where it is not open.
    """

    name: str
    kind: str
    alive: bool = False
    last_arrival: float | None = None
    last_activity: float | None = None
    octets: int = 0
    records: int = 0
    noise: int = 0
    pending: int = 0
    problem: str = ""
    left: int | None = None
    bits: int = 0
