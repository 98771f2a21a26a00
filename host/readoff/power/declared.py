"""The bench file: which commands switch the power of which machine, and how carefully. Opens nothing.

A command is a list of words, started as it stands: no shell, no variables, nothing put in.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

from readoff.errors import PowerError
from readoff.readings.faults import Faults
from readoff.readings.table import Table, described, top_table

LONGEST_BENCH = 65536
Command = tuple[str, ...]
"""Words of a command, the first an absolute path."""

_SECONDS = {  # key -> (least, most, without it)
    "command_seconds": (1.0, 300.0, 20.0),
    "off_seconds": (10.0, 3600.0, 45.0),
    "rest_seconds": (10.0, 86400.0, 120.0),
    "boot_seconds": (10.0, 86400.0, 600.0),
}
TOP_KEYS = ("bench", "agents", "off", "on", *_SECONDS, "hold", "log", "dry_run")
_WORDS = 'a command as a list of words: ["/usr/local/bin/outlet", "3", "off"], or a list of such lists'


@dataclass(frozen=True)
class Bench:
    """What a bench file says.

    agents: serials of the agents of the machine that is switched, 8 hex digits each. off, on: commands, started one
    after the other. command_seconds: a command has so long. off_seconds: least time without power. rest_seconds: least
    time from switching on to the next switching off. boot_seconds: the machine has so long to come back. hold: while
    there is a file of this name, nothing is switched; "" for none. log: a file that is added to; "" for none.
    dry_run: everything is told and nothing started.
    """

    name: str
    agents: tuple[str, ...]
    off: tuple[Command, ...]
    on: tuple[Command, ...]
    command_seconds: float = 20.0
    off_seconds: float = 45.0
    rest_seconds: float = 120.0
    boot_seconds: float = 600.0
    hold: str = ""
    log: str = ""
    dry_run: bool = False

    @property
    def most_seconds(self) -> float:
        """The longest that one switching off and on takes."""
        return self.command_seconds * (len(self.off) + len(self.on)) + self.off_seconds


def load_bench(name: str, text: str) -> Bench:
    """Reads a bench file. name: for the messages. Raises PowerError for all faults at once."""
    faults = Faults(name)
    top = top_table(text, faults, LONGEST_BENCH)
    bench = _bench(top) if top is not None else None
    if faults.told or bench is None:
        count = "one fault" if len(faults.told) == 1 else f"{len(faults.told)} faults"
        raise PowerError(f"{count} in the bench file:\n  " + "\n  ".join(faults.told))
    return bench


def _bench(top: Table) -> Bench:
    top.only(TOP_KEYS)
    agents = top.texts("agents")
    if not agents:
        top.fault("agents", "no agent", 'the serials of this machine\'s agents: ["11223344"]')
    for serial in agents:
        if not re.fullmatch("[0-9A-Fa-f]{8}", serial):
            top.fault("agents", described(serial), 'the first 8 digits of a record id: ["11223344"]')
    return Bench(
        name=top.text("bench"),
        agents=tuple(serial.upper() for serial in agents),
        off=_commands(top, "off"),
        on=_commands(top, "on"),
        hold=_path(top, "hold"),
        log=_path(top, "log"),
        dry_run=top.flag("dry_run"),
        command_seconds=_seconds(top, "command_seconds"),
        off_seconds=_seconds(top, "off_seconds"),
        rest_seconds=_seconds(top, "rest_seconds"),
        boot_seconds=_seconds(top, "boot_seconds"),
    )


def _commands(top: Table, key: str) -> tuple[Command, ...]:
    value = top.data.get(key)
    if value is None:
        top.fault(key, "missing", _WORDS)
        return ()
    several = isinstance(value, list) and bool(value) and all(isinstance(each, list) for each in value)
    commands = value if several else [value]
    for words in commands:
        fits = (
            isinstance(words, list)
            and words
            and all(isinstance(each, str) and "\0" not in each for each in words)
        )
        if not fits:
            top.fault(key, described(words), _WORDS)
            return ()
        if not Path(words[0]).is_absolute():
            top.fault(
                key,
                f"the command is {described(words[0])}",
                "an absolute path, so that no search finds another",
            )
    return tuple(tuple(words) for words in commands)


def _path(top: Table, key: str) -> str:
    text = top.text(key, needed=False)
    if text and not Path(text).is_absolute():
        top.fault(key, described(text), "an absolute path")
    return text


def _seconds(top: Table, key: str) -> float:
    least, most, default = _SECONDS[key]
    value = top.data.get(key, default)
    number = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if not number or not least <= value <= most:
        top.fault(key, described(value), f"seconds: a number from {least:g} to {most:g}")
        return default
    return float(value)
