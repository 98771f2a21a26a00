"""Key waits: polls by the vectors, INT 28h in between, typed keys.

Source: measured with small programs on two real kernels (FreeDOS kernel 2040, DOS 4.00 from its published source).
"""

from __future__ import annotations

import pytest

from readoff.box import AT, XT, MachineSpec
from readoff.box.keyboard import keys_of
from readoff.errors import UsageError
from support.box_programs import make_box, run_source

# Counts INT 16h by AH (results + 2 * AH) and INT 28h (results + 80).
COUNT_POLLS = """
old16:  dw 0, 0
hook16: push    bx
        mov     bl, ah
        mov     bh, 0
        shl     bx, 1
        inc     word [cs:results + bx]
        pop     bx
        jmp     far [cs:old16]
hook28: inc     word [cs:results + 80]
        iret
main:   get_vector 16h, old16
        set_vector 16h, hook16
        set_vector 28h, hook28
        call    wait_key
        lds     dx, [cs:old16]
        mov     ax, 2516h
        int     21h
        exit
"""
FROM_HANDLE_0 = (
    "wait_key: mov bx,0\n mov cx,80\n mov dx,results+100\n mov ah,3Fh\n int 21h\n mov [results+90],ax\n ret"
)


@pytest.mark.parametrize(
    ("spec", "poll", "take"), [(AT, 0x11, 0x10), (XT, 0x01, 0x00)], ids=["101 keys", "83 keys"]
)
def test_con_waits_by_polling(spec: MachineSpec, poll: int, take: int) -> None:
    ran = run_source(make_box(spec), COUNT_POLLS + "wait_key: mov ah,7\n int 21h\n ret", keys="k")
    assert ran.word(poll) >= 40
    assert ran.word(take) == 1
    assert ran.word(40) >= 39  # INT 28h between the polls


def test_reading_handle_0_makes_no_int_28h() -> None:
    ran = run_source(make_box(), COUNT_POLLS + FROM_HANDLE_0, keys="ab\b!\r")
    assert ran.word(40) == 0
    assert ran.word(45) == 4
    assert ran.results[100:104] == b"a!\r\n"


def test_polls_a_second_are_of_the_measured_order() -> None:
    """About 12,000 a second were measured on an emulated PC; a slow machine makes fewer."""
    box = make_box()
    box.type_at(0.5, "k")
    before = box.on.keyboard.polls
    run_source(box, "main: mov ah,7\n int 21h\n exit")
    assert 500 < (box.on.keyboard.polls - before) * 2 < 200_000


def test_buffered_input_and_echo() -> None:
    source = """
main:   mov     dx, results
        mov     byte [results], 10
        mov     ah, 0Ah
        int     21h
        exit
"""
    ran = run_source(make_box(), source, keys="12{UP}3\b4\r")
    assert ran.results[1] == 3
    assert ran.results[2:6] == b"124\r"
    assert ran.exit.console == b"123\b \b4\r"


def test_input_functions() -> None:
    source = """
main:   mov     ah, 0Bh
        int     21h
        mov     [results], al           ; 0
        mov     ah, 6
        mov     dl, 0FFh
        int     21h
        lahf
        mov     [results + 1], ah       ; ZF
        mov     ah, 1
        int     21h
        mov     [results + 2], al
        mov     ah, 8
        int     21h
        mov     [results + 3], al       ; 0 of an extended key
        mov     ah, 8
        int     21h
        mov     [results + 4], al       ; its scan code
        mov     ax, 0C07h
        int     21h
        mov     [results + 5], al
        exit
"""
    ran = run_source(make_box(), source, keys="a{UP}z")
    assert ran.results[0] == 0
    assert ran.results[1] & 0x40
    assert ran.results[2:6] == b"a\x00\x48z"
    assert ran.exit.console == b"a"


def test_the_bios_gives_extended_keys_by_the_kind_of_call() -> None:
    source = "main: mov ah,{0}\n int 16h\n mov [results],ax\n exit"
    assert run_source(make_box(), source.format("10h"), keys="{UP}").word(0) == 0x48E0
    assert run_source(make_box(), source.format("0"), keys="{UP}").word(0) == 0x4800


def test_keys_come_through_int_9_and_port_60h() -> None:
    source = """
old9:   dw 0, 0
hook9:  push    ax
        in      al, 60h
        mov     [cs:results], al
        pop     ax
        jmp     far [cs:old9]
main:   get_vector 9, old9
        set_vector 9, hook9
        mov     ah, 0
        int     16h
        mov     [results + 2], ax
        lds     dx, [cs:old9]
        mov     ax, 2509h
        int     21h
        exit
"""
    ran = run_source(make_box(), source, keys="q")
    assert ran.results[0] == 0x10
    assert ran.word(1) == 0x1071


def test_keys_that_do_not_exist_are_refused() -> None:
    with pytest.raises(UsageError, match="no key gives"):
        keys_of("\u20ac")
    assert keys_of("a{BREAK}{") == [(0x1E, 0x61), (0x46, 0), (0x1A, 0x7B)]


def test_the_buffer_holds_15_keys() -> None:
    source = """
main:   mov     cx, 16
.store: push    cx
        mov     ah, 5
        mov     cx, 1E61h
        int     16h
        pop     cx
        add     [results], al
        loop    .store
        exit
"""
    assert run_source(make_box(), source).word(0) == 1
