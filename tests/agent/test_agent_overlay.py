"""What stays in memory while a program runs, and how the rest comes back: read again, and never run unless it is right.

Ceilings are the project's own aims; that DOS 3.0 and later leave a program's path behind its environment, and that
INT 21h AH=4Ah can't grow a block into another one, is DOS's documented behaviour (from memory).
"""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from readoff.box import AT, LATE, XT, Box, Drive, MachineSpec
from readoff.box.dos_process import Ended
from readoff.contract.record import Completeness
from support.agent_bench import assembled
from support.agent_box import (
    AGENT,
    EXIT_ALL,
    EXIT_MISSING,
    PROGRAMS,
    AgentRan,
    agent_box,
    captured_all,
    console,
    end_of,
    readoff,
    record_names,
    run_under_agent,
)

LINE = b"Ways: score 1234.50 points\r\n"
STAY_CEILING = 16 * 1024  # octets while a program runs, the PSP included; the aim is 12 KB
LOST = "could not be read again"


@pytest.mark.parametrize("spec", [XT, AT, LATE], ids=lambda spec: spec.name)
def test_the_program_begins_where_what_stays_ends(spec: MachineSpec) -> None:
    box = agent_box(spec, "WAYS.COM")
    processes = box.on.dos.processes
    ended_before = len(box.ended)
    seen: list[int] = []
    old = processes.on_ended

    def on_ended(ended: Ended) -> None:
        if ended.name.endswith("WAYS.COM"):
            seen.extend(16 * each.size for each in box.on.dos.blocks.blocks() if each.segment == ended.parent)
        old(ended)

    processes.on_ended = on_ended
    ran = readoff(box, "RUN WAYS 02")
    assert len(box.ended) == ended_before + 2
    _, symbols = assembled()
    assert seen == [symbols["stay_end"]]
    assert seen[0] <= STAY_CEILING
    assert console(ran.run) == LINE
    assert ran.exit.code == EXIT_ALL


def test_the_help_tells_the_sizes() -> None:
    _, symbols = assembled()
    said = readoff(agent_box(AT), "").said
    found = re.search(r"READOFF\.COM: (\d+) octets; in memory (\d+) during a run, (\d+) otherwise", said)
    assert found
    assert [int(number) for number in found.groups()] == [
        AGENT.stat().st_size,
        symbols["stay_end"],
        symbols["agent_end"],
    ]
    assert int(found[2]) <= STAY_CEILING


def test_free_paragraphs_are_those_that_the_program_gets() -> None:
    source = "main:\n mov ax, [2]\n mov bx, cs\n sub ax, bx\n mov [results], ax\n exit"
    under, ran = run_under_agent(agent_box(AT), source)
    free = (ran.run.values("run_start") or {})["free_paragraphs"]
    assert 0 <= free - under.word(0) <= 16  # less its environment


def test_it_is_found_again_when_it_was_started_along_path() -> None:
    drive = Drive()
    drive.write(r"TOOLS\READOFF.COM", AGENT.read_bytes())
    drive.write(r"WORK\WAYS.COM", (PROGRAMS / "WAYS.COM").read_bytes())
    box = Box(AT, {"C": drive})
    box.boot(1)
    drive.write("T.BAT", b"SET PATH=C:\\TOOLS\r\nCD \\WORK\r\nREADOFF RUN /N:2 /D:C:\\ WAYS 02\r\n")
    said = box.command("T").console.decode("cp437")
    assert "run 2 of 2" in said and LOST not in said
    assert len(record_names(box)) == 3


@pytest.mark.parametrize("spare", [0, 1, 40])
def test_little_memory(spare: int) -> None:
    """Just as much as the agent needs, and some paragraphs: the program then has what the overlay leaves."""
    _, symbols = assembled()
    box = agent_box(AT, "EXITCODE.COM")
    block = max(box.on.dos.blocks.blocks(), key=lambda each: each.size)
    wanted = symbols["agent_end"] // 16 + spare
    box.on.dos.blocks._put(block.segment - 1, owner=0, size=wanted + 12, last=False)
    rest = block.size - wanted - 13
    box.on.dos.blocks._put(block.segment + wanted + 12, owner=8, size=rest, last=True)
    ran = readoff(box, "RUN EXITCODE 9")
    assert (end_of(ran.run)["outcome"], end_of(ran.run)["exit_code"], ran.exit.code) == (
        "finished",
        9,
        EXIT_ALL,
    )


