"""RUN in the test machine: every way of printing, every way of ending, on old and new machines."""

from __future__ import annotations

from dataclasses import replace

import pytest

from readoff.box import AT, LATE, XT, MachineSpec
from support.agent_box import (
    EXIT_ALL,
    EXIT_MISSING,
    EXIT_NOTHING,
    AgentRan,
    agent_box,
    big_print,
    captured_all,
    console,
    end_of,
    readoff,
    run_under_agent,
    screen_rows,
)

LINE = b"Ways: score 1234.50 points\r\n"
SHOWN = LINE.decode().strip()
MACHINES = {
    "xt": XT,
    "at": AT,
    "late": LATE,
    "mda": replace(AT, display="mda"),
    "dos 3.30": replace(AT, dos_version=(3, 30)),
}
each_machine = pytest.mark.parametrize("spec", MACHINES.values(), ids=MACHINES)


@each_machine
@pytest.mark.parametrize("way", ["02", "06", "09", "40", "29", "10"])
def test_each_way_of_printing_is_kept_once_and_shown_once(spec: MachineSpec, way: str) -> None:
    ran = readoff(agent_box(spec, "WAYS.COM"), f"RUN /L:base WAYS {way}")
    assert console(ran.run) == LINE
    assert ran.said.count(SHOWN) == 1
    assert screen_rows(ran.run) == [SHOWN]
    end = end_of(ran.run)
    assert (end["console_octets"], end["console_kept"]) == (len(LINE), len(LINE))
    assert (end["outcome"], end["set"], captured_all(ran.run), ran.exit.code) == (
        "finished",
        set(),
        1,
        EXIT_ALL,
    )


@each_machine
def test_direct_writes_to_video_memory_are_on_the_screen_that_is_kept(spec: MachineSpec) -> None:
    ran = readoff(agent_box(spec, "WAYS.COM"), "RUN WAYS V 77.5")
    assert console(ran.run) == b""
    assert screen_rows(ran.run) == ["Ways: score 77.5 points"]
    assert ran.exit.code == EXIT_ALL


def test_a_record_says_what_was_asked_for() -> None:
    box = agent_box(AT, "WAYS.COM")
    ran = readoff(box, 'RUN /L:"zero wait" /P:mine /N:2 ways 02  5.5')
    (snapshot,) = ran.of_kind("snapshot")
    first, second = ran.of_kind("run")
    start = dict(first.values("run_start") or {})
    assert 30_000 < start.pop("free_paragraphs") < 40_960
    assert start == {
        "repeat": 1,
        "repeats": 2,
        "snapshot_ordinal": snapshot.id.ordinal,
        "label": "zero wait",
        "program": "mine",
        "path": "C:\\WAYS.COM",
        "arguments": "02  5.5",
    }
    assert (second.values("run_start") or {})["repeat"] == 2
    assert len({record.id.boot for record in ran.records.values()}) == 1
    assert [record.id.ordinal for record in ran.records.values()] == [1, 2, 3]
    assert (first.date, first.time) != (0, 0)


def test_without_a_name_the_program_is_called_as_its_file() -> None:
    ran = readoff(agent_box(AT, "WAYS.COM"), "RUN c:\\ways.com 02")
    start = ran.run.values("run_start") or {}
    assert (start["program"], start["path"]) == ("WAYS.COM", "C:\\WAYS.COM")


# -- how programs end ------------------------------------------------------------------------------


def ending(ran: AgentRan) -> tuple[str, str, int]:
    end = end_of(ran.run)
    return end["outcome"], end["exit_kind"], end["exit_code"]


@pytest.mark.parametrize(
    ("tail", "expected"),
    [
        ("EXITCODE 200", ("finished", "normal", 200)),
        ("EXIT20", ("finished", "normal", 0)),
        ("EXITRET", ("finished", "normal", 0)),
    ],
)
def test_exits(tail: str, expected: tuple[str, str, int]) -> None:
    ran = readoff(agent_box(AT, f"{tail.split(maxsplit=1)[0]}.COM"), f"RUN {tail}")
    assert ending(ran) == expected
    assert ran.exit.code == EXIT_ALL
    assert console(ran.run)


