"""Older processors played on a newer one, as detection code sees them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from readoff.box import AT, LATE, XT, MachineSpec, Processor
from readoff.errors import BoxError
from support.box_programs import assemble, make_box, run_source

# FLAGS with bits 15-12 cleared, then set, as PUSHF stores them (results 0, 1), and as INT stores them (2).
FLAGS = """
hook:   push    bp
        mov     bp, sp
        mov     ax, [bp + 6]
        pop     bp
        iret
main:   pushf
        pop     ax
        and     ax, 0FFFh
        push    ax
        popf
        pushf
        pop     word [results]
        pushf
        pop     ax
        or      ax, 0F000h
        push    ax
        popf
        pushf
        pop     word [results + 2]
        set_vector 0F0h, hook
        int     0F0h
        mov     [results + 4], ax
        mov     ax, sp
        push    sp
        pop     bx
        sub     ax, bx
        mov     [results + 6], ax
        exit
"""
EXTENDED = """
main:   pushfd
        pop     eax
        mov     ecx, eax
        xor     eax, 240000h
        push    eax
        popfd
        pushfd
        pop     eax
        xor     eax, ecx
        mov     [results], eax
        push    ecx
        popfd
        exit
"""
I386 = replace(AT, processor=Processor.I80386)
I486 = replace(AT, processor=Processor.I80486)


@pytest.mark.parametrize(
    ("spec", "cleared", "set_", "push_sp"),
    [(XT, 0xF, 0xF, 2), (AT, 0x0, 0x0, 0), (I386, 0x0, 0x7, 0), (LATE, 0x0, 0x7, 0)],
    ids=["8086", "80286", "80386", "80486"],
)
def test_the_high_bits_of_flags(spec: MachineSpec, cleared: int, set_: int, push_sp: int) -> None:
    """Bits 15-12 stuck at ones: 8086; at 0: 286. PUSH SP is the new SP on an 8086 (Intel manuals)."""
    ran = run_source(make_box(spec), FLAGS)
    assert (ran.word(0) >> 12, ran.word(1) >> 12) == (cleared, set_)
    assert ran.word(2) >> 12 == set_
    assert ran.word(3) == push_sp


@pytest.mark.parametrize(
    ("spec", "toggles"), [(I386, 0), (I486, 0x40000), (LATE, 0x240000)], ids=["386", "486", "486 with CPUID"]
)
def test_ac_and_id(spec: MachineSpec, toggles: int) -> None:
    """AC (bit 18) toggles from the 486 on, ID (bit 21) where CPUID is (Intel AP-485)."""
    ran = run_source(make_box(spec), EXTENDED, cpu="386")
    assert int.from_bytes(ran.results[:4], "little") == toggles


CPUID = (
    "main: mov eax,{}\n cpuid\n mov [results],eax\n mov [results+4],ebx\n"
    " mov [results+8],edx\n mov [results+12],ecx\n exit"
)


def test_cpuid_says_what_the_machine_says() -> None:
    ran = run_source(make_box(LATE), CPUID.format(0), cpu="586")
    assert ran.results[4:16] == b"BoxProcessor"
    assert run_source(make_box(LATE), CPUID.format(1), cpu="586").word(0) == 0x0480


def test_cpuid_where_there_is_none_is_an_error() -> None:
    with pytest.raises(BoxError, match="CPUID"):
        run_source(make_box(I486), CPUID.format(0), cpu="586")


@pytest.mark.parametrize(
    ("line", "cpu"),
    [
        ("shl ax,4", "186"),
        ("push word 5", "186"),
        ("movzx ax,bl", "386"),
        ("mov ax,fs", "386"),
        ("pusha", "186"),
    ],
)
def test_an_instruction_that_an_8086_lacks_is_found_when_it_runs(line: str, cpu: str) -> None:
    box = make_box(XT)
    box.on.processor.check_each_instruction()
    with pytest.raises(BoxError, match="an 8086 does not have"):
        run_source(box, f"main: {line}\n exit", cpu=cpu)


def test_plain_code_passes_that_check() -> None:
    box = make_box(XT)
    box.on.processor.check_each_instruction()
    ran = run_source(
        box, "main: mov dx,t\n mov ah,9\n int 21h\n mov ax,es\n mov cx,0\n rep movsb\n exit 2\nt: db 'fine$'"
    )
    assert (ran.exit.console, ran.exit.code) == (b"fine", 2)


@pytest.mark.parametrize(
    ("spec", "division", "skipped"),
    [
        (XT, "div bx", 2),
        (XT, "idiv word [si + 5]", 3),
        (XT, "div byte [zero]", 4),
        (XT, "div byte [es:bp + 200h]", 5),
        (AT, "div bx", 0),
    ],
)
def test_where_a_divide_error_points(spec: MachineSpec, division: str, skipped: int) -> None:
    """An 8086 pushes the address behind the division, later ones that of the division (Intel's manuals)."""
    source = """
hook:   push    bp
        mov     bp, sp
        mov     ax, [bp + 2]
        sub     ax, division
        mov     [cs:results], ax
        mov     word [bp + 2], behind
        pop     bp
        iret
main:   set_vector 0, hook
        xor     bx, bx
        mov     si, zero - 5
        mov     bp, zero - 200h
division:
        {division}
behind: exit 6
zero:   dw      0
"""
    ran = run_source(make_box(spec), source.replace("{division}", division))
    assert (ran.exit.code, ran.word(0)) == (6, skipped)


def test_code_written_at_run_time_and_code_loaded_over_is_seen() -> None:
    source = """
main:   call    patch
        mov     byte [patch + 1], 9
        call    patch
        mov     [results], al
        exit
patch:  mov     al, 5
        ret
"""
    box = make_box()
    assert run_source(box, source).results[0] == 9
    for code in (1, 2, 3):
        assert run_source(box, f"main: exit {code}").exit.code == code


def test_an_overlay_read_over_code_is_seen() -> None:
    box = make_box()
    box.drive("C").write("OVL.BIN", bytes.fromhex("B007C3"))
    source = """
main:   call    place
        mov     dx, name
        mov     ax, 3D00h
        int     21h
        mov     bx, ax
        mov     cx, 3
        mov     dx, place
        mov     ah, 3Fh
        int     21h
        call    place
        mov     [results], al
        exit
place:  mov     al, 1
        ret
name:   db      "OVL.BIN", 0
"""
    assert run_source(box, source).results[0] == 7


def test_a_fetch_beyond_the_segment_wraps_and_a20_is_off() -> None:
    source = """
main:   mov     ax, 0FFFFh
        mov     es, ax
        mov     al, [es:10h + 400h]
        xor     bx, bx
        mov     ds, bx
        cmp     al, [400h]
        mov     ax, cs
        mov     ds, ax
        lahf
        mov     [results], ah
        exit
"""
    assert run_source(make_box(), source).results[0] & 0x40


def test_memory_as_the_bios_tells_it() -> None:
    source = (
        "main: mov ah,88h\n int 15h\n mov [results],ax\n sbb ax,ax\n mov [results+2],ax\n"
        " mov ax,0E801h\n int 15h\n mov [results+4],ax\n mov [results+6],bx\n sbb ax,ax\n"
        " mov [results+8],ax\n exit"
    )
    ran = run_source(make_box(replace(LATE, extended_kb=20 * 1024)), source)
    assert [ran.word(i) for i in range(5)] == [20480, 0, 0x3C00, (20480 - 0x3C00) // 64, 0]
    ran = run_source(make_box(XT), source)
    assert (ran.word(1), ran.word(4)) == (0xFFFF, 0xFFFF)
    ran = run_source(make_box(AT), source)
    assert (ran.word(0), ran.word(1), ran.word(4)) == (1024, 0, 0xFFFF)


def test_int_2fh_finds_no_windows_and_no_xms() -> None:
    source = (
        "main: mov ax,1600h\n int 2Fh\n mov [results],al\n mov ax,4300h\n int 2Fh\n"
        " mov [results+1],al\n mov ax,0B101h\n int 1Ah\n sbb ax,ax\n mov [results+2],ax\n exit"
    )
    ran = run_source(make_box(LATE), source)
    assert ran.results[0] in (0x00, 0x80)
    assert ran.results[1] != 0x80
    assert ran.word(1) == 0xFFFF


def test_counting_instructions() -> None:
    box = make_box()
    loop = "main: mov cx,{}\n.l: loop .l\n exit"
    counts = []
    for n in (100, 1100):
        with box.counting() as count:
            run_source(box, loop.format(n))
            counts.append(count())
    assert counts[1] - counts[0] == 1000


@pytest.mark.parametrize("fpu", [True, False])
def test_an_fpu_answers_only_where_there_is_one(fpu: bool) -> None:
    """FNINIT, then FNSTSW into a word that is not zero: it stays without an FPU (Intel's detection sequence)."""
    source = """
main:   mov     word [results], 5A5Ah
        fninit
        fnstsw  [results]
        es fld  dword [bx + si + 1234h]
        fwait
        int     11h
        mov     [results + 2], ax
        exit    5
"""
    ran = run_source(make_box(replace(AT, fpu=fpu)), source)
    assert (ran.word(0), ran.exit.code) == (0 if fpu else 0x5A5A, 5)
    assert bool(ran.word(1) & 2) is fpu


def test_octets_that_are_no_instruction_are_an_error() -> None:
    with pytest.raises(BoxError, match="no instruction"):
        run_source(make_box(), "main: db 0Fh, 0FFh\n exit")


def test_counting_between_two_places() -> None:
    box = make_box()
    psp = box.on.dos.blocks.largest()
    source = "main: mov cx,3\n.l: call sub\n loop .l\n exit\nsub: nop\n nop\n nop\n ret"
    box.drive("C").write("T.COM", assemble(source))
    box.run("C:\\T.COM")
    start = box.ended[-1].psp << 4
    body = assemble(source)
    routine = start + 0x100 + body.rindex(b"\x90\x90\x90\xc3")
    with box.counting_between(routine, routine + 3) as counts:
        box.run("C:\\T.COM")
    assert counts == [3, 3, 3]
    assert psp == box.on.dos.blocks.largest()
