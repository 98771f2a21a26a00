"""Programs start and end as under real DOS.

Source: measured with small programs on two real kernels (FreeDOS kernel 2040, DOS 4.00 from its published source).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from readoff.box import AT, XT, Box
from readoff.box.dos_process import AX_AFTER_EXEC
from readoff.errors import BoxError
from support.box_programs import assemble, make_box, run_source

# Runs CHILD.COM, then reads 4Dh twice: results 0 and 1; what EXEC left in AX, BX, DX: 2, 3, 4; flags: 5.
PARENT = """
main:   shrink
        mov     [block + 4], cs
        mov     bx, 0BBBBh
        mov     cx, 0CCCCh
        mov     bx, block
        mov     dx, name
        mov     ax, 4B00h
        int     21h
        cli
        push    cs
        pop     ss
        mov     sp, 1000h
        sti
        pushf
        pop     word [cs:results + 10]
        mov     [cs:results + 4], ax
        mov     [cs:results + 6], bx
        mov     [cs:results + 8], dx
        push    cs
        pop     ds
        mov     ah, 4Dh
        int     21h
        mov     [results], ax
        mov     ah, 4Dh
        int     21h
        mov     [results + 2], ax
        mov     ax, 3523h
        int     21h
        mov     [results + 12], bx
        mov     [results + 14], es
        mov     ax, 35F1h
        int     21h
        mov     [results + 16], bx
        exit    7
name:   db "CHILD.COM", 0
block:  dw 0, tail, 0, 0FFFFh, 0FFFFh, 0FFFFh, 0FFFFh
tail:   db 3, " ab", 13
"""
CHILDREN = {
    "4C05": ("main: exit 5", 0x0005),
    "INT 20h": ("main: int 20h", 0x0000),
    "RET": ("main: ret", 0x0000),
    "31h code 09": ("main: mov ax,3109h\n mov dx,20h\n int 21h", 0x0309),
    "INT 27h": ("main: mov dx,200h\n int 27h", 0x0300),
    "divide error": ("main: xor bx,bx\n div bx", 0x0100),
    "AH=00h": ("main: mov ah,0\n int 21h", 0x0000),
}


@pytest.mark.parametrize("how", CHILDREN)
def test_the_exit_code_by_kind_and_4dh_clears(how: str) -> None:
    source, code = CHILDREN[how]
    ran = run_source(make_box(CHILD=source), PARENT)
    assert (ran.exit.kind, ran.exit.code) == ("ended", 7)
    assert (ran.word(0), ran.word(1)) == (code, 0)


def test_ctrl_c_ends_a_child_with_0100() -> None:
    box = make_box(CHILD="main: mov ah,8\n int 21h\n exit 3")
    ran = run_source(box, PARENT, keys="\x03")
    assert (ran.word(0), ran.exit.console) == (0x0100, b"^C\r\n")


def test_exec_gives_back_no_registers() -> None:
    ran = run_source(make_box(CHILD="main: exit"), PARENT)
    assert ran.word(2) == AX_AFTER_EXEC
    assert ran.word(4) == 0
    assert not ran.word(5) & 1


def test_a_missing_program_is_error_2_and_leaves_the_parent_alone() -> None:
    ran = run_source(make_box(), PARENT)
    assert (ran.word(2), ran.word(5) & 1) == (0x0002, 1)


def test_23h_comes_back_and_other_vectors_stay_changed() -> None:
    child = """
main:   set_vector 23h, 1234h
        set_vector 0F1h, 5678h
        exit
"""
    box = make_box(CHILD=child)
    before = box.on.engine.memory.word(4 * 0x23)
    ran = run_source(box, PARENT)
    assert ran.word(6) == before
    assert ran.word(8) == 0x5678


def test_a_com_program_starts_as_documented() -> None:
    """The largest block, SP=FFFE, [SP]=0, AX=BX=0, CX=00FF; the tail and the parent in the PSP."""
    source = """
main:   mov     [results], ax
        mov     [results + 2], bx
        mov     [results + 4], cx
        mov     [results + 6], sp
        pop     word [results + 8]
        mov     ax, ds
        sub     ax, [2Ch]
        mov     [results + 10], cs
        mov     [results + 12], ax
        mov     ax, [2]
        mov     [results + 14], ax
        int     12h
        mov     [results + 16], ax
        mov     es, [2Ch]
        mov     cx, 400h
        xor     di, di
.find:  mov     al, 0
        repne   scasb
        scasb
        jne     .find
        mov     ax, [es:di]
        mov     [results + 18], ax
        mov     ax, [es:di + 2]
        mov     [results + 20], ax
        exit
