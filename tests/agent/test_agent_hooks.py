"""What the hooks do to a program: nothing that it could notice.

Each program runs alone and under the agent; registers, flags, stack and DOS's state must come out the same.
"""

from __future__ import annotations

import pytest

from readoff.box import AT, LATE, XT, Box, Drive, MachineSpec
from readoff.box.dos_process import Ended
from support.agent_bench import assembled
from support.agent_box import EXIT_ALL, agent_box, console, end_of, readoff, run_under_agent
from support.box_programs import run_source

# Calls one service with known registers and keeps all of them and the flags afterwards (segments less CS).
SERVICE = """
%macro keep 2
        mov     [cs:results + %1], %2
%endmacro
main:
        push    cs
        pop     es
        mov     word [saved_sp], sp
        {before}
        mov     ax, {ax}
        mov     bx, {bx}
        mov     cx, {cx}
        mov     dx, {dx}
        mov     si, 5151h
        mov     di, 6161h
        mov     bp, 7171h
        {flags}
        int     {number}
        keep    0, ax
        keep    2, bx
        keep    4, cx
        keep    6, dx
        keep    8, si
        keep    10, di
        keep    12, bp
        pushf
        pop     ax
        keep    14, ax
        mov     ax, ds
        mov     bx, cs
        sub     ax, bx
        keep    16, ax
        mov     ax, es
        sub     ax, bx
        keep    18, ax
        mov     ax, ss
        sub     ax, bx
        keep    20, ax
        mov     ax, sp
        sub     ax, [cs:saved_sp]
        keep    22, ax
        cld
        sti
        exit
saved_sp: dw 0
text:   db "Registers$ and more"
con:    db "CON", 0
"""
SERVICES = {
    "02": (0x21, 0x0299, 0x1111, 0x2222, 0x3341),
    "06": (0x21, 0x0699, 0x1111, 0x2222, 0x3342),
    "06 input": (0x21, 0x0699, 0x1111, 0x2222, 0x33FF),
    "09": (0x21, 0x0999, 0x1111, 0x2222, "text"),
    "40 stdout": (0x21, 0x4099, 1, 9, "text"),
    "40 stderr": (0x21, 0x4099, 2, 9, "text"),
    "40 none": (0x21, 0x4099, 1, 0, "text"),
    "40 bad handle": (0x21, 0x4099, 77, 9, "text"),
    "40 aux": (0x21, 0x4099, 4, 2, "text"),
    "30": (0x21, 0x3000, 0x1111, 0x2222, 0x3333),
    "19": (0x21, 0x1900, 0x1111, 0x2222, 0x3333),
    "33": (0x21, 0x3300, 0x1111, 0x2222, 0x3333),
    "29": (0x29, 0x1143, 7, 0x2222, 0x3333),
    "10 0E": (0x10, 0x0E44, 7, 0x2222, 0x3333),
    "10 03": (0x10, 0x0300, 0, 0x2222, 0x3333),
    "10 0F": (0x10, 0x0F00, 0x1111, 0x2222, 0x3333),
    "10 00": (0x10, 0x0003, 0x1111, 0x2222, 0x3333),
    "10 00 graphics": (0x10, 0x0004, 0x1111, 0x2222, 0x3333),
    "16 01": (0x16, 0x0199, 0x1111, 0x2222, 0x3333),
    "16 02": (0x16, 0x0299, 0x1111, 0x2222, 0x3333),
    "16 11": (0x16, 0x1199, 0x1111, 0x2222, 0x3333),
    "16 00": (0x16, 0x0099, 0x1111, 0x2222, 0x3333),
    "0B": (0x21, 0x0B99, 0x1111, 0x2222, 0x3333),
    "08": (0x21, 0x0899, 0x1111, 0x2222, 0x3333),
    "0C 06": (0x21, 0x0C06, 0x1111, 0x2222, 0x33FF),
}
FLAGS = {"plain": "", "carry and direction": "stc\n std", "interrupts off": "cli"}


@pytest.mark.parametrize("flags", FLAGS)
@pytest.mark.parametrize("name", SERVICES)
def test_registers_and_flags_are_those_of_the_service(name: str, flags: str) -> None:
    number, ax, bx, cx, dx = SERVICES[name]
    source = SERVICE.format(number=number, ax=ax, bx=bx, cx=cx, dx=dx, flags=FLAGS[flags], before="")
    alone = run_source(agent_box(AT), source, keys="k")
    under, ran = run_under_agent(agent_box(AT), source, keys="k")
    assert alone.results[:24] != bytes(24)
    assert under.results[:24].hex(" ", 2) == alone.results[:24].hex(" ", 2)
    assert ran.exit.code == EXIT_ALL


