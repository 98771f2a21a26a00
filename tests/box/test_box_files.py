"""Files: the calls, what a power cut leaves, full and failing disks, searching."""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.box import AT, Box, Drive
from readoff.box.dos_paths import matches, pattern_of
from readoff.box.drives import READ_ONLY
from readoff.contract.dos_time import to_dos
from readoff.errors import BoxError, UsageError
from support.box_programs import make_box, run_source

# Creates A.DAT, writes results[2] octets a call results[4] times, keeps AX and CF of the last in 0 and 1.
WRITER = """
main:   mov     dx, name
        xor     cx, cx
        mov     ah, 3Ch
        int     21h
        jc      .done
        mov     bx, ax
        mov     di, {calls}
.next:  mov     cx, {count}
        mov     dx, main
        mov     ah, 40h
        int     21h
        jc      .done
        dec     di
        jnz     .next
{after}
.done:  mov     [results], ax
        sbb     ax, ax
        mov     [results + 2], ax
        {end}
name:   db      "A.DAT", 0
"""
CLOSE = " push ax\n mov ah,3Eh\n int 21h\n pop ax\n clc"
COMMIT = " push ax\n mov ah,68h\n int 21h\n pop ax"
DUP_CLOSE = " mov ah,45h\n int 21h\n mov bx,ax\n mov ah,3Eh\n int 21h"
WAIT = ".stay: jmp .stay"


def writer(calls: int = 1, count: int = 100, after: str = CLOSE, end: str = "exit") -> str:
    return WRITER.format(calls=calls, count=count, after=after, end=end)


def test_what_a_program_writes_is_on_the_drive() -> None:
    box = make_box()
    ran = run_source(box, writer(calls=3, count=1000))
    assert ran.word(0) == 1000
    assert len(box.drive("C").read("A.DAT")) == 3000


@pytest.mark.parametrize(("after", "survives"), [("", 0), (COMMIT, 100), (DUP_CLOSE, 100), (CLOSE, 100)])
def test_a_power_cut_takes_what_is_not_committed(after: str, survives: int) -> None:
    """As with DOS's folder entries: the size is written at close, commit (68h) or close of a duplicate."""
    box = make_box()
    box.drive("C").write("T.COM", b"")
    box.cut_power_at(0.5)
    ran = run_source(box, writer(after=after, end=WAIT))
    assert ran.exit.kind == "power cut"
    assert len(box.drive("C").read("A.DAT")) == survives
    box.boot()
    assert box.drive("C").free() > 0


def test_a_power_cut_at_an_exact_instruction_repeats_exactly() -> None:
    counts = []
    for n in (10, 400, 401, 2000):
        box = make_box()
        box.drive("C").write("T.COM", b"")
        box.cut_power_after(n)
        with box.counting() as count:
            assert run_source(box, writer(end=WAIT)).exit.kind == "power cut"
            counts.append(count())
    assert counts == [10, 400, 401, 2000]


def test_a_full_disk_comes_back_short() -> None:
    box = make_box()
    box.drive("C").room = 250
    ran = run_source(box, writer(calls=3))
    assert (ran.word(0), ran.word(1)) == (50, 0)
    assert len(box.drive("C").read("A.DAT")) == 250


def test_capacity_counts_in_clusters() -> None:
    drive = Drive(capacity=8192)
    drive.write("X", bytes(2049))
    assert drive.free() == 4096
    box = make_box()
    small = box.drive("C")
    used = small.capacity - small.free()
    small.capacity = used + 2048 * 2
    ran = run_source(box, writer(calls=2, count=3000))
    # T.COM itself takes one of the two clusters.
    assert ran.word(0) == 0 or ran.word(0) < 3000
    assert len(small.read("A.DAT")) == 2048


HOOK_24 = """
hook24: mov     [cs:results + 10], ax
        mov     [cs:results + 12], di
        inc     word [cs:results + 14]
        mov     al, {answer}
        iret
{source}
"""


def failing(answer: int, **kwargs: int) -> str:
    source = writer(**kwargs).replace("main:   ", "main: set_vector 24h, hook24\n", 1)
    return HOOK_24.format(answer=answer, source=source)


