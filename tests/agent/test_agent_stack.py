"""What the hooks take of the program's stack, and of their own."""

from __future__ import annotations

import pytest

from readoff.box import AT, LATE, Box
from readoff.box.dos_process import Ended
from support.agent_bench import assembled
from support.agent_box import EXIT_ALL, agent_box, console, readoff, run_under_agent
from support.box_programs import run_source

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
PROGRAM_STACK_CEILING = 12  # octets; hooks.asm says 8 and 10
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


def test_keeping_pictures_leaves_room_on_it_too() -> None:
    box = agent_box(LATE, "FRAMES.COM")
    box.drive("C").write("PIXELS.DAT", b"\5\0\5\0\7")
    used, size, _ = hook_stack_use(box, "RUN FRAMES 12")
    assert 60 <= used <= size // 2, used


def test_typing_keys_leaves_room_on_it_too() -> None:
    box = agent_box(LATE, "MENU.COM")
    used, size, _ = hook_stack_use(box, 'RUN /K:"[enter][after page 2][enter][pause 1][enter]" MENU 0A')
    assert 60 <= used <= size // 2, used


def test_the_agents_own_stack_is_out_of_the_hooks_way() -> None:
    """The hooks use the part of the agent's stack that is free while it waits in EXEC."""
    _, _, left = hook_stack_use(agent_box(LATE, "BIGPRINT.COM"), "RUN BIGPRINT 20")
    assert left >= 0
