"""What a tee meets on a real DOS: nested calls, small stacks, InDOS.

Source: measured with small programs on two real kernels (FreeDOS kernel 2040, DOS 4.00 from its published source).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from readoff.box import AT, XT
from readoff.errors import BoxError
from support.box_programs import make_box, run_source

# Counts calls of INT 10h/0Eh (results 0), INT 29h (1), keeps the least free stack and flags seen in INT 10h.
COUNTERS = """
old10:  dw 0, 0
old29:  dw 0, 0
hook10: cmp     ah, 0Eh
        jne     .pass
        inc     word [cs:results]
        mov     [cs:results + 4], sp
        mov     [cs:results + 6], ss
        pushf
        pop     word [cs:results + 8]
        mov     [cs:results + 12], bx
        push    ds
        push    bx
        lds     bx, [cs:indos]
        mov     bl, [bx]
        mov     [cs:results + 10], bl
        pop     bx
        pop     ds
.pass:  jmp     far [cs:old10]
hook29: inc     word [cs:results + 2]
        jmp     far [cs:old29]
indos:  dw 0, 0
main:
        mov     ah, 34h
        int     21h
        mov     [indos], bx
        mov     [indos + 2], es
        push    cs
        pop     es
        get_vector 10h, old10
        get_vector 29h, old29
        set_vector 10h, hook10
        set_vector 29h, hook29
        call    say
        push    ax
        lds     dx, [cs:old10]
        mov     ax, 2510h
        int     21h
        lds     dx, [cs:old29]
        mov     ax, 2529h
        int     21h
        push    cs
        pop     ds
        pop     word [results + 20]
        exit
text:   db "abcd$"
"""
SAY = {
    "02": "say: mov cx,4\n.n: mov dl,'x'\n mov ah,2\n int 21h\n loop .n\n ret",
    "06": "say: mov cx,4\n.n: mov dl,'x'\n mov ah,6\n int 21h\n loop .n\n ret",
    "09": "say: mov dx,text\n mov ah,9\n int 21h\n ret",
    "40": "say: mov dx,text\n mov cx,4\n mov bx,1\n mov ah,40h\n int 21h\n ret",
    "29": "say: mov cx,4\n.n: mov al,'x'\n int 29h\n loop .n\n ret",
}


@pytest.mark.parametrize("way", SAY)
def test_each_character_passes_int_29h_and_int_10h(way: str) -> None:
    ran = run_source(make_box(), COUNTERS + SAY[way])
    assert (ran.word(0), ran.word(1)) == (4, 4)
    assert ran.word(6) == 0x0007  # BX at INT 10h
    assert len(ran.exit.console) == 4


@pytest.mark.parametrize("way", ["02", "06", "09", "40"])
def test_hooks_in_dos_find_little_stack_no_interrupts_and_indos(way: str) -> None:
    box = make_box()
    ran = run_source(box, COUNTERS + SAY[way])
    at = box.on.dos.kernel.at
    assert ran.word(3) == 0x0070  # on the kernel's own stack
    tops = [box.on.engine.memory.word(0x700 + stack) for stack in (at.io_stack, at.disk_stack)]
    top = min(t for t in tops if t > ran.word(2))
    left = ran.word(2) - (top - 384)
    assert 100 <= left <= 160  # about 134 octets were measured
    assert ran.word(4) & 0x0200 == 0
    assert ran.results[10] == 1


def test_a_naive_tee_doubles() -> None:
    source = """
old10:  dw 0, 0
old21:  dw 0, 0
tee:    push    bx
        mov     bx, [cs:results]
        mov     [cs:results + bx + 2], al
        inc     word [cs:results]
        pop     bx
        ret
hook10: cmp     ah, 0Eh
        jne     .pass
        call    tee
.pass:  jmp     far [cs:old10]
hook21: cmp     ah, 02h
        jne     .pass
        push    ax
        mov     al, dl
        call    tee
        pop     ax
.pass:  jmp     far [cs:old21]
main:
        get_vector 10h, old10
        get_vector 21h, old21
        set_vector 10h, hook10
        set_vector 21h, hook21
        mov     ah, 2
        mov     dl, '7'
        int     21h
        exit
"""
    ran = run_source(make_box(), source)
    assert ran.word(0) == 2
    assert ran.results[2:4] == b"77"
    assert ran.exit.console == b"7"


def test_redirected_output_makes_no_calls() -> None:
    box = make_box(T=COUNTERS + SAY["40"])
    box.command("T > OUT.TXT")
    assert box.drive("C").read("OUT.TXT") == b"abcd"
    ended = next(e for e in box.ended if e.name.endswith("T.COM"))
    assert box.on.engine.memory.word((ended.psp << 4) + 0x103) == 0


WRITES_A_FILE = """
old10:  dw 0, 0
name:   db "HOOK.OUT", 0
busy:   db 0
hook10: cmp     ah, 0Eh
        jne     .pass
        cmp     byte [cs:busy], 0
        jne     .pass
        mov     byte [cs:busy], 1
        push    ax
        push    bx
        push    cx
        push    dx
        push    ds
        push    cs
        pop     ds
        mov     dx, name
        xor     cx, cx
        mov     ah, 3Ch
        int     21h
        mov     bx, ax
        mov     ah, 3Eh
        int     21h
        pop     ds
        pop     dx
        pop     cx
        pop     bx
        pop     ax