def test_write_protection_asks_int_24h_and_fail_is_access_denied() -> None:
    box = make_box()
    box.drive("C").write("T.COM", b"")
    source = failing(3)
    run_source(box, source)  # puts the program there
    box.drive("C").write_protected = True
    exit_ = box.run("C:\\T.COM")
    assert exit_.kind == "ended"
    memory = box.on.engine.memory.read(box.ended[-1].psp, 0x103, 16)
    words = memoryview(memory).cast("H").tolist()
    assert words[0:2] == [5, 0xFFFF]
    assert (words[5], words[6], words[7]) == (0x3F02, 0, 1)  # disk, write, drive C:, DI = 0


def test_retry_makes_the_write_again() -> None:
    box = make_box()
    box.drive("C").fail_write(3)  # 1 creates, 2 and 3 write
    ran = run_source(box, failing(1, calls=2))
    assert (ran.word(0), ran.word(1), ran.word(7)) == (100, 0, 1)
    assert len(box.drive("C").read("A.DAT")) == 200


def test_abort_ends_the_program() -> None:
    box = make_box()
    box.drive("C").fail_write(2)
    assert run_source(box, failing(2)).exit.kind == "critical"


def test_without_a_handler_the_person_is_asked() -> None:
    box = make_box()
    box.drive("C").fail_write(2)
    exit_ = run_source(box, writer(), keys="xA").exit
    assert exit_.kind == "critical"
    assert exit_.console.count(b"Abort, Retry, Ignore, Fail?") == 2


def test_a_call_above_0c_from_int_24h_fails_loudly() -> None:
    box = make_box()
    box.drive("C").fail_write(2)
    source = failing(3).replace("mov     al, 3", "mov ah,19h\n int 21h\n mov al,3")
    with pytest.raises(BoxError, match="a real kernel hangs here"):
        run_source(box, source)


def find_all(box: Box, pattern: str, attributes: int = 0) -> list[str]:
    source = f"""
main:   mov     dx, pattern
        mov     cx, {attributes}
        mov     ah, 4Eh
        int     21h
        jc      .done
.next:  mov     si, 80h + 1Eh
.put:   lodsb
        test    al, al
        jz      .end
        int     29h
        jmp     .put
.end:   mov     al, '|'
        int     29h
        mov     ah, 4Fh
        int     21h
        jnc     .next
.done:  mov     [results], ax
        exit
pattern: db     "{pattern}", 0
"""
    ran = run_source(box, source)
    assert ran.word(0) in (2, 0x12)
    return ran.exit.console.decode("cp437").split("|")[:-1]


def test_searching() -> None:
    box = make_box()
    drive = box.drive("C")
    for name in ("A1.TXT", "A2.TXT", "B.TXT", "A1.DAT", r"SUB\IN.TXT"):
        drive.write(name, b"x")
    drive.entries["B.TXT"].attributes |= 0x02
    assert find_all(box, "A*.TXT") == ["A1.TXT", "A2.TXT"]
    assert find_all(box, "?1.*") == ["A1.TXT", "A1.DAT"]
    assert find_all(box, "*.TXT", 0x02) == ["A1.TXT", "A2.TXT", "B.TXT"]
    assert find_all(box, r"\\SUB\\*.*".replace("\\\\", "\\"), 0x10) == [".", "..", "IN.TXT"]
    assert find_all(box, "NONE.*") == []
    assert "SUB" in find_all(box, "*.*", 0x10)
    assert "SUB" not in find_all(box, "*.*")


NAMES = st.from_regex(r"[A-Z0-9]{1,8}(\.[A-Z0-9]{1,3})?", fullmatch=True)


@given(NAMES)
def test_every_name_matches_itself_and_stars(name: str) -> None:
    assert matches(pattern_of(name), name)
    assert matches(pattern_of("*.*"), name)
    assert matches(pattern_of(name[0] + "*.*"), name)


def test_dos_dates_of_files() -> None:
    """Microsoft FAT specification: 1994-05-31 06:22:00 is date 1CBF, time 32C0."""
    assert to_dos(AT.started_at) == (0x1CBF, 0x32C0)
    box = make_box()
    box.drive("C").write("D.DAT", b"", datetime(1994, 5, 31, 6, 22))
    source = """
main:   mov     dx, name
        mov     ax, 3D00h
        int     21h
        mov     bx, ax
        mov     ax, 5700h
        int     21h
        mov     [results], dx
        mov     [results + 2], cx
        exit
name:   db      "D.DAT", 0
"""
    ran = run_source(box, source)
    assert (ran.word(0), ran.word(1)) == (0x1CBF, 0x32C0)


