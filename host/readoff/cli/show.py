"""readoff show: one run, from its readings down to the octets, or one snapshot."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, store_options
from readoff.errors import UsageError

if TYPE_CHECKING:
    from readoff.snapshots import Fact, Snapshot
    from readoff.store import Store
    from readoff.store.find import ReadingRow, RunInFull
    from readoff.store.typed import TypedRow

# Facts that tell at a glance what a machine is; --facts shows all of them.
_IN_SHORT = (
    "cpu.class",
    "cpu.signature",
    "cpu.vendor",
    "cpu.name",
    "cpuid.brand",
    "cpuid.cache_l1_data",
    "cpuid.cache_l2",
    "speed.mhz",
    "speed.mhz_within",
    "cpu.fpu",
    "fpu.kind",
    "cpu.v86",
    "memory.conventional_kb",
    "memory.extended_88_kb",
    "xms.free",
    "ems.total",
    "bios.date",
    "cmos.sum_valid",
    "dmi.board.product",
    "display.class",
    "display_rom.text",
    "vbe.version",
    "dos.major",
    "dos.minor",
)

_OFTEN = 20  # readings of one metric that are listed
_SAYS_NOTHING = ("", "0")
# Numbers whose bits mean something.
_IN_HEX = (
    "cpu.signature",
    "cpu.features",
    "cpu.msw",
    "fpu.control_word",
    "fpu.status_word",
    "control.cr0",
    "bios.rom_sum",
    "bios.equipment",
    "bios.model",
)


@click.command()
@click.argument("run")
@click.option("--facts", "all_facts", is_flag=True, help="Show every fact of the snapshot.")
@click.option(
    "--save",
    type=click.Path(path_type=Path, file_okay=False),
    help="Write every capture of the run into this folder, octet for octet, and show nothing else.",
)
@store_options
def show(run: str, all_facts: bool, save: Path | None, place: Place) -> None:
    """Show one run: what it printed, what was read from it and where, and the machine.

    RUN is a run's number, or the beginning of a run's or a snapshot's record id.

    \b
    Example:
      readoff show 3
    """
    from readoff.store import find

    with place.open_to_look() as store:
        shot = None if run.isdecimal() and len(run) < 8 else find.snapshot(store, run)
        full = None if shot else _run(store, run)
        beside = _beside(store, full) if full else None
    if save is not None:
        _save(full, save, place)
    elif place.as_json:
        echo_json({**_as_values(full), **beside.values()} if full and beside else shot)
    elif full and beside:
        _show_run(full, all_facts)
        _show_beside(beside)
    elif shot:
        _show_snapshot(shot)


def _save(full: RunInFull | None, folder: Path, place: Place) -> None:
    from readoff.cli import looks
    from readoff.cli.captures_shown import save_captures

    if full is None:
        raise UsageError("a snapshot has no captures", next_step="Name a run: readoff runs")
    files = save_captures(full.captures, folder)
    if place.as_json:
        echo_json([str(file) for file in files])
        return
    for file in files:
        looks.say(str(file), wrap=False)
    if not files:
        looks.say("Nothing was captured in it, so nothing is saved.")


def _run(store: Store, name: str) -> RunInFull:
    from readoff.store import find

    if not name:
        raise UsageError("a run's number or record id is needed", next_step="List them with: readoff runs")
    return find.run_in_full(store, name)


@dataclass(frozen=True)
class _Beside:
    """What is shown beside a run's readings: numbers that a person typed, and readings that look like a slip."""

    typed: tuple[TypedRow, ...]
    doubts: tuple[tuple[str, str], ...]

    def values(self) -> Mapping[str, object]:
        """For programs."""
        return {
            "typed": self.typed,
            "doubts": [{"metric": metric, "doubt": sentence} for metric, sentence in self.doubts],
        }


