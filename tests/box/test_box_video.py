"""The text display: modes and their rows, what graphics does to the text, scrolling, fonts."""

from __future__ import annotations

from dataclasses import replace

import pytest

from readoff.box import AT, LATE, XT, MachineSpec
from readoff.contract import cp437
from support.box_programs import make_box, run_source

MDA = replace(XT, display="mda")


def test_the_screen_shows_what_was_printed() -> None:
    box = make_box()
    run_source(box, "main: mov dx,t\n mov ah,9\n int 21h\n exit\nt: db 'one',13,10,'two $'")
    rows = box.screen_rows()
    assert (len(rows), len(rows[0])) == (25, 80)
    assert [row.rstrip() for row in rows[:3]] == ["one", "two", ""]


def test_every_code_shows_its_glyph() -> None:
    """The glyphs of code page 437, also for 00h-1Fh and 7Fh (table in readoff.contract.cp437)."""
    source = (
        "main: mov ax,0B800h\n mov es,ax\n xor di,di\n xor al,al\n mov ah,7\n.n: stosw\n"
        " inc al\n jnz .n\n exit"
    )
    box = make_box()
    run_source(box, source)
    assert "".join(box.screen_rows())[:256] == cp437.glyphs(bytes(range(256)))


def test_the_last_line_scrolls_and_keeps_its_attribute() -> None:
    box = make_box()
    lines = (
        "main: mov cx,30\n.n: mov al,'a'\n add al,cl\n int 29h\n mov al,13\n int 29h\n"
        " mov al,10\n int 29h\n loop .n\n exit"
    )
    run_source(box, lines)
    rows = [row.strip() for row in box.screen_rows()]
    assert rows[23] == "b"
    assert rows[24] == ""
    assert rows[0] == chr(ord("a") + 24)


SET = "mov ax,{}\n int 10h\n"
TELL = """
        mov     ax, 40h
        mov     es, ax
        mov     si, 49h
        xor     di, di
.n:     mov     al, [es:si]
        mov     [results + di], al
        inc     si
        inc     di
        cmp     di, 80
        jb      .n
        mov     ah, 0Fh
        int     10h
        mov     [results + 80], ax
        exit
"""


@pytest.mark.parametrize(
    ("spec", "mode", "columns", "crtc"),
    [
        (AT, 3, 80, 0x3D4),
        (AT, 1, 40, 0x3D4),
        (XT, 3, 80, 0x3D4),
        (MDA, 7, 80, 0x3B4),
        (LATE, 0x13, 40, 0x3D4),
        (XT, 6, 80, 0x3D4),
    ],
)
def test_the_bios_data_area_by_mode(spec: MachineSpec, mode: int, columns: int, crtc: int) -> None:
    """40:49 mode, 4A columns, 4C page size, 4E page start, 63 CRTC port (BIOS data area as in any PC BIOS manual)."""
    ran = run_source(make_box(spec), "main: " + SET.format(mode) + TELL)
    area = ran.results
    assert area[0] == mode
    assert area[1] | area[2] << 8 == columns
    assert area[5] | area[6] << 8 == 0
    assert area[0x63 - 0x49] | area[0x64 - 0x49] << 8 == crtc
    assert (ran.word(40) & 0x7F, ran.word(40) >> 8) == (mode, columns)


@pytest.mark.parametrize(("spec", "rows"), [(LATE, 50), (AT, 43)], ids=["vga", "ega"])
def test_small_letters_give_more_rows(spec: MachineSpec, rows: int) -> None:
    """After 1112h 40:84 is 31h on a VGA, and the page is 2000h long (measured on a VGA BIOS)."""
    box = make_box(spec)
    ran = run_source(box, "main: " + SET.format("1112h") + TELL)
    assert ran.results[0x84 - 0x49] == rows - 1
    assert len(box.screen_rows()) == rows
    if rows == 50:
        assert ran.results[0x84 - 0x49] == 0x31
        assert ran.results[3] | ran.results[4] << 8 == 0x2000
    run_source(box, "main: " + SET.format(3) + TELL)
    assert len(box.screen_rows()) == 25


READ_B800 = " mov bx,0B800h\n mov es,bx\n mov ax,[es:0]\n mov [results],ax\n"


@pytest.mark.parametrize("mode", ["0Dh", "12h", "13h"])
def test_text_memory_reads_ff_in_graphics_modes(mode: str) -> None:
    box = make_box(LATE)
    ran = run_source(box, "main: mov al,'x'\n int 29h\n" + SET.format(mode) + READ_B800 + " exit")
    assert ran.word(0) == 0xFFFF
    assert box.screen_rows() == []