"""
    ran = run_source(make_box(), source, "x y")
    assert [ran.word(i) for i in range(5)] == [0, 0, 0x00FF, 0xFFFE, 0]
    assert ran.word(7) == 640 * 64
    assert ran.word(8) == 640
    assert ran.word(9) == 1  # the word before the program's own path
    assert ran.word(10) == int.from_bytes(b"C:", "little")


def test_an_ebda_takes_a_kb() -> None:
    ran = run_source(
        make_box(replace(AT, ebda=True)),
        "main: int 12h\n mov [results],ax\n mov ax,[2]\n mov [results+2],ax\n exit",
    )
    assert (ran.word(0), ran.word(1)) == (639, 639 * 64)


def exe(code: bytes, *, relocations: list[tuple[int, int]], stack: int = 0x100, least: int = 0x20) -> bytes:
    """An MZ program: header of 512 octets, entry 0:0, stack behind the code."""
    size = 512 + len(code)
    words = [0x5A4D, size % 512, -(-size // 512), len(relocations), 32, least, 0xFFFF]
    words += [-(-len(code) // 16), stack, 0, 0, 0, 0x1C, 0]
    octets = b"".join(w.to_bytes(2, "little") for w in words)
    octets += b"".join(o.to_bytes(2, "little") + s.to_bytes(2, "little") for o, s in relocations)
    return octets.ljust(512, b"\0") + code


def test_an_exe_is_relocated() -> None:
    """Format: the MZ header as in the published DOS 4.0 source (EXEC.ASM)."""
    code = assemble(
        "cpu 8086\nbits 16\norg 0\nmov ax, 0\nmov bx, cs\nsub ax, bx\nmov ah, 4Ch\nint 21h\n", prelude=False
    )
    box = make_box()
    box.drive("C").write("R.EXE", exe(code, relocations=[(1, 0)]))
    # AX = 0 + load segment; CS is the load segment too: the difference is the exit code.
    assert (box.run("C:\\R.EXE").kind, box.ended[-1].code) == ("ended", 0)
    box.drive("C").write("N.EXE", exe(code, relocations=[]))
    box.run("C:\\N.EXE")
    assert box.ended[-1].code != 0


@pytest.mark.parametrize(
    ("data", "error"),
    [(b"MZ" + bytes(10), 0x0B), (exe(b"\x90", relocations=[], least=0xFFFF), 8), (bytes(0xFF80), 8)],
)
def test_a_program_that_cannot_be_loaded(data: bytes, error: int) -> None:
    box = make_box()
    box.drive("C").write("BAD.EXE", data)
    exit_ = box.run("C:\\BAD.EXE")
    assert (exit_.kind, exit_.code) == ("not started", error)
    assert box.on.dos.blocks.largest() > 0x9000  # and the memory is free again


def test_a_resident_program_keeps_its_memory() -> None:
    box = make_box()
    ran = run_source(box, "main: mov dx,40h\n mov ax,3100h\n int 21h")
    assert ran.exit.kind == "resident"
    kept = [b for b in box.on.dos.blocks.blocks() if b.owner == box.ended[-1].psp]
    assert 0x40 in [b.size for b in kept]


def test_command_c_gives_back_0_and_makes_calls_of_its_own() -> None:
    box = make_box(CHILD="main: exit 9")
    before = box.on.dos.calls
    exit_ = box.run("C:\\COMMAND.COM", "/C CHILD")
    assert (exit_.kind, exit_.code) == ("ended", 0)
    assert [(e.name, e.code) for e in box.ended] == [("C:\\CHILD.COM", 9), ("C:\\COMMAND.COM", 0)]
    assert 80 <= box.on.dos.calls - before <= 700


def test_a_batch_file() -> None:
    box = make_box(NINE="main: exit 9")
    lines = (
        "@ECHO OFF",
        "ECHO one",
        "REM no",
        "NINE",
        "IF ERRORLEVEL 9 ECHO nine",
        "IF ERRORLEVEL 10 ECHO ten",
        "NOTHERE",
    )
    box.drive("C").write("B.BAT", "\r\n".join(lines).encode())
    console = box.command("B").console
    assert console.startswith(b"one\r\nnine\r\n")
    assert b"ten" not in console


@pytest.mark.parametrize(("key", "goes_on"), [("N", True), ("Y", False)])
def test_ctrl_c_in_a_batch_asks_whether_to_end_it(key: str, goes_on: bool) -> None:
    box = make_box(WAITS="main: mov ah,8\n int 21h\n exit")
    box.drive("C").write("B.BAT", b"@ECHO OFF\r\nWAITS\r\nECHO after\r\n")
    console = box.command("B", keys=f"\x03{key}").console
    assert b"(Y/N)" in console
    assert (b"after" in console) is goes_on


def test_int_23h_that_returns_has_the_call_made_again() -> None:
    source = """
hook:   inc     word [cs:results]
        iret
main:   set_vector 23h, hook
        mov     ah, 8
        int     21h
        mov     [results + 2], al
        exit
