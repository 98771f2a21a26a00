"""Lines at work, over real ptys and loopback sockets, with a twin of the agent at the other end."""

import os
import random
import socket
from contextlib import closing, suppress

import pytest

from readoff.arrivals.told import About
from readoff.contract.record import parse_record
from readoff.link import Sender, Spooled, Verdict, frame
from support.agent_twin import Port, a_pty, over_socket, play
from support.memory_intake import MemoryIntake
from support.port_server import port_server
from support.records import a_record
from support.watching import wait_until, watching

SERIAL, NONCE = 0x11223344, 0xA1B2C3D4


def spool_of(*records):
    return [Spooled(parse_record(octets).id, octets) for octets in records]


def a_sender(spool, **options):
    return Sender(SERIAL, NONCE, spool, **{"patience": 0.5, **options})


def kept(sender):
    return [verdict is Verdict.KEPT for verdict in sender.verdicts.values()]


@pytest.fixture(params=["pty", "listen", "socket"])
def line(request):
    """(how the host writes the line, how the agent's Port is got from the running watch)."""
    if request.param == "listen":
        yield "listen:127.0.0.1:0", lambda running: over_socket(opened(running))
    elif request.param == "pty":
        pty = a_pty()
        yield pty.path, lambda running: when_open(running, pty)
    else:
        with socket.create_server(("127.0.0.1", 0)) as listener:
            url = f"socket://127.0.0.1:{listener.getsockname()[1]}"
            yield url, lambda running: accepted(listener)


def when_open(running, pty):
    """Opening a serial port throws away what came before."""
    wait_until(lambda: running.watch.lines[0].status.alive)
    return pty.port


def opened(running):
    assert running.watch.lines[0].opened.wait(10)
    return running.watch.lines[0].tcp_port


def accepted(listener):
    connected, _ = listener.accept()
    return Port(connected.fileno(), connected.close)


def test_records_come_over_a_line_and_are_kept(line):
    text, port_of = line
    records = [a_record(1), a_record(2, random.Random(1).randbytes(9000)), a_record(3, b"x" * 60_000)]
    intake = MemoryIntake()
    with watching(intake, lines=[text]) as running:
        port = port_of(running)
        with closing(port):
            sender = a_sender(spool_of(*records))
            play(sender, port)
            assert kept(sender) == [True] * 3
            assert intake.octets == records
            wait_until(lambda: len(running.notes(About.AGENT)) == 2, "for bye")
            assert running.notes(About.AGENT)[0] == "agent 11223344, boot A1B2C3D4, is on the line"
            statuses = running.watch.statuses()
            assert sum(status.records for status in statuses) == 3
            assert sum(status.octets for status in statuses) > sum(map(len, records))
            # Again: nothing is asked for, nothing arrives twice.
            again = a_sender(spool_of(*records))
            play(again, port)
            assert kept(again) == [True] * 3
            assert intake.octets == records
    assert len(running.took) == 3
    assert running.took[1].came_from == f"{text} record 11223344-A1B2C3D4-0002"


def test_noise_costs_nothing_but_a_note(line):
    text, port_of = line
    intake = MemoryIntake()
    with watching(intake, lines=[text]) as running:
        port = port_of(running)
        with closing(port):
            port.write(b"\r\nNO CARRIER\r\n" * 3 + b"\0" * 50 + random.Random(2).randbytes(3000))
            sender = a_sender(spool_of(a_record(1)))
            play(sender, port)
            assert kept(sender) == [True]
    notes = running.notes(About.NOISE)
    assert notes[0].startswith("skipped ")
    assert "0D 0A 4E 4F 20 43 41 52" in notes[0]
    assert len(notes) <= 3


def test_a_store_that_fails_leaves_the_record_in_the_spool(line):
    text, port_of = line
    intake = MemoryIntake()
    draws = iter([False, True])  # known answers, take fails
    intake.failing = lambda: next(draws, False)
    with watching(intake, lines=[text]) as running:
        port = port_of(running)
        with closing(port):
            sender = a_sender(spool_of(a_record(1)))
            play(sender, port)
            assert list(sender.verdicts.values()) == [Verdict.REFUSED]
            assert intake.arrivals == []
            again = a_sender(spool_of(a_record(1)))
            play(again, port)
            assert kept(again) == [True]
    (note,) = running.notes(About.STORE)
    assert "was not kept" in note
    assert "the disk is full" in note


def test_a_store_that_is_busy_when_asked_is_asked_again(line):
    text, port_of = line
    intake = MemoryIntake()
    draws = iter([True])
    intake.failing = lambda: next(draws, False)
    with watching(intake, lines=[text]) as running:
        port = port_of(running)
        with closing(port):
            sender = a_sender(spool_of(a_record(1)), patience=0.1)
            play(sender, port)
            assert kept(sender) == [True]
    assert len(running.notes(About.STORE)) == 1


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # within pyserial
def test_a_port_server():
    """rfc2217://: pyserial's own port manager as the server, a pty as its port, the agent behind it."""
    pty, intake = a_pty(), MemoryIntake()
    with closing(pty.port), port_server(pty.path) as url, watching(intake, lines=[f"{url},19200"]) as running:
        wait_until(lambda: running.watch.lines[0].status.alive)
        record = a_record(1, random.Random(4).randbytes(5000))
        sender = a_sender(spool_of(record))
        play(sender, pty.port)
        assert kept(sender) == [True]
    assert intake.octets == [record]