@pytest.mark.parametrize(("back", "expected"), [("3", 0x0720), ("83h", 0x0000)])
def test_coming_back_from_graphics(back: str, expected: int) -> None:
    """13h then 03h gives blanks, 13h then 83h zeros (measured)."""
    source = "main: mov al,'x'\n int 29h\n" + SET.format("13h") + SET.format(back) + READ_B800 + " exit"
    assert run_source(make_box(LATE), source).word(0) == expected


def test_a_hook_sees_the_text_before_the_mode_change() -> None:
    source = f"""
old10:  dw 0, 0
hook10: test    ah, ah
        jnz     .pass
        push    ax
        push    bx
        push    es
        mov     bx, 0B800h
        mov     es, bx
        mov     ax, [es:0]
        mov     [cs:results], ax
        pop     es
        pop     bx
        pop     ax
.pass:  jmp     far [cs:old10]
main:   mov     al, 'x'
        int     29h
        get_vector 10h, old10
        set_vector 10h, hook10
        {SET.format("13h")}
        exit
"""
    box = make_box(LATE)
    assert run_source(box, source).word(0) == 0x0778
    assert box.on.video.mode_changes == [0x13]


def test_83h_keeps_the_text() -> None:
    box = make_box()
    run_source(box, "main: mov al,'x'\n int 29h\n" + SET.format("83h") + "exit")
    assert box.screen_rows()[0].startswith("x")


def test_pages() -> None:
    source = """
main:   mov     ax, 0501h
        int     10h
        mov     al, 'p'
        int     29h
        exit
"""
    box = make_box()
    run_source(box, source)
    assert box.screen_rows()[0].startswith("p")
    assert box.on.engine.memory.word(0x44E) == 0x1000
    assert box.on.engine.memory.octets[0xB8000] == 0x20


def test_windows_scroll_alone() -> None:
    source = """
main:   mov     cx, 3
.n:     mov     al, '0'
        add     al, cl
        int     29h
        mov     al, 13
        int     29h
        mov     al, 10
        int     29h
        loop    .n
        mov     ax, 0601h
        mov     bh, 1Eh
        mov     cx, 0
        mov     dx, 0100h
        int     10h
        mov     ah, 2
        mov     bh, 0
        mov     dx, 0505h
        int     10h
        mov     ax, 0958h
        mov     bx, 4Fh
        mov     cx, 3
        int     10h
        mov     ah, 8
        int     10h
        mov     [results], ax
        mov     ah, 3
        int     10h
        mov     [results + 2], dx
        exit
"""
    box = make_box()
    ran = run_source(box, source)
    rows = [row.rstrip() for row in box.screen_rows()]
    assert rows[:3] == ["2", "", "1"]
    assert rows[5] == "     XXX"
    assert (ran.word(0), ran.word(1)) == (0x4F58, 0x0505)
    assert box.on.engine.memory.octets[0xB8000 + 161] == 0x1E


@pytest.mark.parametrize(
    ("spec", "al", "code", "memory"),
    [(LATE, 0x1A, 0x08, 3), (AT, 0x00, None, 3), (XT, 0x00, None, None), (MDA, 0x00, None, None)],
)
def test_adapters_can_be_told_apart(spec: MachineSpec, al: int, code: int | None, memory: int | None) -> None:
    """INT 10h AX=1A00h: AL=1Ah and BL=08 on a colour VGA; AH=12h BL=10h answers from the EGA on."""
    source = (
        "main: mov ax,1A00h\n mov bx,0FFFFh\n int 10h\n mov [results],al\n"
        " mov [results+2],bx\n mov ah,12h\n mov bx,0FF10h\n int 10h\n mov [results+4],bx\n"
        " int 11h\n mov [results+6],ax\n exit"
    )
    ran = run_source(make_box(spec), source)
    assert ran.results[0] == al
    if code is not None:
        assert ran.results[2] == code
    assert (ran.results[4] == memory) if memory is not None else (ran.results[4] == 0x10)
    display = {"mda": 3, "cga": 2}.get(spec.display, 0)
    assert ran.word(3) >> 4 & 3 == display


def test_mono_text_lies_at_b000() -> None:
    box = make_box(MDA)
    run_source(box, "main: mov al,'m'\n int 29h\n exit")
    assert box.on.engine.memory.octets[0xB0000] == ord("m")
    assert box.screen_rows()[0].startswith("m")


def test_retrace_bits_change() -> None:
    source = (
        "main: mov dx,3DAh\n mov cx,20000\n.n: in al,dx\n mov bl,al\n and bx,9\n"
        " mov byte [results+bx],1\n loop .n\n exit"
    )
    ran = run_source(make_box(XT), source)
    assert ran.results[0]
    assert ran.results[1]
    assert ran.results[9]