def _beside(store: Store, full: RunInFull) -> _Beside:
    """Holds what was read against its neighbours in other runs; a derived number shows no digits of its own."""
    from readoff.readings.neighbours import doubt
    from readoff.store.typed import neighbours, typed

    doubts = []
    for each in full.readings:
        shown = each.capture is not None and full.captures[each.capture].capture.kind != "probe"
        if shown and not each.derived:
            found = doubt(each.value, neighbours(store, full.run, each.metric, each.unit))
            doubts += [(each.metric, found.sentence)] if found else []
    return _Beside(tuple(typed(store, id=full.run.id)), tuple(doubts))


def _show_beside(beside: _Beside) -> None:
    from readoff.cli import looks

    if beside.doubts:
        looks.heading("Look at these again (a warning; nothing was changed)")
        for metric, sentence in beside.doubts:
            looks.say(f"{metric} {sentence}", indent=2)
    if beside.typed:
        looks.heading("Typed by a person")
        looks.print_table(
            ("metric", "value", "unit", "by", "when", ""),
            [
                (
                    each.metric,
                    each.value,
                    each.unit,
                    each.person,
                    each.at,
                    "" if each.stands else "typed again since" if not each.last else "no longer held",
                )
                for each in beside.typed
            ],
            right=("value",),
        )


def _as_values(full: RunInFull) -> Mapping[str, object]:
    """For programs: the captures' octets in hex, and sections of unknown kind among them."""
    from readoff.cli.captures_shown import lines_of
    from readoff.readings.wordless import wordless
    from readoff.store.clocks import clocks_of
    from readoff.store.collected import collected

    return {
        "run": full.run,
        "files_asked_for": collected(full.record),
        "readings": full.readings,
        "captures": [
            {
                "position": each.position,
                "kind": str(each.capture.kind),
                "moment": each.moment,
                "name": each.capture.name,
                "columns": each.capture.columns,
                "rows": each.rows,
                "begin": each.begin,
                "problem": each.problem,
                "pixels": each.pixels,
                "note": each.note,
                "octets": each.capture.octets,
                "text": [] if wordless(each.capture) else lines_of(each.capture),
            }
            for each in full.captures
        ],
        "sections": [
            {
                "tag": each.tag,
                "name": each.name,
                "begin": each.begin,
                "length": len(each.payload),
                "problem": each.problem,
            }
            for each in full.record.sections
        ],
        "clocks": clocks_of(full.record),
        "held": full.held,
        "snapshot": full.snapshot,
        "sightings": full.sightings,
        "history": full.history,
    }


def _show_run(full: RunInFull, all_facts: bool) -> None:
    from readoff.cli import looks
    from readoff.cli.captures_shown import run_title, show_captures

    run = full.run
    looks.heading(run_title(run))
    for line in _head(full):
        looks.say(line, indent=2)
    if full.snapshot:
        looks.heading("Machine")
        _facts(full.snapshot.facts, all_facts)
    elif run.kind == "run":
        looks.heading("Machine")
        looks.say("its snapshot has not come", indent=2)
    show_captures(full.captures)
    if any(each.capture.kind == "probe" for each in full.captures) or run.program.startswith("probe "):
        from readoff.cli.staircase_shown import show_probe

        show_probe(full.record)
    _readings(full)
    if full.held:
        looks.heading("Held")
        for row in full.held:
            looks.say((f"{row.metric}: " if row.metric else "") + row.reason, indent=2)
    if full.history:
        looks.heading("History")
        for at, event in full.history:
            looks.say(f"{at}  {event}", indent=2)


def _readings(full: RunInFull) -> None:
    """The readings; those that occur very often are counted only."""
    from readoff.cli import looks

    if not full.readings:
        return
    often = Counter(each.metric for each in full.readings)
    shown = [each for each in full.readings if often[each.metric] <= _OFTEN]
    looks.heading("Readings")
    looks.print_table(
        ("metric", "value", "unit", "schema", "read from"),
        [(_name(each), each.shown, each.unit, each.schema, marked(full, each)) for each in shown],
        right=("value",),
    )
    many = [f"{metric} ({count})" for metric, count in often.items() if count > _OFTEN]
    if many:
        looks.say(f"and more than can be listed, with --json: {', '.join(many)}", indent=2)