def test_read_seek_rename_delete_and_attributes() -> None:
    box = make_box()
    box.drive("C").write("IN.DAT", bytes(range(200)))
    source = """
main:   mov     dx, name
        mov     ax, 3D00h
        int     21h
        mov     bx, ax
        mov     ax, 4202h
        mov     cx, -1
        mov     dx, -10
        int     21h
        mov     [results], ax           ; 190
        mov     dx, results + 2
        mov     cx, 100
        mov     ah, 3Fh
        int     21h
        mov     [results + 20], ax      ; 10
        mov     ah, 3Eh
        int     21h
        mov     dx, name
        mov     di, other
        mov     ah, 56h
        int     21h
        mov     dx, other
        mov     cx, 1
        mov     ax, 4301h
        int     21h
        mov     ah, 41h
        int     21h
        mov     [results + 22], ax      ; 5: read-only
        mov     ah, 3Ch
        xor     cx, cx
        int     21h
        mov     [results + 24], ax      ; 5
        mov     ah, 5Bh
        mov     dx, self
        int     21h
        mov     [results + 26], ax      ; 50h
        mov     ah, 3Dh
        mov     dx, deep
        int     21h
        mov     [results + 28], ax      ; 3
        exit
name:   db      "IN.DAT", 0
other:  db      "OUT.DAT", 0
self:   db      "T.COM", 0
deep:   db      "NO\\SUCH.DAT", 0
"""
    ran = run_source(box, source)
    assert ran.word(0) == 190
    assert ran.results[2:12] == bytes(range(190, 200))
    assert [ran.word(i) for i in range(10, 15)] == [10, 5, 5, 0x50, 3]
    assert box.drive("C").entries["OUT.DAT"].attributes & READ_ONLY


def test_handles_are_inherited_and_redirection_reaches_the_child() -> None:
    box = make_box(CHILD="main: mov dx,t\n mov ah,9\n int 21h\n exit\nt: db 'from the child$'")
    box.command("CHILD > OUT.TXT")
    assert box.drive("C").read("OUT.TXT") == b"from the child"
    assert box.command("CHILD").console == b"from the child"


def test_folders() -> None:
    box = make_box()
    box.drive("C").write(r"SUB\DEEP\X.TXT", b"deep")
    source = """
main:   mov     dx, sub
        mov     ah, 3Bh
        int     21h
        mov     si, results
        mov     dl, 0
        mov     ah, 47h
        int     21h
        mov     dx, up
        mov     ax, 3D00h
        int     21h
        sbb     ax, ax
        mov     [results + 30], ax
        exit
sub:    db      "SUB\\DEEP", 0
up:     db      "..\\..\\T.COM", 0
"""
    ran = run_source(box, source)
    assert ran.results.startswith(b"SUB\\DEEP\0")
    assert ran.word(15) == 0


def test_drive_b_of_one_floppy_is_not_to_be_touched() -> None:
    box = make_box()
    box = Box(AT, {"A": Drive(removable=True), "C": box.drive("C")})
    box.boot()
    with pytest.raises(BoxError, match="drive B:"):
        run_source(box, 'main: mov dx,n\n mov ax,3D00h\n int 21h\n exit\nn: db "B:X",0')


def test_names_from_outside_are_checked() -> None:
    with pytest.raises(UsageError, match="no DOS name"):
        Drive().write("much-too-long.text", b"")


def test_carry_tells_success_and_failure_whatever_it_was_before() -> None:
    source = """
main:   stc
        mov     ah, 3Ch
        xor     cx, cx
        mov     dx, name
        stc
        int     21h
        adc     byte [results], 0
        mov     bx, ax
        mov     cx, 5
        mov     dx, main
        stc
        mov     ah, 40h
        int     21h
        adc     byte [results], 0
        mov     bx, 19
        clc
        mov     ah, 40h
        int     21h
        adc     byte [results + 1], 0
        mov     [results + 2], ax
        exit
name:   db      "C.DAT", 0
"""
    ran = run_source(make_box(), source)
    assert ran.results[:2] == b"\x00\x01"
    assert ran.word(1) == 6
