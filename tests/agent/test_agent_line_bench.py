"""The agent's line on the bench: noise, loss, doubling, delay, hosts that die or lie, ports of every kind."""

from __future__ import annotations

import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.box.uart import Uart
from readoff.contract.record import CHECK_SIZE, RecordId
from readoff.link.events import Arrived, Bye, Event, Noise, Offered
from readoff.link.frames import build_message
from readoff.link.framing import frame
from support.agent_bench import BDA, Bench
from support.agent_line import BASE, MILLISECOND, Faults, LineBench


def record(ordinal: int, size: int, seed: int = 0) -> bytes:
    """Octets with a record's header; what follows is noise, with flags and escapes in it."""
    draw = random.Random(seed * 1000 + ordinal)
    header = bytes.fromhex("524F661A01021800 44332211 D4C3B2A1") + ordinal.to_bytes(2, "little") + bytes(6)
    return header + draw.randbytes(size - 24)


def record_id(ordinal: int) -> RecordId:
    return RecordId(0x11223344, 0xA1B2C3D4, ordinal)


def check_kept(line: LineBench) -> None:
    """What was told kept is in the host's store, whole; everything else is still in the spool."""
    for name, octets in line.records.items():
        ident = record_id(int.from_bytes(octets[16:18], "little"))
        if name not in line.spool:
            assert line.store[ident] == octets
        else:
            assert line.spool[name] == octets


# ---- CRC and frames


@pytest.mark.parametrize(
    ("octets", "crc"),
    [
        (b"123456789", 0xCBF43926),  # CRC-32/ISO-HDLC's published check value
        (b"\x01\x7e\x7d\x11\x7d\x5e", 0xAE8FE6E6),
        (b"", 0),
    ],
)
def test_frame_check_of_published_values(octets: bytes, crc: int) -> None:
    """RFC 1662: the FCS goes out low octet first, complemented; '123456789' with FCS-32 ends in 26 39 F4 CB."""
    bench = Bench()
    uart_into(bench, out := bytearray())
    bench.put("scratch", octets)
    bench.call("frame_send", si=bench.symbols["scratch"], cx=len(octets), dx=0)
    assert bytes(out) == frame(octets)
    assert crc.to_bytes(4, "little") == frame_check(bytes(out))
    if octets == b"123456789":
        assert bytes(out) == b"\x7e123456789" + bytes.fromhex("26 39 F4 CB 7E")


def frame_check(octets: bytes) -> bytes:
    plain = octets.strip(b"\x7e").replace(b"\x7d\x5e", b"\x7e").replace(b"\x7d\x5d", b"\x7d")
    return plain[-4:]


def uart_into(bench: Bench, out: bytearray) -> Uart:
    """An instant UART at the place where uart_open would have found it; what is sent goes to ``out``."""
    uart = Uart(bench.engine.now, "8250", paced=False, interrupt=lambda on: None)
    uart.sent = out.append
    for register in range(8):
        bench.ports_in[BASE + register] = lambda register=register: uart.read(register)
        bench.ports_out[BASE + register] = lambda value, register=register: uart.write(register, value)
    bench.word("uart_base", BASE)
    bench.word("uart_status", BASE + 5)
    bench.call("frame_forget")
    return uart


@settings(max_examples=60, deadline=None)
@given(octets=st.binary(min_size=1, max_size=300), split=st.integers(0, 300), flow=st.booleans())
def test_frames_out_are_those_of_the_host(octets: bytes, split: int, flow: bool) -> None:
    bench, out = Bench(), bytearray()
    uart_into(bench, out)
    bench.put("line_xon_xoff", bytes([flow]))
    bench.put("scratch", octets)
    at, split = bench.symbols["scratch"], min(split, len(octets))
    bench.call("frame_send", si=at, cx=split, bx=at + split, dx=len(octets) - split)
    assert bytes(out) == frame(octets, 1 << 0x11 | 1 << 0x13 if flow else 0)