.pass:  jmp     far [cs:old10]
main:
        get_vector 10h, old10
        set_vector 10h, hook10
        call    say
        lds     dx, [cs:old10]
        mov     ax, 2510h
        int     21h
        exit
text:   db "abcd"
"""


def test_file_work_inside_a_write_to_con_fails_loudly() -> None:
    """With InDOS = 1 inside AH=40h this hung both real kernels."""
    with pytest.raises(BoxError, match=r"AH=3Ch was called while DOS was inside another call .*InDOS = 1"):
        run_source(make_box(), WRITES_A_FILE + SAY["40"])


def test_file_work_with_indos_0_is_safe() -> None:
    box = make_box()
    say = "say: mov ax,0E41h\n mov bx,7\n int 10h\n ret"
    assert run_source(box, WRITES_A_FILE + say).exit.kind == "ended"
    assert "HOOK.OUT" in box.drive("C").list()


def test_a_hook_that_uses_too_much_of_dos_stack_is_caught() -> None:
    source = """
old10:  dw 0, 0
hook10: mov     [cs:keep], cx
        mov     cx, 80
.push:  push    cx
        loop    .push
        add     sp, 160
        mov     cx, [cs:keep]
        jmp     far [cs:old10]
keep:   dw 0
main:   get_vector 10h, old10
        set_vector 10h, hook10
        mov     ah, 2
        mov     dl, 'x'
        int     21h
        int     21h
        exit
"""
    with pytest.raises(BoxError, match="DOS stack of 384 octets"):
        run_source(make_box(), source)


def test_tabs_and_the_end_mark() -> None:
    """TAB: expanded by 02, 09 and cooked 40h, raw by 06 and raw 40h. 40h to CON stops at 1Ah; AL = 24h after 09."""
    box = make_box()

    def shown(body: str) -> bytes:
        return run_source(box, f"main: {body}\n exit\ntab: db 'a',9,'b$'\nend: db 'ab',1Ah,'cd'").exit.console

    newline = "mov dl,13\n mov ah,6\n int 21h\n"
    for put in ("mov ah,2\n mov dl,'a'\n int 21h\n mov dl,9\n int 21h", "mov dx,tab\n mov ah,9\n int 21h"):
        assert shown(put).count(b" ") == 7
        shown(newline)
        box.boot(1)
    assert shown("mov ah,6\n mov dl,9\n int 21h") == b"\t"
    ran = run_source(
        box,
        "main: mov bx,1\n mov cx,5\n mov dx,end\n mov ah,40h\n int 21h\n mov [results],ax\n"
        " exit\nend: db 'ab',1Ah,'cd'",
    )
    assert (ran.exit.console, ran.word(0)) == (b"ab", 2)
    ran = run_source(box, "main: mov dx,t\n mov ax,0900h\n int 21h\n mov [results],ax\n exit\nt: db 'q$'")
    assert ran.word(0) & 0xFF == 0x24
    raw = "mov ax,4400h\n mov bx,1\n int 21h\n or dl,20h\n mov dh,0\n mov ax,4401h\n int 21h\n"
    assert shown(raw + "mov bx,1\n mov cx,3\n mov dx,tab\n mov ah,40h\n int 21h") == b"a\tb"


def test_a_direct_int_29h_is_one_teletype_call() -> None:
    ran = run_source(make_box(XT), COUNTERS + SAY["29"])
    assert (ran.word(0), ran.exit.console) == (4, b"xxxx")


def test_aux_goes_out_of_com1() -> None:
    """AH=04h and handle 3 go to the UART of COM1, which real DOS leaves at 2400 baud and MCR 08h."""
    box = make_box(replace(AT, uart="8250"))
    uart = box.line(1).uart
    assert (uart.divisor, uart.mcr) == (0x0030, 0x08)
    box.line(1).connect()
    source = """
main:   mov     ah, 4
        mov     dl, 'A'
        int     21h
        mov     bx, 3
        mov     cx, 2
        mov     dx, text
        mov     ah, 40h
        int     21h
        mov     [results], ax
        exit
text:   db "UX"
"""
    ran = run_source(box, source)
    box.on.engine.advance(10**12)
    uart.run_due()
    assert box.line(1).take() == b"AUX"
    assert (ran.word(0), ran.exit.console) == (2, b"")
    # Three characters of 10 bits at 2400 baud; the first leaves the holding register at once.
    assert ran.exit.seconds > 10 / 2400


def test_aux_is_read_from_com1() -> None:
    box = make_box()
    box.line(1).connect()
    box.line(1).host_wrote(b"Z")
    ran = run_source(box, "main: mov ah,3\n int 21h\n mov [results],al\n exit")
    assert ran.results[0] == ord("Z")