"""
    ran = run_source(make_box(), source, keys="\x03k")
    assert (ran.word(0), ran.results[2]) == (1, ord("k"))
    assert ran.exit.kind == "ended"


def test_int_23h_with_carry_ends_the_program_and_without_does_not() -> None:
    hook = "hook: {}\n retf\nmain: set_vector 23h, hook\n mov ah,8\n int 21h\n exit 4"
    assert run_source(make_box(), hook.format("stc"), keys="\x03k").exit.kind == "break"
    assert run_source(make_box(), hook.format("clc"), keys="\x03k").exit.code == 4


def test_ctrl_break_by_int_1bh() -> None:
    box = make_box()
    ran = run_source(box, "main: mov ah,8\n int 21h\n exit", keys="{BREAK}")
    assert ran.exit.kind == "break"


MARK = """
main:   mov     ax, 40h
        mov     es, ax
        mov     ax, [es:0F0h]
        mov     [results], ax
        mov     word [es:0F0h], 1234h
        mov     ax, [es:72h]
        mov     [results + 2], ax
"""
RESETS = {
    "port 64h": "mov al,0FEh\n out 64h,al\n hlt",
    "port 92h": "in al,92h\n or al,1\n out 92h,al\n hlt",
    "FFFF:0000": "jmp 0FFFFh:0",
    "INT 19h": "int 19h",
}


@pytest.mark.parametrize("how", RESETS)
def test_the_inter_application_area_lives_until_a_reset(how: str) -> None:
    box = make_box()
    assert run_source(box, f"{MARK} exit").word(0) == 0
    assert run_source(box, f"{MARK} exit").word(0) == 0x1234
    exit_ = run_source(box, RESETS[how].join(("main: ", ""))).exit
    assert (exit_.kind, exit_.how) == ("reset", how)
    box.boot(cold=False)
    ran = run_source(box, f"{MARK} exit")
    assert (ran.word(0), ran.word(1)) == (0, 0x1234)


def test_the_parents_stack_is_that_of_the_last_call_in_its_name() -> None:
    """A hook that makes calls with the parent's PSP moves the stack on which the parent goes on (PSP:2E)."""
    source = """
oldf0:  dw 0, 0
hook:   push    ax
        push    bx
        push    es
        mov     ah, 51h
        int     21h
        push    bx
        mov     bx, cs
        mov     ah, 50h
        int     21h
        mov     ah, 54h
        int     21h
        mov     [cs:results], sp
        pop     bx
        mov     ah, 50h
        int     21h
        pop     es
        pop     bx
        pop     ax
        iret
main:   shrink
        mov     [block + 4], cs
        set_vector 0F0h, hook
        mov     bx, block
        mov     dx, name
        mov     ax, 4B00h
        int     21h
        mov     [cs:results + 2], sp
        mov     [cs:results + 4], ss
        mov     [cs:results + 6], cs
        mov     ax, 4C00h
        push    cs
        pop     ss
        mov     sp, 1000h
        int     21h
name:   db "CHILD.COM", 0
block:  dw 0, tail, 0, 0FFFFh, 0FFFFh, 0FFFFh, 0FFFFh
tail:   db 0, 13
"""
    ran = run_source(make_box(CHILD="main: int 0F0h\n exit"), source)
    assert ran.word(2) != ran.word(3)  # the child's stack segment, where the hook ran
    assert ran.word(1) == ran.word(0)


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("main: cli\n hlt", "HLT with interrupts off"),
        ("main: jmp 0B800h:0", "where there is no program"),
        ("main: jmp 0:0", "where there is no program"),
        ("main: int 60h", "vector is 0000:0000"),
        ("main: mov ah,65h\n int 21h", "AH=65h is not imitated"),
        ("main: jmp $", "does not end"),
        ("main: mov ax,7000h\n push ax\n xor ax,ax\n push ax\n retf", "all zeros"),
    ],
)
def test_what_a_real_machine_would_not_survive_is_an_error(source: str, words: str) -> None:
    box = make_box(XT)
    box.most_seconds = 3
    with pytest.raises(BoxError, match=words):
        run_source(box, source)


def test_a_run_after_a_failed_one_needs_a_boot_and_gets_it() -> None:
    box: Box = make_box()
    with pytest.raises(BoxError):
        run_source(box, "main: cli\n hlt")
    box.boot()
    assert run_source(box, "main: exit 3").exit.code == 3


def test_with_break_on_any_call_sees_ctrl_c() -> None:
    """Measured on one real kernel, where BREAK is ON by default: INT 23h also during 07h."""
    busy = "main: mov ah,19h\n int 21h\n jmp main"
    for on in (False, True):
        box = make_box(replace(AT, break_on=on))
        box.most_seconds = 2
        box.type_at(0.5, "\x03")
        if on:
            assert run_source(box, busy).exit.kind == "break"
        else:
            with pytest.raises(BoxError, match="does not end"):
                run_source(box, busy)


def test_a_function_that_is_not_there_can_be_an_error_code() -> None:
    box = make_box()
    box.on.dos.strict = False
    assert run_source(box, "main: mov ah,65h\n int 21h\n mov [results],ax\n exit").word(0) == 1
