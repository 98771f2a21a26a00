"""The agent's sender on the bench: ports of every kind, hosts that die, refuse or lie, files that change."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from readoff.link.events import Arrived, Bye, Event, Noise, Offered, Stray
from readoff.link.frames import build_message, limit_of, parse_message
from readoff.link.framing import Deframer, Frame, frame
from support.agent_bench import BDA, Bench
from support.agent_line import BASE, MILLISECOND, Faults, LineBench
from support.line_records import check_kept, record, record_id

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
    assert ("no longer answers" if after > 300 else "no host answers") in line.said  # before the first offer
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


def pieces(line: LineBench) -> list[tuple[int, int]]:
    """Offset and length of each piece that the agent has sent."""
    messages = [
        parse_message(item.payload)
        for item in Deframer(limit_of("frame_limit")).feed(bytes(line.from_agent))
        if isinstance(item, Frame)
    ]
    return [(m.values["offset"], len(m.values["octets"])) for m in messages if m.kind == "data"]


@pytest.mark.parametrize(
    ("divisor", "keep", "in_vain"), [(1, False, [(0, 1024)]), (1, True, []), (12, False, [])]
)
def test_pieces_follow_the_offer_unasked_at_a_fast_rate(
    divisor: int, keep: bool, in_vain: list[tuple[int, int]]
) -> None:
    """Seen where the host has the record already: that costs one piece, and the host tells nobody of it."""
    octets = record(1, 9000)
    line = LineBench({"A.RDO": octets}, divisor=divisor, keep=keep)
    line.store[record_id(1)] = octets
    assert line.offer() == 0
    assert pieces(line) == in_vain
    assert not any(isinstance(event, Stray | Noise) for event in line.events)


@pytest.mark.parametrize("there", [500, 1024, 5000, 8999])
def test_first_piece_in_vain_makes_no_piece_shorter(there: int) -> None:
    """What the host has of a record is not sent again but for that piece, and nothing is taken for lost."""
    octets = record(1, 9000)
    line = LineBench({"A.RDO": octets})
    check = int.from_bytes(octets[-4:], "little")
    line.receiver.receive(frame(build_message("offer", id=record_id(1), length=9000, check=check)))
    for at in range(0, there, 1000):
        part = octets[at : min(at + 1000, there)]
        line.receiver.receive(frame(build_message("data", id=record_id(1), offset=at, octets=part)))
    line.receiver.to_send()
    assert line.offer() == 0
    assert line.store == {record_id(1): octets}
    rest = range(max(1024, there), 9000, 1024)
    assert pieces(line) == [(0, 1024), *((at, min(1024, 9000 - at)) for at in rest)]


def without_first_have(to_send: Callable[[], bytes]) -> Callable[[], bytes]:
    """What a receiver says, but for the first frame have."""
    unheard = iter([b""])

    def rest() -> bytes:
        out = to_send()
        return next(unheard, out) if out[:2] == b"\x7e\x04" else out

    return rest


@pytest.mark.parametrize(("lost", "wait"), [("offer", 1.8), ("have", 0.001), ("piece", 0.15)])
def test_offer_its_answer_or_the_first_piece_is_lost(lost: str, wait: float) -> None:
    """The pieces come again: after the next offer where the first is lost, else by the answers to later pieces."""
    spool = {"A.RDO": record(1, 9000)}
    clean = LineBench(spool)
    assert clean.offer() == 0
    offer, piece = clean.from_agent.index(b"\x7e\x03"), clean.from_agent.index(b"\x7e\x05")
    begin, end = (
        (offer, piece) if lost == "offer" else (piece, clean.from_agent.index(b"\x7e\x7e", piece) + 1)
    )
    line = LineBench(spool)
    if lost == "have":
        line.receiver.to_send = without_first_have(line.receiver.to_send)  # type: ignore[method-assign]
    else:
        line.host_lives = lambda: not begin < line.octets_to_host <= end
    assert line.offer() == 0
    check_kept(line)
    assert line.spool == {}
    assert line.seconds - clean.seconds < wait


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


@pytest.mark.parametrize("bad", [b"", b"x" * 27, b"no record at all, but long enough", record(1, 24)[:23]])
def test_what_is_no_record_stays(bad: bytes) -> None:
    line = LineBench({"A.RDO": bad, "B.RDO": record(2, 500)})
    assert line.offer() == 1
    assert line.spool == {"A.RDO": bad}
    assert "no record" in line.said


def test_record_that_was_cut_short_is_offered() -> None:
    """What a hung machine left behind: the host says what it makes of it."""
    octets = record(1, 27)
    line = LineBench({"A.RDO": octets})
    assert line.offer() == 0
    assert line.store == {record_id(1): octets}


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
    pressed = {"escape": 0x011B, "ctrl-c": 0x2E03, "ctrl-break": 0}[how]

    def keyboard(bench: Bench) -> None:
        ready = pressed != 0 and line.octets_to_host > 3000
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