def spoiled(box: Box, tail: str, spoil: Callable[[], None], keys: str = "") -> AgentRan:
    """Run the agent, and do something to its file when the program ends."""
    processes = box.on.dos.processes
    before = processes.on_ended

    def on_ended(ended: Ended) -> None:
        if not ended.name.endswith("READOFF.COM"):
            spoil()
        before(ended)

    processes.on_ended = on_ended
    return readoff(box, tail, keys=keys)


def flipped(at: int) -> bytes:
    octets = bytearray(AGENT.read_bytes())
    octets[at] ^= 0x10
    return bytes(octets)


def overlay_in_file() -> tuple[int, int]:
    _, symbols = assembled()
    size = symbols["overlay_end"] - symbols["overlay_begin"]
    return len(AGENT.read_bytes()) - size, size


@pytest.mark.parametrize("part", [0, 0.37, 0.5, 0.81, 0.99999])
def test_a_changed_file_is_not_run(part: float) -> None:
    begin, size = overlay_in_file()
    box = agent_box(AT, "WAYS.COM")
    drive = box.drive("C")
    ran = spoiled(box, "RUN WAYS 02", lambda: drive.write("READOFF.COM", flipped(begin + int(part * size))))
    assert LOST in ran.said and "SEND offers it" in ran.said
    assert ran.run.completeness is Completeness.WHOLE
    assert (console(ran.run), captured_all(ran.run), ran.exit.code) == (LINE, 1, EXIT_ALL)


@pytest.mark.parametrize(
    ("tail", "code"),
    [
        ("RUN /N:2 WAYS 02", EXIT_MISSING),
        ("RUN /S:COM1 WAYS 02", EXIT_MISSING),
        ("RUN CTRLC", EXIT_MISSING),
    ],
)
def test_the_exit_code_says_what_was_not_done(tail: str, code: int) -> None:
    box = agent_box(AT, "WAYS.COM", "CTRLC.COM")
    drive = box.drive("C")
    ran = spoiled(box, tail, lambda: drive.write("READOFF.COM", b"short"), keys="\x03")
    assert LOST in ran.said
    assert ran.exit.code == code


def test_another_disk_in_the_drive() -> None:
    """The agent's own disk is out: one short line, no question of DOS's, and the record is safe on the other drive."""
    floppy = Drive(removable=True)
    floppy.write("READOFF.COM", AGENT.read_bytes())
    disk = Drive()
    disk.write("WAYS.COM", (PROGRAMS / "WAYS.COM").read_bytes())
    box = Box(AT, {"A": floppy, "C": disk})
    box.boot(1)
    processes = box.on.dos.processes
    before = processes.on_ended

    def on_ended(ended: Ended) -> None:
        floppy.ready = False
        before(ended)

    processes.on_ended = on_ended
    exit_ = box.run("A:\\READOFF.COM", "RUN /D:C:\\ C:\\WAYS.COM 02")
    assert LOST in exit_.console.decode("cp437")
    assert (exit_.kind, exit_.code) == ("ended", EXIT_ALL)
    assert len(record_names(box)) == 2


def test_without_a_path_everything_stays() -> None:
    box = agent_box(AT, "WAYS.COM")
    processes = box.on.dos.processes
    before = processes.on_loaded
    first: list[int] = []

    def on_loaded(address: int, size: int) -> None:
        if not first:
            first.append(address)
            memory = box.on.engine.memory
            memory.put_word(address - 0x100 + 0x2C, 0)  # no environment at all
        before(address, size)

    processes.on_loaded = on_loaded
    ran = readoff(box, "RUN /N:2 C:\\WAYS.COM 02")
    assert [console(run) for run in ran.of_kind("run")] == [LINE, LINE]
    assert ran.exit.code == EXIT_ALL
    psps = [each.psp for each in box.ended]
    _, symbols = assembled()
    assert min(psps[:-1]) - psps[-1] >= symbols["agent_end"] // 16


def test_a_resident_program_in_its_place() -> None:
    ran = readoff(agent_box(AT, "STAYS.COM"), "RUN /N:3 STAYS 31 7")
    assert "stays resident where the rest of Readoff was" in ran.said
    assert (end_of(ran.run)["outcome"], ran.exit.code) == ("stayed_resident", EXIT_MISSING)
    assert ran.run.completeness is Completeness.WHOLE