@settings(max_examples=60, deadline=None)
@given(
    pieces=st.lists(
        st.one_of(
            st.binary(max_size=40), st.binary(min_size=1, max_size=300).map(frame), st.just(b"\x7d\x7e")
        ),
        max_size=4,
    ),
    last=st.binary(min_size=1, max_size=200),
)
def test_frames_in_are_found_in_any_noise(pieces: list[bytes], last: bytes) -> None:
    """Whatever came before, a sound frame between flags is found; nothing that is none is taken for one."""
    from readoff.link.framing import Deframer, Frame

    noise = b"".join(pieces)
    bench = Bench()
    uart = uart_into(bench, bytearray())
    whole = noise + b"\x7e" + frame(last)
    expected = [item.payload for item in Deframer(1100).feed(whole) if isinstance(item, Frame)]
    found = []
    for at in range(0, len(whole), 100):
        uart.arrive(whole[at : at + 100])
        while not bench.call("frame_next"):
            size = bench.registers.cx
            found.append(bytes(bench.memory.octets[bench.at("scratch") + 512 :][:size]))
    assert found == expected
    assert found[-1] == last


def test_instructions_an_octet() -> None:
    """At most 60 for each octet sent, all else included: header, check, looks at the port, reading the file.

    So an 8088 at 4.77 MHz holds 38,400 baud at 20 clocks an instruction (common practice, no source). The port never
    makes the agent wait here: only its own work is counted.
    """
    octets = record(1, 28)[:-4] + random.Random(3).randbytes(16384)
    line = LineBench({"A.RDO": octets}, paced=False)
    count = line.bench.count_instructions()
    assert line.offer() == 0
    each = count() / line.octets_to_host
    print(f"{each:.1f} instructions an octet")
    assert each < 45
    assert each * 20 * 38_400 / 10 < 4_772_727


# ---- the sender


@pytest.mark.parametrize("kind", ["8250", "16450", "16550a"])
@pytest.mark.parametrize("divisor", [1, 12, 384])
def test_spool_goes_to_the_host(kind: Any, divisor: int) -> None:
    sizes = (28, 29, 700) if divisor == 384 else (28, 1024, 1025, 9000)
    records = {f"0000000{n}.RDO": record(n, size) for n, size in enumerate(sizes, 1)}
    pace = {1: 600_000, 12: 800_000, 384: 4_000_000}[divisor]
    line = LineBench(records | {"SERIAL.RDO": b"abcd"}, uart_kind=kind, divisor=divisor, step=pace)
    found = port_state(line)
    assert line.offer() == 0
    assert line.store == {record_id(n): octets for n, octets in enumerate(records.values(), 1)}
    assert line.spool == {"SERIAL.RDO": b"abcd"}
    assert line.events[-1] == Bye(0)
    assert not any(isinstance(event, Noise) for event in line.events)
    assert port_state(line) == found
    assert line.said.count("kept by the host\r\n") == len(records)
    assert "9000 octets: kept" in line.said or divisor == 384


def port_state(line: LineBench) -> tuple[int, ...]:
    uart = line.uart
    return (uart.divisor, uart.ier, uart.lcr, uart.mcr, uart.fifo)


@pytest.mark.parametrize("fifo", [False, True])
def test_port_is_put_back_as_it_was(fifo: bool) -> None:
    line = LineBench({"A.RDO": record(1, 100)})
    line.uart.write(3, 0x83)
    line.uart.write(0, 0x80)
    line.uart.write(1, 0x01)
    line.uart.write(3, 0x1B)
    line.uart.write(1, 0x05)
    line.uart.write(4, 0x0B)
    line.uart.write(2, 0xC1 if fifo else 0)
    assert line.offer() == 0
    assert port_state(line) == (0x180, 0x05, 0x1B, 0x0B, fifo)


def test_empty_spool_touches_no_port() -> None:
    line = LineBench({"SERIAL.RDO": b"abcd"})
    assert line.offer() == 0
    assert not line.from_agent
    assert "holds no record" in line.said


def test_no_such_port() -> None:
    for base in (0, 0x3E8):  # none, and one behind which nothing is
        line = LineBench({"A.RDO": record(1, 100)})
        line.bench.poke(BDA, base.to_bytes(2, "little"))
        assert line.offer() == 1
        assert "no such serial port" in line.said
    line.bench.ports_in[0x3E8 + 5] = lambda: 0x60  # something answers, but keeps no divisor
    assert line.offer() == 1
    assert not line.from_agent