def test_a_flood_of_frames_that_do_not_belong_here_is_one_note():
    intake, pty = MemoryIntake(), a_pty()
    with watching(intake, lines=[pty.path]) as running, closing(pty.port):
        port = when_open(running, pty)
        port.write(frame(b"\x55 of no kind") * 2000)
        sender = a_sender(spool_of(a_record(1)))
        play(sender, port)
        assert kept(sender) == [True]
    (note,) = running.notes(About.NOISE)
    assert "55h" in note


def test_two_agents_on_two_lines_at_once():
    intake = MemoryIntake()
    ptys = [a_pty(), a_pty()]
    spools = [spool_of(*(a_record(n, b"y" * 3000, serial=serial) for n in range(1, 6))) for serial in (1, 2)]
    senders = [a_sender(spool) for spool in spools]
    with watching(intake, lines=[pty.path for pty in ptys]), closing(ptys[0].port), closing(ptys[1].port):
        for _ in range(100_000):
            for sender, pty in zip(senders, ptys, strict=True):
                rounds = iter([False])
                play(sender, pty.port, until=lambda rounds=rounds: next(rounds, True))
            if all(sender.over for sender in senders):
                break
    assert [kept(sender) for sender in senders] == [[True] * 5] * 2
    assert len(intake.arrivals) == 10
    assert set(intake.whole()) == {each.id for spool in spools for each in spool}


def test_many_connections_to_one_listening_line():
    intake = MemoryIntake()
    with watching(intake, lines=["listen:127.0.0.1:0"]) as running:
        ports = [over_socket(opened(running)) for _ in range(5)]
        senders = [a_sender(spool_of(a_record(n + 1))) for n in range(5)]
        for sender, port in zip(senders, ports, strict=True):
            play(sender, port)
            port.close()
        wait_until(lambda: len(running.watch.statuses()) == 1, "for the connections to end")
        assert running.watch.statuses()[0].records == 5
    assert all(kept(sender) == [True] for sender in senders)


def test_a_connection_that_breaks_at_any_length_loses_nothing():
    """The line breaks after every number of octets up to a whole exchange; then the agent comes again."""
    record = a_record(1, b"Rate: 72.9 frames/s")
    intake = MemoryIntake()
    whole = b"".join(
        [frame(b"\x01\x01" + bytes(9)), frame(b"\x03" + bytes(18))]
    )  # what comes before the first data: a hello and an offer
    with watching(intake, lines=["listen:127.0.0.1:0"]) as running:
        tcp_port = opened(running)
        for length in range(0, len(whole) + len(record) + 40, 7):
            octets = _first_octets(record, length)
            with closing(over_socket(tcp_port)) as port, suppress(OSError):
                port.write(octets)
        before = len(intake.arrivals)
        with closing(over_socket(tcp_port)) as port:
            sender = a_sender(spool_of(record))
            play(sender, port)
        assert kept(sender) == [True]
        assert before <= 1
        assert intake.octets == [record]


def _first_octets(record, length):
    """The first ``length`` octets that an agent would send, its host answering at once."""
    from readoff.link.events import Arrived, Offered
    from readoff.link.receiver import Receiver

    sender, receiver, out = a_sender(spool_of(record)), Receiver(), b""
    while not sender.over and len(out) < length:
        octets = sender.to_send(0.0)
        out += octets
        for event in receiver.receive(octets):
            if isinstance(event, Offered):
                receiver.answer_new(event)
            elif isinstance(event, Arrived):
                receiver.kept(event.id, len(event.octets), event.check)
        sender.receive(receiver.to_send(), 0.0)
    return out[:length]


def test_a_port_that_is_not_there_then_is_then_vanishes_and_returns(tmp_path):
    """A USB adapter pulled out in mid-record: the link to the pty is the device's name."""
    device = tmp_path / "ttyUSB0"
    record = a_record(1, random.Random(3).randbytes(30_000))
    intake = MemoryIntake()
    with watching(intake, lines=[f"{device},115200"]) as running:
        wait_until(lambda: running.notes(About.SOURCE))
        assert "cannot be opened" in running.notes(About.SOURCE)[0]
        first = a_pty()
        device.symlink_to(first.path)
        sender = a_sender(spool_of(record))
        line = running.watch.lines[0]
        play(sender, first.port, until=lambda: line.status.octets > 10_000)
        device.unlink()
        first.port.close()
        wait_until(lambda: any(note.startswith("gone") for note in running.notes(About.SOURCE)))
        assert not line.status.alive
        assert intake.arrivals == []
        second = a_pty()
        device.symlink_to(second.path)
        # What had come is not asked for again, but for what was in the air.
        before = line.status.octets
        with closing(second.port):
            again = a_sender(spool_of(record))
            play(again, second.port)
            assert kept(again) == [True]
            assert line.status.octets - before < 25_000
            assert line.status.alive
    assert intake.octets == [record]


def test_a_line_that_takes_nothing_does_not_stop_the_others(monkeypatch):
    """A pty that nobody reads: its buffer fills with answers; another line works meanwhile."""
    monkeypatch.setattr("readoff.arrivals.connections.WRITE_WAIT", 0.1)
    intake = MemoryIntake()
    deaf, other = a_pty(), a_pty()
    hello = frame(b"\x01\x01" + bytes(9))
    with watching(intake, lines=[deaf.path, other.path]) as running, closing(deaf.port), closing(other.port):
        os.set_blocking(deaf.port.descriptor, False)

        def shout():
            with suppress(BlockingIOError):
                os.write(deaf.port.descriptor, hello * 50)
            return any("takes nothing" in note for note in running.notes(About.SOURCE))

        wait_until(shout)
        sender = a_sender(spool_of(a_record(1)))
        play(sender, other.port)
        assert kept(sender) == [True]