# -- the program's stack ---------------------------------------------------------------------------

STACK = """
main:
        mov     di, sp
        sub     di, 400
        mov     cx, 396
        mov     al, 0CCh
        push    di
        rep     stosb
        pop     di
        mov     dx, text
        {ax}
        mov     bx, 1
        mov     cx, 4
        cli
        int     {number}
        sti
        mov     cx, -1
.scan:  inc     cx
        cmp     byte [di], 0CCh
        lea     di, [di + 1]
        je      .scan
        mov     ax, 400
        sub     ax, cx
        mov     [results], ax
        exit
text:   db "abcd$"
"""
PRINTS = {
    "02": (0x21, 0x0241),
    "06": (0x21, 0x0642),
    "09": (0x21, 0x0900),
    "40": (0x21, 0x4000),
    "29": (0x29, 0x43),
    "10": (0x10, 0x0E44),
}
PROGRAM_STACK_CEILING = 12  # octets; hooks.asm says 10 for INT 21h, and macros push nothing further
KEYS = {"16 01": (0x16, 0x0100), "16 00": (0x16, 0x0000), "21 08": (0x21, 0x0800), "21 06": (0x21, 0x06FF)}


@pytest.mark.parametrize("way", KEYS)
def test_hooks_on_keys_take_little_of_the_programs_stack(way: str) -> None:
    number, ax = KEYS[way]
    source = STACK.format(number=number, ax=f"mov ax, {ax}\n mov dl, 255")
    alone = run_source(agent_box(AT), source, keys="k").word(0)
    under, _ = run_under_agent(agent_box(AT), source, keys="k")
    assert 6 <= alone <= under.word(0) <= alone + PROGRAM_STACK_CEILING


@pytest.mark.parametrize("way", PRINTS)
def test_hooks_take_little_of_the_programs_stack(way: str) -> None:
    number, ax = PRINTS[way]
    load = f"mov ax, {ax}" + ("\n mov dl, 'z'" if way in ("02", "06") else "")
    source = STACK.format(number=number, ax=load)
    alone = run_source(agent_box(AT), source).word(0)
    under, ran = run_under_agent(agent_box(AT), source)
    assert 6 <= alone <= under.word(0) <= alone + PROGRAM_STACK_CEILING
    assert len(console(ran.run)) in (1, 4)


def hook_stack_use(box: Box, tail: str, keys: str = "") -> tuple[int, int, int]:
    """(octets that hooks used, octets there are, octets between them and what EXEC has in use)."""
    _, symbols = assembled()
    size = symbols["hook_stack_top"] - symbols["hook_stack"]
    memory, processes = box.on.engine.memory, box.on.dos.processes
    found: list[tuple[int, int]] = []
    loaded, ended = processes.on_loaded, processes.on_ended

    def on_loaded(address: int, length: int) -> None:
        for block in box.on.dos.blocks.blocks():
            at = block.segment * 16 + symbols["hook_stack"]
            if block.size * 16 == symbols["stay_end"]:
                memory.octets[at : at + size] = bytes(size)
        loaded(address, length)

    def on_ended(process: Ended) -> None:
        if not process.name.endswith("READOFF.COM"):
            stack = memory.read(process.parent, symbols["hook_stack"], size)
            in_use = int.from_bytes(memory.read(process.parent, symbols["exec_stack"], 2), "little")
            found.append((len(stack.lstrip(b"\0")), in_use - symbols["hook_stack_top"]))
        ended(process)

    processes.on_loaded, processes.on_ended = on_loaded, on_ended
    assert readoff(box, tail, keys=keys).exit.code == EXIT_ALL
    ((used, left),) = found
    return used, size, left


def test_the_hooks_own_stack_has_room_left() -> None:
    """Used most while the console buffer is written from inside a hook."""
    box = agent_box(LATE, "BIGPRINT.COM")
    used, size, _ = hook_stack_use(box, "RUN BIGPRINT 20000")
    assert 60 <= used <= size // 2, used


def test_keeping_screens_leaves_room_on_it_too() -> None:
    box = agent_box(LATE, "MENU.COM")
    used, size, _ = hook_stack_use(box, "RUN MENU 08", keys="\r\r\r")
    assert 60 <= used <= size // 2, used


def test_the_agents_own_stack_is_out_of_the_hooks_way() -> None:
    """The hooks use the part of the agent's stack that is free while it waits in EXEC."""
    _, _, left = hook_stack_use(agent_box(LATE, "BIGPRINT.COM"), "RUN BIGPRINT 20")
    assert left >= 0