@pytest.mark.parametrize(("tail", "code"), [("STAYS 27", 0), ("STAYS 31 7", 7)])
def test_a_program_that_stays(tail: str, code: int) -> None:
    box = agent_box(AT, "STAYS.COM", "WAYS.COM")
    ran = readoff(box, f"RUN /N:3 {tail}")
    assert ending(ran) == ("stayed_resident", "resident", code)
    assert "stays resident" in ran.said
    assert (captured_all(ran.run), ran.exit.code) == (1, EXIT_MISSING)
    assert end_of(ran.run)["set"] == set()  # it hooked nothing
    assert readoff(box, "RUN WAYS 02").exit.code == EXIT_ALL


SITTER = """
old21:  dd 0
old10:  dd 0
hook21: jmp     far [cs:old21]
hook10: jmp     far [cs:old10]
main:
        get_vector 21h, old21
        get_vector 10h, old10
        set_vector 21h, hook21
        set_vector 10h, hook10
        mov     dx, text
        mov     ah, 9
        int     21h
        mov     dx, 40
        mov     ax, 3100h
        int     21h
text:   db "Sitter: here", 13, 10, "$"
"""


def test_hooks_that_a_resident_program_sits_on_stay_and_only_pass() -> None:
    box = agent_box(AT, "WAYS.COM", SITTER=SITTER)
    ran = readoff(box, "RUN SITTER")
    assert ending(ran)[0] == "stayed_resident"
    assert end_of(ran.run)["set"] == {"hooks_left"}
    assert ran.exit.kind == "resident" and ran.exit.code == EXIT_MISSING
    assert "some of our memory stays" in ran.said
    for way in ("02", "10", "29"):
        assert box.command(f"WAYS {way} 1.5").console.count(b"Ways: score 1.5 points") == 1
        again = readoff(box, f"RUN WAYS {way}")
        assert (console(again.run), again.exit.code) == (LINE, EXIT_ALL)


DANGLER = """
main:
        mov     dx, hook
        mov     ax, 2510h
        int     21h
        exit
hook:   jmp     far [cs:old]
old:    dd 0
"""


def test_a_vector_that_leads_into_memory_given_back_is_put_right() -> None:
    box = agent_box(AT, "WAYS.COM", DANGLER=DANGLER)
    before = box.on.engine.memory.read(0, 4 * 0x10, 4)
    ran = readoff(box, "RUN DANGLER")
    assert (ending(ran)[0], end_of(ran.run)["set"]) == ("finished", set())
    assert box.on.engine.memory.read(0, 4 * 0x10, 4) == before
    assert box.command("WAYS 10 1.5").console.count(b"Ways: score 1.5 points") == 1


def test_a_program_that_is_not_there() -> None:
    ran = readoff(agent_box(AT), "RUN /N:3 NOSUCH a b")
    assert ending(ran) == ("not_found", "normal", 0)
    assert (captured_all(ran.run), ran.exit.code) == (0, EXIT_NOTHING)
    assert "no such program" in ran.said
    assert ran.run.values("screen") is None


def test_a_program_that_does_not_fit() -> None:
    box = agent_box(AT)
    box.drive("C").write("HUGE.EXE", exe(0x9FFF))
    ran = readoff(box, "RUN HUGE")
    assert ending(ran)[0] == "no_memory"
    assert end_of(ran.run)["dos_error"] == 8
    assert ran.exit.code == EXIT_NOTHING


def exe(paragraphs: int) -> bytes:
    """An .EXE of one RET FAR that wants so much memory beyond itself."""
    words = [0x5A4D, 33, 1, 0, 2, paragraphs, 0xFFFF, 0, 0, 0, 0, 0, 0x1C, 0]
    return b"".join(word.to_bytes(2, "little") for word in words).ljust(32, b"\0") + b"\xcb"