def test_no_host_costs_two_seconds() -> None:
    line = LineBench({"A.RDO": record(1, 100), "B.RDO": record(2, 100)})
    line.host_lives = lambda: False
    assert line.offer() == 2
    assert 1.9 < line.seconds < 2.3
    assert "no host answers" in line.said and "2 record(s) not yet" in line.said
    assert set(line.spool) == {"A.RDO", "B.RDO"}


def test_ticks_that_stand_still_end_no_wait_later_than_minutes() -> None:
    line = LineBench({"A.RDO": record(1, 100)}, ticks_run=False)
    line.host_lives = lambda: False
    assert line.offer() == 1
    assert line.seconds < 10


def test_ticks_that_stand_still_do_not_hinder() -> None:
    line = LineBench({"A.RDO": record(1, 5000)}, ticks_run=False, to_host=Faults(flip=3e-4))
    assert line.offer() == 0
    assert line.seconds < 20


def test_port_that_does_not_send() -> None:
    line = LineBench({"A.RDO": record(1, 100)})
    read = line.bench.ports_in[BASE + 5]
    line.bench.ports_in[BASE + 5] = lambda: read() & ~0x60
    assert line.offer() == 1
    assert "does not send" in line.said
    assert line.seconds < 6


def test_modem_words_and_a_looped_back_line() -> None:
    line = LineBench({"A.RDO": record(1, 3000)})
    line.to_uart(b"ATZ\r\r\nOK\r\nRING\r\n\x00\xff")
    assert line.offer() == 0
    looped = LineBench({"A.RDO": record(1, 3000)})
    looped.uart.sent = lambda octet: looped.uart.arrive(bytes([octet]))
    assert looped.offer() == 1
    assert "no host answers" in looped.said


@pytest.mark.parametrize("after", [30, 100, 2000, 9000])
def test_host_that_dies_in_the_middle(after: int) -> None:
    line = LineBench({"A.RDO": record(1, 5000), "B.RDO": record(2, 5000), "C.RDO": record(3, 50)})
    line.host_lives = lambda: line.octets_to_host < after
    left = line.offer()
    assert left == len(line.spool) > 0
    check_kept(line)
    assert "no longer answers" in line.said
    assert line.seconds < 15
    line.host_lives = lambda: True
    assert line.offer() == 0  # and goes on where it was
    check_kept(line)


def test_resumes_where_it_was() -> None:
    line = LineBench({"A.RDO": record(1, 20000)})
    line.host_lives = lambda: line.octets_to_host < 15000
    assert line.offer() == 1
    sent = line.octets_to_host
    line.host_lives = lambda: True
    assert line.offer() == 0
    assert line.octets_to_host - sent < 11000


@pytest.mark.parametrize("what", ["id", "length", "check"])
def test_kept_for_something_else_deletes_nothing(what: str) -> None:
    octets = record(1, 500)
    line = LineBench({"A.RDO": octets})

    def lie(event: Event) -> None:
        if isinstance(event, Offered):
            line.receiver.answer_new(event)
        elif isinstance(event, Arrived):
            ident = record_id(9) if what == "id" else event.id
            length = 499 if what == "length" else 500
            line.receiver.kept(ident, length, event.check ^ (what == "check"))

    line.answers = lie
    assert line.offer() == 1
    assert line.spool == {"A.RDO": octets}


@pytest.mark.parametrize(("reason", "words"), [("store_failed", "could not keep"), ("too_long", "too long")])
def test_refused_records_stay_and_others_go_on(reason: str, words: str) -> None:
    line = LineBench({"A.RDO": record(1, 500), "B.RDO": record(2, 500)})

    def refuse_first(event: Event) -> None:
        if isinstance(event, Arrived) and event.id == record_id(1):
            line.receiver.refuse(event.id, reason)
        else:
            line.keep_all(event)

    line.answers = refuse_first
    assert line.offer() == 1
    assert set(line.spool) == {"A.RDO"}
    assert words in line.said


