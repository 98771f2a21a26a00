"""The snapshot's routines on the bench: processors, coprocessors, real-time clocks and CMOS of every kind."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from support.agent_bench import Bench, play_processor
from support.bench_records import give_rtc, record_of, values_of
from support.fake_dos import FakeBios, FakeDos

# ---- processor

KINDS = {
    "8086": "i8086",
    "v20": "i80186",
    "80186": "i80186",
    "80286": "i80286",
    "80386": "i80386",
    "80486": "i80486",
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("fpu", [False, True])
def test_class_and_coprocessor(bench: Bench, dos: FakeDos, kind: str, fpu: bool) -> None:
    play_processor(bench, kind, fpu=fpu)
    cpu = values_of(bench, dos, "cpu")
    assert cpu["class"] == KINDS[kind]
    assert cpu["fpu"] == ("present" if fpu else "absent")
    assert cpu["msw"] == (0xFFFF if kind in ("8086", "v20", "80186") else 0)
    assert (cpu["signature"], cpu["features"], cpu["vendor"]) == (0, 0, "")


def test_cpuid_is_kept_as_it_is(bench: Bench, dos: FakeDos) -> None:
    """Signature 524h with features 1BFh: a boot log of a machine at 90 MHz."""
    play_processor(bench, "cpuid", fpu=True)
    cpu = values_of(bench, dos, "cpu")
    assert (cpu["class"], cpu["signature"], cpu["features"]) == ("cpuid", 0x524, 0x1BF)
    assert cpu["vendor"] == "GenuineIntel"


@pytest.mark.parametrize(
    ("kind", "msw", "v86", "fpu"),
    [
        ("80286", 0x0001, "absent", "present"),  # a 286 has no such mode, whatever PE says
        ("80386", 0x0000, "absent", "present"),
        ("80386", 0x0001, "present", "present"),
        ("80486", 0x0009, "present", "present"),  # TS under a monitor: its own affair
        ("80386", 0x0008, "absent", "unknown"),  # TS in real mode: would trap
        ("80386", 0x0004, "absent", "unknown"),  # EM: would trap
        ("80386", 0x0005, "present", "unknown"),
    ],
)
def test_status_word_decides_what_may_be_asked(
    bench: Bench, dos: FakeDos, bios: FakeBios, kind: str, msw: int, v86: str, fpu: str
) -> None:
    play_processor(bench, kind, msw=msw, fpu=True)
    cpu = values_of(bench, dos, "cpu")
    assert (cpu["v86"], cpu["fpu"], cpu["msw"]) == (v86, fpu, msw)


def test_emulated_coprocessor_by_the_bios(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    """EM is set where the BIOS found none: bit 1 of INT 11h."""
    play_processor(bench, "80486", msw=0x0004)
    bench.interrupts[0x11] = lambda b: setattr(b.registers, "ax", 0x4225)
    assert values_of(bench, dos, "cpu")["fpu"] == "absent"


def test_flags_are_as_before(bench: Bench) -> None:
    """IOPL, NT, AC and ID come back as they were found."""
    bench.call("processor_class")
    assert bench.registers.flags & 0x247000 == 0


# ---- clock and CMOS


def test_rtc_of_an_at(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    rtc = give_rtc(bench)
    boot = values_of(bench, dos, "boot")
    assert boot["rtc_state"] == "read"
    # seconds, minutes, hours, day of the week (Tuesday is the third), day, month, year, century; in BCD
    assert boot["rtc"] == bytes.fromhex("00 22 06 03 31 05 94 19")
    assert boot["rtc_status_b"] == 2
    assert rtc.index == 0x0D


@pytest.mark.parametrize(
    ("register", "value", "state"),
    [(0x0B, 0x82, "stopped"), (0x0A, 0x70, "stopped"), (0x0A, 0x06, "stopped"), (0x0D, 0x00, "battery_low")],
)
def test_rtc_that_is_not_well(
    bench: Bench, dos: FakeDos, bios: FakeBios, register: int, value: int, state: str
) -> None:
    give_rtc(bench).octets[register] = value
    assert values_of(bench, dos, "boot")["rtc_state"] == state


def test_update_that_never_ends(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    rtc = give_rtc(bench)
    bench.ports_in[0x71] = lambda: rtc.read() | (0x80 if rtc.index == 0x0A else 0)
    count = bench.count_instructions()
    assert values_of(bench, dos, "boot")["rtc_state"] == "stopped"
    assert count() < 8192 * 40


def test_time_is_read_outside_of_an_update(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    """While the update-in-progress bit is set, the registers may hold anything; the clock is read behind it."""
    rtc = give_rtc(bench)
    bench.engine.advance(10**12 - 1000 * 10**6)  # a millisecond before the second changes
    seen: list[bool] = []

    def read() -> int:
        if rtc.index in (0, 2, 4):
            seen.append(rtc.updating())
        return rtc.read()

    bench.ports_in[0x71] = read
    boot = values_of(bench, dos, "boot")
    assert boot["rtc"][0] == 1
    assert seen and not any(seen)


def leaves_all_but(carry: bool) -> Callable[[Bench], None]:
    """A BIOS without the service: carry as given, all else as it was."""
    return lambda bench: bench.carry(carry)


@pytest.mark.parametrize("model", [0xFF, 0xFE, 0xFB])
@pytest.mark.parametrize("floating", [0xFF, 0x00, 0x71])
def test_ports_of_an_xt_are_not_believed(bench: Bench, dos: FakeDos, model: int, floating: int) -> None:
    """INT 1Ah AH=02h is not there: the registers come back as they were, with either carry."""
    FakeBios(bench, model)
    touched: list[int] = []
    bench.ports_out[0x70] = touched.append
    bench.ports_in[0x71] = lambda: floating
    for carry in (True, False):
        bench.put("rtc_there", b"\x02")
        bench.interrupts[0x1A] = leaves_all_but(carry)
        boot = values_of(bench, dos, "boot")
        assert (boot["rtc_state"], boot["rtc"]) == ("absent", bytes(8))
    assert not touched
    assert record_of(bench, dos, "cmos_section").all("cmos") == []


def bios_time(bench: Bench) -> None:
    bench.registers.cx, bench.registers.dx = 0x0622, 0x0000
    bench.carry(False)


def test_xt_with_a_clock_of_the_at_kind(bench: Bench, dos: FakeDos) -> None:
    FakeBios(bench, 0xFE)
    give_rtc(bench)
    bench.interrupts[0x1A] = bios_time
    assert values_of(bench, dos, "boot")["rtc_state"] == "read"


@pytest.mark.parametrize("floating", [0xFF, 0x00, 0x80, 0x12])
def test_xt_with_a_clock_of_another_kind(bench: Bench, dos: FakeDos, floating: int) -> None:
    """The BIOS tells a time (a card's driver does), but ports 70h and 71h have nothing behind them."""
    FakeBios(bench, 0xFE)
    bench.ports_out[0x70] = lambda value: None
    bench.ports_in[0x71] = lambda: floating
    bench.interrupts[0x1A] = bios_time
    assert values_of(bench, dos, "boot")["rtc_state"] == "absent"


@pytest.mark.parametrize("floating", [0xFF, 0x00])
def test_at_with_nothing_behind_the_ports(bench: Bench, dos: FakeDos, bios: FakeBios, floating: int) -> None:
    bench.ports_out[0x70] = lambda value: None
    bench.ports_in[0x71] = lambda: floating
    assert values_of(bench, dos, "boot")["rtc_state"] == "absent"


def test_cmos_as_it_is_but_for_the_century(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    """The worked sum of the project's references: 10=40 12=F0 14=0F 15=80 16=02 18=0C 19=2F gives 01FCh."""
    rtc = give_rtc(bench)
    pairs = ((0x10, 0x40), (0x12, 0xF0), (0x14, 0x0F), (0x15, 0x80), (0x16, 0x02), (0x18, 0x0C), (0x19, 0x2F))
    rtc.set_configuration((*pairs, (0x7F, 0x5A)))
    cmos = values_of(bench, dos, "cmos")
    expected = bytearray(rtc.octets[0x10:])
    expected[0x22] = 0
    assert cmos["settings"] == expected
    assert cmos["settings"][0x1E:0x20] == bytes.fromhex("01FC")
    assert cmos["clock"][0x0B] == 2
    assert rtc.index == 0x0D


def test_interrupts_of_the_clock_are_not_acknowledged(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    rtc = give_rtc(bench)
    read: list[int] = []

    def read_port() -> int:
        read.append(rtc.index)
        return rtc.read()

    bench.ports_in[0x71] = read_port
    values_of(bench, dos, "cmos")
    assert 0x0C in read
    rtc.octets[0x0B] |= 0x40  # the periodic interrupt is in use
    read.clear()
    values_of(bench, dos, "cmos")
    assert 0x0C not in read


def test_chip_of_64_octets_is_not_taken_twice(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    rtc = give_rtc(bench)
    rtc.set_configuration(((0x10, 0x40), (0x3F, 0x77)))
    bench.ports_out[0x70] = lambda value: setattr(rtc, "index", value & 0x3F)
    settings = values_of(bench, dos, "cmos")["settings"]
    assert settings[0x2F] == 0x77
    assert settings[0x30:] == bytes(0x40)


def test_nothing_is_ever_written_to_cmos(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    give_rtc(bench)
    play_processor(bench, "80386", fpu=True)
    record_of(bench, dos, "snapshot_take")
    assert 0x71 not in bench.strange_ports
    assert bench.strange_ports == set()
