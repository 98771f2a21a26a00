"""A memory staircase on the terminal: the curve, what it shows, and what it cannot tell."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from readoff.snapshots.measured import STAIRCASES, kib, staircase_of

if TYPE_CHECKING:
    from readoff.contract.record import Record
    from readoff.snapshots.staircase import Staircase

_ROWS = 11
_LEAST_SPAN = 1.5  # of the times from the lowest row to the highest: a flat line shall look flat
_PLACES = {"conventional": "conventional memory", "extended": "memory beyond 1 MB"}
_PROBLEMS = {
    "timer": "the timer did not run as the BIOS left it",
    "no_memory": "there was not enough free memory",
    "before_386": "the processor is older than a 386",
    "v86": "a memory manager runs DOS in virtual-8086 mode",
    "no_xms": "there is no XMS driver that gives memory away and opens the A20 line",
    "no_a20": "the XMS driver would not open the A20 line",
    "no_block": "the XMS driver had no block of memory to give",
    "no_fpu": "the machine has no FPU",
    "no_mode": "the display adapter has no such mode",
    "no_drive": "there is no such drive",
    "not_ready": "the drive was not ready",
    "read_error": "it could not be read",
    "graphics": "the display was in a graphics mode",
}


def show_probe(record: Record) -> None:
    """Prints the staircases of a probe's record, and of any probe why it measured nothing."""
    from readoff.cli import looks

    for section in record.sections:
        values = section.values
        if values is None or "problem" not in values:
            continue
        stair = staircase_of(values) if section.name in STAIRCASES else None
        if stair is not None:
            place = _PLACES[STAIRCASES[section.name]]
            looks.heading(f"Memory staircase, {place} (ns per access, median of {values['passes']} passes)")
            for line in drawn(stair):
                looks.say(line, indent=2, wrap=False)
            for sentence in sentences(stair):
                looks.say(sentence, indent=2)
        elif values["problem"] != "none":
            looks.heading("Probe")
            looks.say(f"Not measured: {problem_words(str(values['problem']))}.", indent=2)


def problem_words(word: str) -> str:
    """Why a probe measured nothing, in words."""
    return _PROBLEMS.get(word, word.replace("_", " "))


def drawn(stair: Staircase) -> Iterator[str]:
    """The curve in characters: one column a block, times and sizes in powers."""
    low, high = min(stair.ns), max(stair.ns)
    middle = math.sqrt(low * high)
    bottom = min(low, middle / math.sqrt(_LEAST_SPAN))
    span = math.log(max(high, middle * math.sqrt(_LEAST_SPAN)) / bottom)
    heights = [round(math.log(each / bottom) / span * (_ROWS - 1)) for each in stair.ns]
    for row in reversed(range(_ROWS)):
        cells = "".join(_cell(heights, at, row) for at in range(len(heights)))
        mark = f"{bottom * math.exp(span * row / (_ROWS - 1)):.3g}" if row % 2 == 0 else ""
        yield f"{mark:>6} ┤{cells.rstrip()}" if mark else f"{'':>6} │{cells.rstrip()}"
    yield f"{'':>6} └{'─' * len(heights)}"
    yield f"{'KiB':>6}  {_sizes(stair)}"


def _cell(heights: list[int], at: int, row: int) -> str:
    if heights[at] == row:
        return "●"
    before = heights[at - 1] if at else heights[at]
    return "·" if min(before, heights[at]) < row < max(before, heights[at]) else " "


def _sizes(stair: Staircase) -> str:
    """The sizes below the curve, as many as have room."""
    line = ""
    for at, octets in enumerate(stair.octets):
        power = math.log2(octets)
        if power.is_integer() and len(line) <= at and power % 2 == 0:
            line = line.ljust(at) + kib(octets) + " "
    return line.rstrip()


def sentences(stair: Staircase) -> Iterator[str]:
    """What the curve shows, and what it cannot tell."""
    first, last = f"{kib(stair.octets[0])} KiB", f"{kib(stair.octets[-1])} KiB"
    for step in stair.steps:
        if step.after > step.before:
            yield (
                f"A step between {kib(step.low)} and {kib(step.high)} KiB: from {step.before:.3g} to "
                f"{step.after:.3g} ns."
            )
        else:
            yield (
                f"Faster again beyond {kib(step.low)} KiB (from {step.before:.3g} to {step.after:.3g} ns): no cache "
                "does that; something else changed meanwhile."
            )
    beyond = kib(stair.steps[-1].high) if stair.steps else ""
    if stair.unended:
        yield f"Towards {last} the time changes once more, too near to the end of the sweep to be called a level."
    elif stair.steps:
        yield f"No cache seen beyond {beyond} KiB, up to {last}."
    elif stair.levels:
        yield f"No cache seen: one level of {stair.levels[0].ns:.3g} ns from {first} to {last}."
    if stair.steps:
        yield "A step may be a cache's end or a TLB's: time alone does not tell which."
    yield f"Nothing is known of blocks below {first} or above {last}."