def _head(full: RunInFull) -> Iterable[str]:
    from readoff.store.clocks import sentences
    from readoff.store.collected import collected
    from readoff.store.keystrokes import typed_sentence

    run = full.run
    yield f"record {run.id}, boot {run.boot}" + (
        f", repeat {run.repeat} of {run.repeats}" if run.repeat is not None else ""
    )
    yield _how_it_went(full)
    for sighting in full.sightings:
        yield f"came {sighting.came_at} from {sighting.came_from}"
    yield f"the machine's own clock says {run.dos_time or 'no date that exists'}"
    if run.flags:
        yield "flags: " + ", ".join(flag.replace("_", " ") for flag in run.flags.split())
    yield from sentences(full.record)
    typed = typed_sentence(full.record)
    if typed:
        yield "keys: " + typed
    asked = collected(full.record)
    if asked:
        yield "files asked for: " + asked.sentence()
    unknown = [section for section in full.record.sections if not section.name]
    for section in unknown:
        octets = section.payload[:16].hex(" ")
        yield f"section of unknown kind {section.tag:02X}h: {len(section.payload)} octets, {octets}"


def _how_it_went(full: RunInFull) -> str:
    run = full.run
    if run.state != "complete":
        return f"{run.state}; nothing is read from it ({run.problem or 'it never ended'})"
    how = [run.outcome.replace("_", " ")] if run.outcome else []
    how += [f"exit code {run.exit_code}"] if run.exit_code is not None else []
    how += [f"record {run.completeness}: {run.problem}"] if run.completeness != "whole" else []
    return ", ".join([run.state, *how])


def _facts(facts: Mapping[str, Fact], everything: bool) -> None:
    from readoff.cli import looks
    from readoff.snapshots.difference import brief
    from readoff.snapshots.multitasking import multitasking, times_told

    system = multitasking(facts)
    if system:
        looks.say(times_told(system), indent=2)
    chosen = facts.values() if everything else [facts[name] for name in _IN_SHORT if name in facts]
    for fact in chosen:
        if not everything and fact.value in _SAYS_NOTHING:
            continue
        looks.say(f"{fact.name}: {_value(fact)}", indent=2)
    if not everything:
        residents = [
            f"{f.name.partition('.')[2]} {f.value}"
            for f in facts.values()
            if f.name.startswith("residents.") and not f.volatile
        ]
        if residents:
            looks.say(f"resident (paragraphs): {brief(', '.join(residents), 400)}", indent=2)
        looks.say(f"and more, {len(facts)} facts in all: --facts", indent=2)


def _value(fact: Fact) -> str:
    if fact.name in _IN_HEX and fact.value.isdecimal():
        return f"{int(fact.value):X}h"
    volatile = " (volatile)" if fact.volatile else ""
    return f"{fact.value} {fact.unit}".rstrip().replace("\n", "\n    ") + volatile


def _show_snapshot(shot: Snapshot) -> None:
    from readoff.cli import looks

    looks.heading(f"Snapshot {shot.id}: {shot.label}")
    _facts(shot.facts, True)


def _name(reading: ReadingRow) -> str:
    return reading.metric + (f" ({reading.occurrence + 1})" if reading.occurrence else "")


def marked(full: RunInFull, reading: ReadingRow) -> str:
    """The line that a reading comes from, the number between » and «; a derived one names its lines unmarked."""
    from readoff.readings.shown import show as lay_out

    if reading.capture is None or reading.derived:
        return reading.line
    for line in lay_out(full.captures[reading.capture].capture).lines:
        inside = [i for i, place in enumerate(line.places) if reading.begin <= place < reading.end]
        if inside and line.text == reading.line:
            first, last = inside[0], inside[-1] + 1
            return f"{line.text[:first].lstrip()}»{line.text[first:last]}«{line.text[last:].rstrip()}"
    return reading.line