# -- DOS's state -----------------------------------------------------------------------------------

# Prints much (so that the buffer is written from inside), and looks before and after at: extended error, DTA, PSP,
# BREAK, vectors 23h and 24h, InDOS.
STATE = """
main:
        push    cs
        pop     es
        set_vector 24h, mine24
        mov     dx, 1234h
        mov     ah, 1Ah
        int     21h
        mov     dl, 1
        mov     ax, 3301h
        int     21h
        mov     dx, nofile
        mov     ax, 3D00h
        int     21h                     ; an error to remember: 2
        mov     di, results
        call    look
        mov     cx, 3
.more:  push    cx
        mov     dx, block
        mov     cx, 4000
        mov     bx, 1
        mov     ah, 40h
        int     21h
        pop     cx
        loop    .more
        mov     di, results + 64
        call    look
        exit
mine24: mov     al, 3
        iret
look:   push    es
        push    di
        mov     ah, 59h
        xor     bx, bx
        int     21h
        pop     di
        push    cs
        pop     ds
        mov     [di], ax
        mov     ah, 2Fh
        int     21h
        mov     [di + 2], bx
        mov     ax, es
        mov     bx, cs
        sub     ax, bx
        mov     [di + 4], ax
        mov     ah, 51h
        int     21h
        mov     ax, cs
        sub     bx, ax
        mov     [di + 6], bx
        mov     ax, 3300h
        int     21h
        mov     [di + 8], dl
        xor     ax, ax
        mov     es, ax
        mov     ax, [es:24h * 4]
        mov     [di + 10], ax
        mov     ax, [es:24h * 4 + 2]
        mov     bx, cs
        sub     ax, bx
        mov     [di + 12], ax
        pop     es
        ret
nofile: db "NOSUCH", 0
block:  times 4000 db 'x'
"""


@pytest.mark.parametrize("spec", [XT, AT, LATE], ids=lambda spec: spec.name)
def test_writing_from_inside_a_hook_leaves_doss_state_alone(spec: MachineSpec) -> None:
    under, ran = run_under_agent(agent_box(spec), STATE)
    assert len(ran.run.all("console")) >= 3
    before, after = under.results[:14], under.results[64:78]
    assert before[:2] == b"\x02\0" and before[2:4] == b"\x34\x12" and before[8] == 1
    assert after.hex(" ", 2) == before.hex(" ", 2)


SEARCH = """
main:
        mov     dx, pattern
        xor     cx, cx
        mov     ah, 4Eh
        int     21h
.next:  jc      .done
        inc     word [results]
        mov     dx, block
        mov     cx, 3000
        mov     bx, 1
        mov     ah, 40h
        int     21h
        mov     ah, 4Fh
        int     21h
        jmp     .next
.done:  mov     dx, own
        xor     cx, cx
        mov     ah, 3Ch
        int     21h
        mov     [results + 2], ax
        exit
pattern: db "F?.TXT", 0
own:    db "OWN.TXT", 0
block:  times 3000 db 'x'
"""


def test_searches_and_handles_of_the_program_go_on_undisturbed() -> None:
    def run(under: bool) -> bytes:
        box = agent_box(AT)
        for number in range(5):
            box.drive("C").write(f"F{number}.TXT", b"x")
        ran = run_under_agent(box, SEARCH)[0] if under else run_source(box, SEARCH)
        return ran.results[:4]

    assert run(True) == run(False) == b"\x05\0\x05\0"  # the program's first handle is 5, as always


# -- what is taken, and what is not ----------------------------------------------------------------

CON_HANDLE = """
main:
        mov     dx, con
        mov     ax, 3D01h
        int     21h
        mov     [results], ax
        mov     bx, ax
        mov     dx, text
        mov     cx, 5
        mov     ah, 40h
        int     21h
        mov     ah, 3Eh
        int     21h
        mov     dx, file
        xor     cx, cx
        mov     ah, 3Ch
        int     21h                     ; the same handle, now a file
        mov     bx, ax
        mov     dx, other
        mov     cx, 5
        mov     ah, 40h
        int     21h
        exit
con:    db "CON", 0
file:   db "SOME.DAT", 0
text:   db "shown"
other:  db "quiet"
"""


def test_a_handle_on_con_is_taken_and_a_file_is_not() -> None:
    _, ran = run_under_agent(agent_box(AT), CON_HANDLE)
    assert console(ran.run) == b"shown"


STOPS = """
main:   mov     dx, text
        mov     cx, 8
        mov     bx, 1
        mov     ah, 40h
        int     21h
        mov     [results], ax
        exit
text:   db "end", 1Ah, "more"
"""


