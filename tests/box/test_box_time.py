"""Virtual time: the interval timer, ticks, the real-time clock, CMOS; determinism and spread."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.box import AT, LATE, XT, Box, Drive, MachineSpec
from readoff.box.clock import Counter
from readoff.box.cmos import UPDATE_TIME, RealTimeClock, check_sum, from_bcd, to_bcd
from readoff.box.dos_state import ticks_of
from readoff.box.engine import SECOND
from support.box_programs import make_box, run_source


def test_ticks_of_a_day() -> None:
    """12:00 is 786,521 ticks (arithmetic: 43,200 s of 315/264 MHz / 65536)."""
    assert ticks_of(time(12)) == 786_521


def test_a_tick_lasts_54_92541_ms() -> None:
    counter = Counter(lambda: 0)
    counter.program(3, 65536, 0)
    assert counter.moment_of(65536) / 10**9 == pytest.approx(54.92541, abs=5e-6)


def test_cmos_sum_worked_example() -> None:
    """10=40 12=F0 14=0F 15=80 16=02 18=0C 19=2F, rest 0: 01FCh.

    The AT's rule (16-bit sum of 10h to 2Dh, high octet at 2Eh): its technical reference, from memory; sum by hand.
    """
    octets = bytearray(64)
    for index, value in (
        (0x10, 0x40),
        (0x12, 0xF0),
        (0x14, 0x0F),
        (0x15, 0x80),
        (0x16, 0x02),
        (0x18, 0x0C),
        (0x19, 0x2F),
    ):
        octets[index] = value
    assert check_sum(octets) == 0x01FC
    rtc = RealTimeClock(lambda: 0, datetime(1994, 5, 31), 0)
    rtc.set_configuration(tuple((i, v) for i, v in enumerate(octets) if i >= 0x10 and v))
    assert (rtc.octets[0x2E], rtc.octets[0x2F]) == (0x01, 0xFC)


def test_the_box_has_a_valid_cmos_unless_told_otherwise() -> None:
    rtc = make_box().on.rtc
    assert rtc is not None
    assert check_sum(rtc.octets) == rtc.octets[0x2E] << 8 | rtc.octets[0x2F]
    rtc = make_box(replace(AT, cmos=((0x2E, 0), (0x2F, 0)))).on.rtc
    assert rtc is not None
    assert check_sum(rtc.octets) != 0
    assert make_box(XT).on.rtc is None


@given(st.integers(0, 99))
def test_bcd_and_back(value: int) -> None:
    assert from_bcd(to_bcd(value)) == value
    assert f"{to_bcd(value):02X}" == f"{value:02}"


LATCH = (
    "main: xor al,al\n out 43h,al\n in al,40h\n mov ah,al\n in al,40h\n xchg al,ah\n mov [results],ax\n exit"
)


@given(st.sampled_from([2, 3]), st.integers(2, 65536), st.integers(0, 10**13))
def test_the_count_by_mode(mode: int, reload: int, moment: int) -> None:
    """Mode 2 is linear; mode 3 counts by two, twice a period, and reads even (8254 manual)."""
    counter = Counter(lambda: moment)
    counter.program(mode, reload, 0)
    gone = counter.elapsed()
    if mode == 2:
        assert counter.count() == (reload - gone % reload) & 0xFFFF
    else:
        assert counter.count() % 2 == 0
    assert 0 <= counter.count() <= 0xFFFF


def test_mode_2_and_mode_3_as_a_program_sees_them() -> None:
    boxes = {2: make_box(replace(AT, pit_mode=2)), 3: make_box(replace(AT, pit_mode=3))}
    counts = {mode: [run_source(box, LATCH).word(0) for _ in range(12)] for mode, box in boxes.items()}
    assert all(count % 2 == 0 for count in counts[3])
    assert any(count % 2 for count in counts[2])


READ_BACK = "main: mov al,0E2h\n out 43h,al\n in al,40h\n mov [results],al\n exit"


def test_only_the_later_timer_can_be_asked_for_its_mode() -> None:
    status = run_source(make_box(AT), READ_BACK).results[0]
    assert status & 0x3F == 0x36  # low then high, mode 3, binary
    assert run_source(make_box(LATE), READ_BACK).results[0] & 0x3F == 0x34
    # The 8253 takes it for nothing and gives the count.
    assert {run_source(make_box(XT), READ_BACK).results[0] & 1 for _ in range(4)} == {0}


# Waits n ticks by 40:6C; results 0 = reads of the clock that INT 1Ch counted.
TICKS = """
old1c:  dw 0, 0
hook1c: inc     word [cs:results]
        jmp     far [cs:old1c]
main:   get_vector 1Ch, old1c
        mov     ax, 40h
        mov     es, ax
        mov     bx, [es:6Ch]