def test_busy_host_is_asked_again() -> None:
    line = LineBench({"A.RDO": record(1, 500)})
    refusals = 0

    def busy_twice(event: Event) -> None:
        nonlocal refusals
        if isinstance(event, Offered) and refusals < 2:
            refusals += 1
            line.receiver.refuse(event.id, "busy")
        else:
            line.keep_all(event)

    line.answers = busy_twice
    assert line.offer() == 0
    assert 2 <= line.seconds < 5


def test_host_that_never_keeps_and_talks_all_the_time() -> None:
    """Answers without end, of no use: the agent gives up all the same."""
    line = LineBench({"A.RDO": record(1, 500)})
    have = frame(build_message("have", id=record_id(1), offset=0, holes=[]))

    def chatter() -> None:
        line.to_uart(have)
        line.timetable.at(line.engine.now() + 50 * MILLISECOND, chatter)

    line.answers = lambda event: None
    line.timetable.at(100 * MILLISECOND, chatter)
    assert line.offer() == 1
    assert line.seconds < 60
    assert "lost on the line" in line.said


def test_keep_leaves_the_file() -> None:
    line = LineBench({"A.RDO": record(1, 500), "B.RDO": record(2, 500)}, keep=True)
    assert line.offer() == 0
    assert set(line.spool) == {"A.RDO", "B.RDO"}
    assert line.said.count("the file stays") == 2


def test_file_that_can_not_be_deleted() -> None:
    line = LineBench({"A.RDO": record(1, 500), "B.RDO": record(2, 500)})
    line.dos.undeletable.add("C:\\A.RDO")
    assert line.offer() == 0
    assert set(line.spool) == {"A.RDO"}
    assert "could not be deleted" in line.said


@pytest.mark.parametrize("bad", [b"", b"x" * 27, b"no record at all, but long enough", record(1, 27)])
def test_what_is_no_record_stays(bad: bytes) -> None:
    line = LineBench({"A.RDO": bad, "B.RDO": record(2, 500)})
    if bad[:4] == b"ROf\x1a":
        pytest.skip("a header cut short is offered: the host says what it makes of it")
    assert line.offer() == 1
    assert line.spool == {"A.RDO": bad}


def test_file_that_can_not_be_read() -> None:
    line = LineBench({"A.RDO": record(1, 500), "B.RDO": record(2, 500)})
    line.dos.unreadable.add("C:\\A.RDO")
    assert line.offer() == 1
    assert set(line.spool) == {"A.RDO"}


def test_file_that_changes_while_it_is_sent_stays() -> None:
    first, second = record(1, 500), record(1, 500)[:-1] + b"!"
    line = LineBench({"A.RDO": first})

    def change(event: Event) -> None:
        line.keep_all(event)
        if isinstance(event, Arrived):
            line.dos.files["C:\\A.RDO"] = second

    line.answers = change
    assert line.offer() == 1
    assert line.spool == {"A.RDO": second}


@pytest.mark.parametrize("how", ["escape", "ctrl-c", "ctrl-break"])
def test_a_person_stops_it(how: str) -> None:
    line = LineBench({"A.RDO": record(1, 12000), "B.RDO": record(2, 12000)})
    pressed = {"escape": 0x011B, "ctrl-c": 0x2E03, "ctrl-break": None}[how]

    def keyboard(bench: Bench) -> None:
        ready = pressed is not None and line.octets_to_host > 3000
        if bench.registers.ax >> 8 == 1:
            bench.zero(not ready)
        if ready:
            bench.registers.ax = pressed

    line.bench.interrupts[0x16] = keyboard
    if how == "ctrl-break":
        line.timetable.at(400 * MILLISECOND, lambda: line.bench.poke(BDA + 0x71, b"\x80"))
    assert line.offer() == 2
    assert set(line.spool) == {"A.RDO", "B.RDO"}
    assert line.events[-1] == Bye(2)
    assert "stopped" in line.said