def test_only_what_dos_says_that_it_wrote_is_taken() -> None:
    """AH=40h to CON stops at 1Ah (measured on real kernels)."""
    under, ran = run_under_agent(agent_box(AT), STOPS)
    assert console(ran.run) == b"end\x1amore"[: under.word(0)]


ECHO = """
main:   mov     ah, 1                   ; a key, with echo
        int     21h
        mov     dx, buffer
        mov     ah, 0Ah                 ; a line, with echo
        int     21h
        mov     dx, text
        mov     ah, 9
        int     21h
        exit
buffer: db 20, 0
        times 20 db 0
text:   db "answer$"
"""


def test_what_dos_echoes_is_not_the_programs_output() -> None:
    _, ran = run_under_agent(agent_box(AT), ECHO, keys="xhello\r")
    assert console(ran.run) == b"answer"


OWN_29 = """
main:   get_vector 29h, old
        set_vector 29h, mine
        mov     dx, text
        mov     ah, 9
        int     21h
        push    ds
        lds     dx, [old]
        mov     ax, 2529h
        int     21h
        pop     ds
        exit
mine:   jmp     far [cs:old]
old:    dd 0
text:   db "by my own$"
"""


def test_a_program_with_an_int_29h_of_its_own() -> None:
    _, ran = run_under_agent(agent_box(AT), OWN_29)
    assert (console(ran.run), end_of(ran.run)["set"]) == (b"by my own", set())


def test_a_program_that_hooks_int_21h_sees_its_own_calls_only() -> None:
    ran = readoff(agent_box(AT, "HOOKS21.COM"), "RUN HOOKS21")
    assert console(ran.run).endswith(b"Hooks: 14 calls seen\r\n")


IN_CRITICAL = """
main:   set_vector 24h, mine
        mov     dx, file
        mov     ax, 3D00h
        int     21h
        mov     [results], ax
        mov     dx, text
        mov     ah, 9
        int     21h
        exit
mine:   push    ax
        push    cx
        push    dx
        mov     cx, {count}
.next:  mov     dl, 'c'
        mov     ah, 2
        int     21h
        loop    .next
        pop     dx
        pop     cx
        pop     ax
        mov     al, 3
        iret
file:   db "A:\\NONE", 0
text:   db " and on$"
"""


@pytest.mark.parametrize(("count", "cut"), [(1000, False), (5000, True)])
def test_nothing_is_written_from_inside_a_critical_error(count: int, cut: bool) -> None:
    """InDOS is 0 there, but DOS must not be asked for files: what does not fit the buffer is counted, and told."""
    spool = agent_box(LATE).drive("C")
    empty = Drive(removable=True)
    empty.ready = False
    box = Box(LATE, {"A": empty, "C": spool})
    box.boot(1)
    _, ran = run_under_agent(box, IN_CRITICAL.format(count=count))
    end = end_of(ran.run)
    everything = b"c" * count + b" and on"
    assert end["console_octets"] == len(everything)
    assert everything.startswith(console(ran.run))
    assert ("console_cut" in end["set"]) == cut == (len(console(ran.run)) < len(everything))
    assert len(console(ran.run)) >= min(count, 4096)


GOES_ON = """
main:   set_vector 23h, mine
        mov     ah, 8
        int     21h
        mov     dx, text
        mov     ah, 9
        int     21h
        mov     ax, 4C03h
        int     21h
mine:   push    ax
        push    dx
        mov     dx, caught
        mov     ah, 9
        int     21h
        pop     dx
        pop     ax
        iret
caught: db "caught$"
text:   db " and on$"
"""


def test_a_program_that_handles_ctrl_c_itself_goes_on() -> None:
    _, ran = run_under_agent(agent_box(AT), GOES_ON, keys="\x03x")
    end = end_of(ran.run)
    assert (end["outcome"], end["exit_code"]) == ("finished", 3)
    assert console(ran.run) == b"caught and on"


def test_printing_after_a_call_that_ctrl_c_cut_off_is_taken() -> None:
    """The cut-off call never comes back to the hook; the next program's printing must not be lost."""
    box = agent_box(AT, "CTRLC.COM", "WAYS.COM")
    box.drive("C").write("T.BAT", b"@ECHO OFF\r\nCTRLC\r\nWAYS 10 5.5\r\nWAYS 29 6.5\r\n")
    ran = readoff(box, "RUN T", keys="\x03n")
    text = console(ran.run)
    assert text.startswith(b"CtrlC: waiting for a key\r\n")
    assert text.endswith(b"Ways: score 5.5 points\r\nWays: score 6.5 points\r\n")
    assert end_of(ran.run)["outcome"] == "ctrl_c"
