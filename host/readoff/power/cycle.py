"""Off, a time without power, on: in this order, each command once, and stopped at the first that fails."""

from __future__ import annotations

import shlex
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from readoff.power.command import Ended, run_command
from readoff.power.declared import Bench, Command


@dataclass(frozen=True)
class Cycled:
    """What came of switching off and on. why_not: in a sentence without a full stop, "" where all went well.

    off: whether the machine was left without power, as far as the commands tell.
    """

    why_not: str = ""
    off: bool = False


def cycle(
    bench: Bench,
    tell: Callable[[str], None],
    *,
    run: Callable[[Command, float], Ended] = run_command,
    pause: Callable[[float], None] = time.sleep,
) -> Cycled:
    """Switches a bench's power off and on. tell: hears what is begun and what it came to, a line each.

    A command that fails ends it, where it is: what was switched off then stays off, for nobody knows why. Where the
    hold file appears meanwhile, the power stays off too.
    """
    tell("switching the power off")
    failed = _all(bench.off, bench.command_seconds, tell, run)
    if failed is not None:
        return Cycled(f"switching off: {failed.sentence}")
    tell(f"off; {bench.off_seconds:g} s without power")
    pause(bench.off_seconds)
    if held(bench):
        return Cycled(f"there is a hold file ({bench.hold}), so the power stays off", off=True)
    tell("switching the power on")
    failed = _all(bench.on, bench.command_seconds, tell, run)
    if failed is not None:
        return Cycled(f"switching on: {failed.sentence}", off=True)
    tell("on")
    return Cycled()


def held(bench: Bench) -> bool:
    """Whether somebody holds the power: while the hold file is there, nothing is switched."""
    return bool(bench.hold) and Path(bench.hold).exists()


def dry(bench: Bench) -> Iterable[str]:
    """What a cycle would do, a line each."""
    for word, commands in (("off", bench.off), ("on", bench.on)):
        for command in commands:
            yield f"{word}: {shlex.join(command)}, {bench.command_seconds:g} s at most; status 0 is success"
        if word == "off":
            yield f"then {bench.off_seconds:g} s without power"


def _all(
    commands: Iterable[Command],
    seconds: float,
    tell: Callable[[str], None],
    run: Callable[[Command, float], Ended],
) -> Ended | None:
    """Runs commands in order; gives the first that failed."""
    for command in commands:
        ended = run(command, seconds)
        tell(ended.sentence)
        if ended.why_not:
            return ended
    return None