def test_other_keys_stay_in_the_buffer() -> None:
    line = LineBench({"A.RDO": record(1, 3000)})

    def keyboard(bench: Bench) -> None:
        assert bench.registers.ax >> 8 == 1
        bench.zero(False)
        bench.registers.ax = 0x1E61

    line.bench.interrupts[0x16] = keyboard
    assert line.offer() == 0


# ---- faults


FAULTS = {
    "noise 1e-5 a bit": Faults(flip=8e-5),
    "noise 1e-4 a bit": Faults(flip=8e-4),
    "noise 1e-3 a bit": Faults(flip=8e-3),
    "loss": Faults(lose=1e-3),
    "doubling": Faults(double=1e-3),
    "all": Faults(flip=5e-4, lose=3e-4, double=3e-4, delay=16 * MILLISECOND),
}


@pytest.mark.parametrize("name", FAULTS)
@pytest.mark.parametrize("seed", range(2))
def test_every_record_comes_over_a_bad_line(name: str, seed: int) -> None:
    faults = FAULTS[name]
    records = {f"{n}.RDO": record(n, size, seed) for n, size in enumerate((300, 2000, 6000), 1)}
    line = LineBench(records, seed=seed, to_host=faults, to_agent=faults)
    for _ in range(4):  # at one bit in a thousand a record may be given up; it stays, and goes the next time
        if line.offer() == 0:
            break
        check_kept(line)
    assert line.spool == {}
    assert line.store == {record_id(n): octets for n, octets in enumerate(records.values(), 1)}


@pytest.mark.parametrize("kind", ["8250", "16550a"])
def test_slow_machine_loses_nothing_that_matters(kind: Any) -> None:
    """An 8088's pace: about 0.85 us for an octet of code at 4.77 MHz, four clocks each. 9600 baud."""
    line = LineBench({"A.RDO": record(1, 6000)}, uart_kind=kind, divisor=12, step=840_000)
    assert line.offer() == 0
    assert line.uart.lost == 0


def test_delay_alone_costs_little() -> None:
    times = []
    for delay in (0, 16 * MILLISECOND):
        wire = Faults(delay=delay)
        line = LineBench({"A.RDO": record(1, 30000)}, to_host=wire, to_agent=wire)
        assert line.offer() == 0
        times.append(line.seconds)
    assert times[1] < 1.05 * times[0]


def test_efficiency_without_faults() -> None:
    """Octets of records among the octets on the line, on data that needs few escapes."""
    draw = random.Random(5)
    octets = record(1, 28)[:-4] + bytes(draw.randrange(256) for _ in range(30000))
    line = LineBench({"A.RDO": octets})
    assert line.offer() == 0
    assert len(octets) / line.octets_to_host > 0.965
    assert line.seconds < 1.03 * line.octets_to_host * 10 / 115200


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    sizes=st.lists(st.integers(28, 6000), min_size=1, max_size=3),
    flip=st.sampled_from([0, 1e-4, 2e-3]),
    lose=st.sampled_from([0, 1e-4, 2e-3]),
    double=st.sampled_from([0, 1e-3]),
    delay=st.sampled_from([0, 3, 40]),
    dies=st.one_of(st.none(), st.integers(0, 8000)),
)
def test_nothing_told_kept_is_lost(
    seed: int, sizes: list[int], flip: float, lose: float, double: float, delay: int, dies: int | None
) -> None:
    records = {f"{n}.RDO": record(n, size, seed) for n, size in enumerate(sizes, 1)}
    wire = Faults(flip, lose, double, delay * MILLISECOND)
    line = LineBench(records, seed=seed, to_host=wire, to_agent=wire)
    line.host_lives = lambda: dies is None or line.octets_to_host < dies
    left = line.offer()
    assert left == len(line.spool)
    check_kept(line)


def test_last_octets_are_the_check() -> None:
    octets = record(7, 300)
    line = LineBench({"A.RDO": octets})
    assert line.offer() == 0
    (offered,) = (event for event in line.events if isinstance(event, Offered))
    assert (offered.id, offered.length) == (record_id(7), 300)
    assert offered.check == int.from_bytes(octets[-CHECK_SIZE:], "little")