def test_a_graphics_mode_that_is_left_on() -> None:
    box = agent_box(LATE, "GRAPHICS.COM")
    ran = readoff(box, "RUN GRAPHICS 13")
    end = end_of(ran.run)
    assert (end["set"], end["video_mode"]) == ({"graphics_left"}, 0x13)
    assert [(s.values or {})["moment"] for s in ran.run.all("screen")] == ["mode_set"]  # the text before it
    assert console(ran.run) == b"Graphics: leaving in mode 13h\r\n"
    assert (captured_all(ran.run), ran.exit.code) == (1, EXIT_ALL)  # its picture is kept
    assert any("graphics mode" in row for row in box.screen_rows())  # in text again, and readable


@pytest.mark.parametrize(("spec", "rows"), [(AT, 43), (LATE, 50)])
def test_more_rows(spec: MachineSpec, rows: int) -> None:
    ran = readoff(agent_box(spec, "LINES43.COM"), "RUN LINES43")
    shown = screen_rows(ran.run)
    assert shown[0] == f"Lines: {rows} rows"
    assert (len(shown), shown[-1]) == (rows, f"Lines: row {rows} written directly")


FORTY = """
main:   mov     ax, 1
        int     10h
        mov     dx, text
        mov     ah, 9
        int     21h
        exit
text:   db "forty columns$"
"""


def test_forty_columns() -> None:
    ran = readoff(agent_box(AT, FORTY=FORTY), "RUN FORTY")
    screen = ran.run.values("screen") or {}
    assert (screen["columns"], screen["mode"]) == (40, 1)
    assert screen_rows(ran.run) == ["forty columns"]


# -- batch files, internal commands, PATH ----------------------------------------------------------


def test_a_batch_file_and_its_children() -> None:
    box = agent_box(AT, "WAYS.COM")
    box.drive("C").write("T.BAT", b"@ECHO OFF\r\nECHO begin\r\nWAYS 02 1.5\r\nWAYS 10 2.5\r\n")
    ran = readoff(box, "RUN T one")
    assert console(ran.run) == b"begin\r\nWays: score 1.5 points\r\nWays: score 2.5 points\r\n"
    start = ran.run.values("run_start") or {}
    assert (start["program"], start["path"]) == ("T.BAT", "C:\\COMMAND.COM")
    assert start["arguments"] == "/C C:\\T.BAT one"


def test_an_internal_command() -> None:
    ran = readoff(agent_box(AT), "RUN echo hello there")
    assert console(ran.run) == b"hello there\r\n"
    assert (ran.run.values("run_start") or {})["program"] == "ECHO"


def test_a_program_along_path() -> None:
    box = agent_box(AT)
    box.drive("C").write("TOOLS\\WAYS.COM", (agent_box(AT, "WAYS.COM").drive("C")).read("WAYS.COM"))
    box.command("SET PATH=C:\\;C:\\NOWHERE;C:\\TOOLS")
    line = box.command("READOFF RUN WAYS 02")
    assert line.console.count(LINE.strip()) == 1


def test_redirected_output_is_kept_too_and_stays_pure() -> None:
    box = agent_box(AT, "WAYS.COM")
    box.command("READOFF RUN WAYS 40 > OUT.TXT")
    assert box.drive("C").read("OUT.TXT") == LINE
    ran = [name for name in box.drive("C").list("*0002.RDO")]
    assert len(ran) == 1


# -- much output -----------------------------------------------------------------------------------


@pytest.mark.parametrize("octets", [100, 2048, 4096, 20_000, 50_000])
def test_all_of_a_large_print_is_kept(octets: int) -> None:
    ran = readoff(agent_box(replace(LATE, uart="none"), "BIGPRINT.COM"), f"RUN BIGPRINT {octets}")
    assert console(ran.run) == big_print(octets)
    assert ran.exit.code == EXIT_ALL


BY_BIOS = """
main:   mov     cx, 20000
.next:  mov     ax, cx
        and     al, 1Fh
        add     al, 40h
        mov     ah, 0Eh
        mov     bx, 7
        int     10h
        loop    .next
        exit
"""