.first: cmp     bx, [es:6Ch]
        je      .first
        push    es
        set_vector 1Ch, hook1c
        pop     es
        mov     bx, [es:6Ch]
        add     bx, {ticks}
.more:  cmp     bx, [es:6Ch]
        jne     .more
        lds     dx, [cs:old1c]
        mov     ax, 251Ch
        int     21h
        exit
"""


@pytest.mark.parametrize("spec", [XT, AT, LATE], ids=lambda s: s.name)
def test_ticks_come_at_their_rate_and_call_int_1ch(spec: MachineSpec) -> None:
    box = make_box(spec)
    ran = run_source(box, TICKS.format(ticks=20))
    assert ran.word(0) == 20
    assert ran.exit.seconds == pytest.approx(20.5 / 18.20651, abs=0.6 / 18.2)


def test_a_reprogrammed_timer_makes_dos_time_race_and_the_rtc_not() -> None:
    """The clock that lies: channel 0 at 8 times the rate."""
    program = "mov al,36h\n out 43h,al\n mov al,0\n out 40h,al\n mov al,20h\n out 40h,al\n"
    box = make_box()
    assert box.on.rtc is not None
    before = box.on.rtc.time(), box.on.dos.state.now()
    run_source(box, TICKS.format(ticks=400).replace("main:", f"main: {program}"))
    after = box.on.rtc.time(), box.on.dos.state.now()
    assert (after[0] - before[0]) / timedelta(seconds=1) == pytest.approx(400 / 18.2 / 8, abs=1.2)
    assert (after[1] - before[1]) / timedelta(seconds=1) == pytest.approx(400 / 18.2, rel=0.05)


def test_timer_and_rtc_agree_over_many_seconds() -> None:
    box = make_box()
    assert box.on.rtc is not None
    rtc, ticks = box.on.rtc.time(), box.on.engine.memory.word(0x46C)
    run_source(box, TICKS.format(ticks=200))
    gone = (box.on.rtc.time() - rtc).total_seconds()
    assert gone == pytest.approx((box.on.engine.memory.word(0x46C) - ticks) / 18.20651, abs=1.1)


def test_midnight() -> None:
    """18,00B0h ticks a day; the flag at 40:70 moves DOS's date on, once."""
    box = make_box()
    box.boot(1, at=datetime(1999, 12, 31, 23, 59, 46))  # and the box takes 12 s to boot
    run_source(box, TICKS.format(ticks=20).replace("add     bx, 20", "mov bx,5"))
    memory = box.on.engine.memory
    assert memory.word(0x46E) == 0
    ran = run_source(box, "main: mov ah,2Ah\n int 21h\n mov [results],cx\n mov [results+2],dx\n exit")
    assert (ran.word(0), ran.word(1)) == (2000, 0x0101)
    assert memory.octets[0x470] == 0


def test_reading_ticks_by_int_1ah_clears_the_midnight_flag() -> None:
    box = make_box()
    box.on.engine.memory.octets[0x470] = 1
    ran = run_source(
        box, "main: mov ah,0\n int 1Ah\n mov [results],al\n mov ah,0\n int 1Ah\n mov [results+1],al\n exit"
    )
    assert ran.results[:2] == b"\x01\x00"


READ_RTC = """
main:   mov     si, results
        mov     bx, fields
        mov     cx, 7
.next:  mov     al, [bx]
        out     70h, al
        in      al, 71h
        mov     [si], al
        inc     bx
        inc     si
        loop    .next
        mov     ah, 4
        int     1Ah
        mov     [results + 10], cx
        mov     [results + 12], dx
        mov     ah, 2
        int     1Ah
        mov     [results + 14], cx
        exit
fields: db 9, 8, 7, 4, 2, 0Bh, 32h
"""


def test_the_rtc_shows_the_given_time_in_bcd() -> None:
    ran = run_source(make_box(), READ_RTC)
    assert ran.results[:5] == bytes.fromhex("94 05 31 06 22")
    assert ran.results[5] & 6 == 2
    assert ran.results[6] == 0x19
    assert (ran.word(5), ran.word(6), ran.word(7)) == (0x1994, 0x0531, 0x0622)


def test_without_an_rtc_int_1ah_says_so_and_the_ports_read_ff() -> None:
    ran = run_source(
        make_box(XT),
        "main: mov ah,2\n int 1Ah\n sbb ax,ax\n mov [results],ax\n in al,71h\n mov [results+2],al\n exit",
    )
    assert (ran.word(0), ran.results[2]) == (0xFFFF, 0xFF)


