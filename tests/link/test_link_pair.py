"""Both ends together, with no I/O: whatever the line does, what was told kept arrived whole, and it ends."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.link.events import Arrived, Bye
from readoff.link.receiver import Receiver
from readoff.link.sender import Sender, Verdict
from support.simulated_line import Desk, Faults, Line, check_invariant, spool_of

rate = st.sampled_from([0.0, 0.01, 0.05, 0.2])
faulty_lines = st.builds(
    Faults,
    lose=rate,
    flip=st.sampled_from([0.0, 1e-6, 1e-5, 1e-4, 1e-3]),
    double=rate,
    reorder=rate,
    drop_octet=rate,
    cut=rate,
    delay=st.sampled_from([0.0, 0.016, 0.3]),
)
spools = st.lists(st.integers(1, 6000), min_size=1, max_size=4).map(spool_of)


@settings(max_examples=200, deadline=None)
@given(spools, faulty_lines, st.integers(0, 2**32), st.sampled_from([64, 256, 1024]), st.booleans())
def test_told_kept_is_kept_whole_and_a_line_that_heals_brings_the_rest(spool, faults, seed, piece, failing):
    desk = Desk()
    line = Line(faults, seed)
    if failing:
        desk.failing = lambda: line.random.random() < 0.3
    receiver = Receiver()
    sender = Sender(7, 8, spool, piece=piece)
    line.run(sender, receiver, desk)
    check_invariant(sender, spool, desk)
    # Then the cable is seated well, and the store has room: only what is still in the spool is offered.
    desk.failing = lambda: False
    left = [each for each in spool if sender.verdicts[each.id] is not Verdict.KEPT]
    again = Sender(7, 8, left)
    Line(Faults(), seed).run(again, receiver, desk)
    assert set(again.verdicts.values()) <= {Verdict.KEPT}
    assert desk.kept == {each.id: each.octets for each in spool}


@pytest.mark.parametrize("seed", range(10))
def test_a_bad_line_still_brings_all(seed):
    """5 % of frames lost, one bit in 10,000 flipped: short pieces get through, nobody gives up."""
    spool = spool_of([20_000, 1, 700])
    desk, receiver = Desk(), Receiver()
    sender = Sender(7, 8, spool, piece=128, tries=20)
    Line(Faults(lose=0.05, flip=1e-4), seed).run(sender, receiver, desk)
    assert set(sender.verdicts.values()) == {Verdict.KEPT}
    assert desk.kept == {each.id: each.octets for each in spool}


@pytest.mark.parametrize("xon_xoff", [False, True])
def test_a_clean_line_sends_every_octet_once(xon_xoff):
    spool = spool_of([65_536])
    desk, receiver, line = Desk(), Receiver(), Line(Faults(delay=0.016), 1, 11_520.0)
    sender = Sender(7, 8, spool, xon_xoff=xon_xoff)
    events = line.run(sender, receiver, desk)
    assert [event.octets for event in events if isinstance(event, Arrived)] == [spool[0].octets]
    assert sender.verdicts[spool[0].id] is Verdict.KEPT
    # 15 octets of kind, id and offset, 4 of check, 2 flags for each 1,024; escapes 2 or 4 of 256 (all in random data).
    escapes = (4 if xon_xoff else 2) / 256
    ideal = 65_536 * (1 + 21 / 1024) * (1 + escapes)
    assert line.octets_out < 1.01 * ideal
    assert line.now < 1.02 * line.octets_out / line.rate + 0.2


def test_a_host_that_begins_anew_in_mid_record():
    """The new receiver has not heard the offer; the sender asks when nothing answers, and all comes."""
    spool = spool_of([30_000])
    desk, line = Desk(), Line(Faults(), 1)
    sender = Sender(7, 8, spool)
    first = Receiver()
    while not first.unfinished or first.unfinished[0].received < 10_000:
        line.now += 0.1
        desk.attend(first, first.receive(sender.to_send(line.now)))
        sender.receive(first.to_send(), line.now)
    line.run(sender, Receiver(), desk)
    assert desk.kept == {spool[0].id: spool[0].octets}
    assert sender.verdicts[spool[0].id] is Verdict.KEPT


def test_an_agent_that_begins_anew_in_mid_record_goes_on_where_it_was():
    spool = spool_of([30_000])
    desk, line, receiver = Desk(), Line(Faults(), 1), Receiver()
    first = Sender(7, 8, spool)
    while not receiver.unfinished or receiver.unfinished[0].received < 20_000:
        line.now += 0.1
        desk.attend(receiver, receiver.receive(first.to_send(line.now)))
        first.receive(receiver.to_send(), line.now)
    second = Sender(7, 8, spool)
    line.run(second, receiver, desk)
    assert desk.kept == {spool[0].id: spool[0].octets}
    assert line.octets_out < 12_000


def test_kept_lost_is_asked_for_again_and_kept_once():
    spool = spool_of([500])
    desk, receiver = Desk(), Receiver()
    desk.kept[spool[0].id] = spool[0].octets
    line = Line(Faults(), 1)
    sender = Sender(7, 8, spool)
    events = line.run(sender, receiver, desk)
    assert not any(isinstance(event, Arrived) for event in events)
    assert sender.verdicts[spool[0].id] is Verdict.KEPT


def test_without_a_host_the_sender_ends_and_keeps_its_spool():
    spool = spool_of([500])
    sender = Sender(7, 8, spool)
    Line(Faults(lose=1.0), 1).run(sender, Receiver(), Desk())
    assert sender.verdicts[spool[0].id] is Verdict.WAITING


def test_refused_stays_in_the_spool_and_bye_says_how_many():
    spool = spool_of([500, 600])
    desk = Desk(failing=lambda: True)
    sender = Sender(7, 8, spool)
    receiver, line = Receiver(), Line(Faults(), 1)
    events = line.run(sender, receiver, desk)
    assert set(sender.verdicts.values()) == {Verdict.REFUSED}
    assert desk.kept == {}
    assert events[-1] == Bye(2)


def test_busy_is_waited_for():
    spool = spool_of([500])
    receiver, sender = Receiver(), Sender(7, 8, spool)
    sender.receive(b"", 0.0)
    receiver.receive(sender.to_send(0.0))
    sender.receive(receiver.to_send(), 0.0)
    receiver.receive(sender.to_send(0.0))
    receiver.refuse(spool[0].id, "busy")
    sender.receive(receiver.to_send(), 0.1)
    assert sender.to_send(0.2) == b""
    assert sender.to_send(sender.due) != b""
    assert sender.verdicts[spool[0].id] is Verdict.WAITING