def test_much_output_by_the_bios_alone_is_kept_where_dos_is_free() -> None:
    _, ran = run_under_agent(agent_box(LATE), BY_BIOS)
    assert console(ran.run) == bytes((i & 0x1F) + 0x40 for i in range(20000, 0, -1))
    assert ran.exit.code == EXIT_ALL


# -- the time --------------------------------------------------------------------------------------

TIMED = """
main:   mov     cx, 300
.outer: push    cx
        mov     cx, 1000
.inner: nop
        loop    .inner
        pop     cx
        loop    .outer
        exit
"""


@pytest.mark.parametrize(
    "spec",
    [XT, AT, LATE, replace(XT, pit_mode=2), replace(AT, pit_mode=2)],
    ids=lambda spec: f"{spec.name}{spec.pit_mode}",
)
def test_elapsed_time_is_what_the_machine_took(spec: MachineSpec) -> None:
    """Against the machine's own virtual time of EXEC: load, run, end. 1 count is 264/315 us."""
    box = agent_box(spec)
    _, ran = run_under_agent(box, TIMED)
    end = end_of(ran.run)
    seconds = (end["elapsed_ticks"] * 65536 + end["elapsed_counts"]) * 264e-6 / 315
    assert end["resolution"] == 1 and end["set"] == set()
    alone = box.run("C:\\T.COM").seconds
    assert seconds == pytest.approx(alone, rel=0.03, abs=0.004)


def test_midnight_in_a_run() -> None:
    box = agent_box(AT)
    memory = box.on.engine.memory
    memory.put_word(0x46C, 0x00AE)
    memory.put_word(0x46E, 0x0018)  # 1800AEh: two ticks before midnight (REFERENCES: 1800B0h a day)
    _, ran = run_under_agent(box, TIMED.replace("300", "600"))
    end = end_of(ran.run)
    assert 2 <= end["elapsed_ticks"] < 60
    assert memory.word(0x46C) < 200  # a new day


def test_results_are_read_where_the_program_was() -> None:
    box = agent_box(AT)
    under, _ = run_under_agent(box, "main: mov word [results], 1234h\n exit")
    assert under.word(0) == 0x1234


@pytest.mark.parametrize("tail", ["SNAP", "RUN BIGPRINT 3000", "RUN WAYS 29", "SEND WAYS.COM"])
def test_what_is_executed_on_an_8086_is_for_an_8086(tail: str) -> None:
    """Each instruction that runs, not each that is there: the machine refuses later ones."""
    box = agent_box(XT, "WAYS.COM", "BIGPRINT.COM")
    box.on.processor.check_each_instruction()
    assert readoff(box, tail).exit.code == EXIT_ALL


def test_the_agent_under_the_agent() -> None:
    ran = readoff(agent_box(AT, "WAYS.COM"), "RUN READOFF RUN WAYS 02")
    outer, inner = ran.of_kind("run")
    assert console(inner) == LINE
    assert console(outer).count(LINE) == 1
    assert ran.said.count(SHOWN) == 1


def test_a_line_without_a_host_leaves_the_records_in_the_spool() -> None:
    ran = readoff(agent_box(LATE, "WAYS.COM"), "RUN /S:COM1 WAYS 02")
    assert len(ran.records) == 2
    assert (captured_all(ran.run), ran.exit.code) == (1, EXIT_MISSING)
    assert console(ran.run) == LINE


@pytest.mark.parametrize("ending", ["", ", 13, 10"])
def test_what_the_agent_says_begins_a_line(ending: str) -> None:
    source = f"""
main:   mov     dx, text
        mov     ah, 09h
        int     21h
        exit
text:   db      "Score 12.5"{ending}, "$"
"""
    _, ran = run_under_agent(agent_box(AT), source)
    assert "Score 12.5\r\nReadoff: record" in ran.said
    assert console(ran.run) == b"Score 12.5" + (b"\r\n" if ending else b"")