def test_the_update_flag_rises_once_a_second_before_the_time_changes() -> None:
    moment = 0
    rtc = RealTimeClock(lambda: moment, datetime(1994, 5, 31), 0)
    rises = steps_on = 0
    was, shown = False, rtc.time()
    for step in range(30_000):
        moment = step * SECOND // 10_000
        is_on = rtc.updating()
        rises += is_on and not was
        steps_on += is_on
        if rtc.time() != shown:
            assert was  # the flag was up in the step before
            shown = rtc.time()
        was = is_on
    assert rises == 3
    assert 3 * 22 <= steps_on <= 3 * 23  # steps of 0.1 ms
    assert UPDATE_TIME == 2228 * 10**6  # 1984 + 244 us


def test_the_rtc_can_be_set() -> None:
    box = make_box()
    run_source(
        box,
        "main: mov al,4\n out 70h,al\n mov al,23h\n out 71h,al\n mov ah,5\n mov cx,2001h\n"
        " mov dx,0203h\n int 1Ah\n exit",
    )
    assert box.on.rtc is not None
    assert box.on.rtc.time().replace(minute=0, second=0) == datetime(2001, 2, 3, 23)


def measured(spec: MachineSpec, boot: int, runs: int = 1) -> list[int]:
    box = Box(spec, {"C": Drive()})
    box.boot(boot)
    loop = "main: mov dx,30\n.o: mov cx,1000\n.i: loop .i\n dec dx\n jnz .o\n exit"
    return [run_source(box, loop).exit.elapsed for _ in range(runs)]


def test_the_same_boot_is_the_same_to_the_picosecond() -> None:
    spec = replace(AT, boot_spread=0.004, run_spread=0.001)
    assert measured(spec, 3, 2) == measured(spec, 3, 2)


def test_boots_differ_by_the_spread_asked_for() -> None:
    spec = replace(AT, boot_spread=0.004)
    times = [measured(spec, boot)[0] for boot in range(1, 13)]
    assert len(set(times)) == 12
    mean = sum(times) / 12
    deviation = (sum((t - mean) ** 2 for t in times) / 11) ** 0.5 / mean
    assert 0.002 < deviation < 0.008
    other = [measured(replace(spec, seed=2), boot)[0] for boot in range(1, 4)]
    assert other != times[:3]


def test_wait_states_cost_time() -> None:
    """Two machines that differ in clocks an octet differ in measured time in proportion."""
    fast, slow = measured(AT, 1)[0], measured(replace(AT, clocks_per_octet=3.3), 1)[0]
    assert slow / fast == pytest.approx(1.1, abs=0.02)


def test_slow_video_memory_costs_time_only_where_it_is_written() -> None:
    fill = "main: mov ax,{}\n mov es,ax\n xor di,di\n mov cx,2000\n mov ax,0720h\n cld\n rep stosw\n exit"

    def taken(spec: MachineSpec, segment: str) -> int:
        return run_source(make_box(spec), fill.format(segment)).exit.elapsed

    slow = replace(AT, video_clocks=20)
    assert taken(slow, "7000h") == pytest.approx(taken(AT, "7000h"), rel=0.01)
    # 4,000 octets at 20 clocks of 125 ns are 10 ms.
    assert taken(slow, "0B800h") - taken(AT, "0B800h") == pytest.approx(10 * 10**9, rel=0.1)


def test_port_61h_and_channel_2() -> None:
    source = """
main:   in      al, 61h
        or      al, 1
        out     61h, al
        mov     al, 0B0h                ; channel 2, mode 0
        out     43h, al
        mov     al, 0
        out     42h, al
        mov     al, 10h
        out     42h, al
.wait:  inc     word [results]
        in      al, 61h
        test    al, 20h
        jz      .wait
        exit
"""
    ran = run_source(make_box(), source)
    assert ran.word(0) > 50  # 4096 counts are 3.4 ms


def test_hlt_waits_for_the_next_interrupt() -> None:
    ran = run_source(make_box(), "main: hlt\n hlt\n hlt\n exit")
    assert ran.exit.kind == "ended"
    assert 2 * 0.054 < ran.exit.seconds < 3.5 * 0.055


def test_cmos_memory_keeps_what_was_written_over_resets_and_power() -> None:
    box = make_box()
    run_source(box, "main: mov al,34h\n out 70h,al\n mov al,5Ah\n out 71h,al\n exit")
    for cold in (False, True):
        box.boot(cold=cold)
        ran = run_source(box, "main: mov al,34h\n out 70h,al\n in al,71h\n mov [results],al\n exit")
        assert ran.results[0] == 0x5A


def test_the_clock_goes_on_over_boots() -> None:
    box = make_box()
    assert box.on.rtc is not None
    before = box.on.rtc.time()
    run_source(box, TICKS.format(ticks=40))
    box.boot()
    assert 60 < (box.on.rtc.time() - before).total_seconds() < 90
    box.boot(at=datetime(1995, 1, 1))
    assert box.on.rtc.time().year == 1995
    assert box.on.dos.state.now().year == 1995
