"""The host's end: what each frame does, in every state; hostile frames; bounded memory."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.contract.record import RecordId
from readoff.link.events import (
    AgentSeen,
    Arrived,
    Bye,
    LetGo,
    Noise,
    Offered,
    OtherVersion,
    Refused,
    StartedAgain,
    Stray,
)
from readoff.link.frames import build_message, parse_message
from readoff.link.framing import XON_XOFF, Deframer, Frame, frame
from readoff.link.receiver import Receiver

IDENT = RecordId(0x11223344, 0xA1B2C3D4, 7)
OCTETS = bytes(range(256)) * 40
LENGTH = len(OCTETS)
CHECK = int.from_bytes(OCTETS[-4:], "little")
OFFERED = Offered(IDENT, LENGTH, CHECK)


def offer(id=IDENT, length=LENGTH, check=CHECK):
    return frame(build_message("offer", id=id, length=length, check=check))


def data(offset, end, octets=OCTETS, id=IDENT):
    return frame(build_message("data", id=id, offset=offset, octets=octets[offset:end]))


def sent(receiver, accm=0):
    """What the receiver has sent since: (kind, values without the id)."""
    items = Deframer(1100, accm).feed(receiver.to_send())
    messages = [parse_message(item.payload) for item in items if isinstance(item, Frame)]
    assert len(messages) == len(items)
    return [(m.kind, {name: each for name, each in m.values.items() if name != "id"}) for m in messages]


def have(offset, *holes):
    return ("have", {"offset": offset, "holes": [{"begin": b, "end": e} for b, e in holes]})


@pytest.fixture
def begun():
    """A receiver that was offered the record and wants it."""
    receiver = Receiver()
    assert receiver.receive(offer()) == [OFFERED]
    receiver.answer_new(OFFERED)
    assert sent(receiver) == [have(0)]
    return receiver


def hello(version=1, xon_xoff=False, more=b""):
    values = {"version": version, "agent_serial": 5, "boot_nonce": 6, "flags": {"xon_xoff": xon_xoff}}
    return build_message("hello", **values) + more


def test_hello_is_welcomed():
    receiver = Receiver()
    assert receiver.receive(frame(hello())) == [AgentSeen(5, 6, False)]
    flags = {"xon_xoff": False, "other": 0}
    assert sent(receiver) == [("welcome", {"version": 1, "data_limit": 1024, "flags": flags})]


def test_xon_xoff_is_escaped_and_removed_as_the_agent_asks():
    receiver = Receiver()
    receiver.receive(frame(hello(xon_xoff=True), XON_XOFF))
    assert sent(receiver, XON_XOFF)[0][0] == "welcome"
    id = RecordId(0x11131113, 1, 1)
    noisy = offer(id).replace(b"\x11", b"\x7d\x31").replace(b"\x13", b"\x7d\x33")
    (offered,) = receiver.receive(noisy[:5] + b"\x13\x11" + noisy[5:])
    receiver.answer_new(offered)
    octets = receiver.to_send()
    assert b"\x11" not in octets
    assert b"\x13" not in octets
    assert receiver.receive(frame(hello())) == [AgentSeen(5, 6, False)]
    receiver.answer_new(offered)
    assert b"\x11" in receiver.to_send()


def test_another_version_is_told_and_answered_with_ours():
    receiver = Receiver()
    events = receiver.receive(frame(hello(version=2, more=b"and what version 2 added")))
    assert events == [AgentSeen(5, 6, False), OtherVersion(2, 1)]
    assert sent(receiver)[0][1]["version"] == 1


def test_a_known_record_is_kept_at_once():
    receiver = Receiver()
    receiver.receive(offer())
    receiver.answer_known(OFFERED)
    assert sent(receiver) == [("kept", {"length": len(OCTETS), "check": CHECK})]
    assert receiver.unfinished == ()


def test_in_order_every_fourth_is_acknowledged_and_the_last_arrives(begun):
    events = []
    for at in range(0, len(OCTETS), 1024):
        events += begun.receive(data(at, at + 1024))
    assert events == [Arrived(IDENT, OCTETS, CHECK)]
    assert sent(begun) == [have(4096), have(8192), have(10240)]
    begun.kept(IDENT, len(OCTETS), CHECK)
    assert sent(begun) == [("kept", {"length": len(OCTETS), "check": CHECK})]
    assert begun.unfinished == ()


def test_nothing_but_the_edge_says_kept(begun):
    begun.receive(data(0, 1000) + data(1000, 2000) + data(3000, 4000))
    begun.receive(frame(build_message("data", id=IDENT, offset=0, octets=b"")))
    kinds = {kind for kind, _ in sent(begun)}
    assert kinds == {"have"}


def test_a_hole_is_told_once_and_filled(begun):
    begun.receive(data(0, 1000))
    begun.receive(data(2000, 3000))
    assert sent(begun) == [have(1000, (1000, 2000))]
    begun.receive(data(3000, 4000))
    assert sent(begun) == []
    begun.receive(data(5000, 6000))
    assert sent(begun) == [have(1000, (1000, 2000), (4000, 5000))]
    begun.receive(data(950, 2000))
    begun.receive(data(950, 2000))
    assert sent(begun) == [have(4000, (4000, 5000))]


def test_frames_that_add_nothing_are_answered(begun):
    begun.receive(data(0, 1000))
    begun.receive(data(0, 1000))
    assert sent(begun) == [have(1000)]


def test_an_offer_again_resumes(begun):
    begun.receive(data(0, 1000) + data(2000, 3000))
    sent(begun)
    begun.line_ended()
    assert begun.receive(offer()) == [OFFERED]
    begun.answer_new(OFFERED)
    assert sent(begun) == [have(1000, (1000, 2000))]


@pytest.mark.parametrize("other", [{"length": 9000}, {"check": 1}])
def test_the_same_record_with_another_end_starts_again(begun, other):
    begun.receive(data(0, 1000))
    again, offered = begun.receive(offer(**other))
    assert isinstance(again, StartedAgain)
    assert (again.id, again.lost) == (IDENT, 1000)
    begun.answer_new(offered)
    assert sent(begun) == [have(0)]


def test_octets_that_disagree_start_it_again(begun):
    begun.receive(data(0, 1000) + data(2000, 3000))
    sent(begun)
    (again,) = begun.receive(data(500, 1500, octets=b"\xaa" * 1500))
    assert isinstance(again, StartedAgain)
    assert again.lost == 2000
    assert sent(begun) == [have(0)]


def test_a_last_check_that_is_not_the_offered_one_is_tried_once_more_then_refused(begun):
    wrong = OCTETS[:-1] + b"?"
    whole = b"".join(data(at, at + 1024, wrong) for at in range(0, len(wrong), 1024))
    (again,) = begun.receive(whole)
    assert isinstance(again, StartedAgain)
    (refused,) = begun.receive(whole)
    assert isinstance(refused, Refused)
    assert "last octets" in refused.why
    assert sent(begun)[-1] == ("refused", {"reason": "store_failed"})
    assert begun.unfinished == ()


def test_the_edge_may_refuse(begun):
    for at in range(0, len(OCTETS), 1024):
        begun.receive(data(at, at + 1024))
    sent(begun)
    begun.refuse(IDENT, "busy")
    assert sent(begun) == [("refused", {"reason": "busy"})]


def test_a_record_that_is_too_long_is_refused():
    receiver = Receiver()
    (refused,) = receiver.receive(offer(length=1_048_577))
    assert isinstance(refused, Refused)
    assert sent(receiver) == [("refused", {"reason": "too_long"})]
    assert receiver.receive(offer(length=1_048_576)) == [Offered(IDENT, 1_048_576, CHECK)]


def test_unfinished_records_are_bounded_and_the_oldest_goes():
    receiver = Receiver(unfinished_limit=3)
    ids = [RecordId(1, 1, ordinal) for ordinal in range(5)]
    events = [event for id in ids for event in receiver.receive(offer(id))]
    assert [event.id for event in events if isinstance(event, LetGo)] == ids[:2]
    assert [assembly.id for assembly in receiver.unfinished] == ids[2:]
    (stray,) = receiver.receive(data(0, 10, id=ids[0]))
    assert isinstance(stray, Stray)


def test_holes_are_bounded_and_the_record_arrives_all_the_same():
    octets = bytes(range(256)) * 16
    check = int.from_bytes(octets[-4:], "little")
    receiver = Receiver()
    (offered,) = receiver.receive(offer(length=len(octets), check=check))
    receiver.answer_new(offered)
    for at in range(0, len(octets), 2):
        receiver.receive(data(at, at + 1, octets))
    assert len(receiver.unfinished[0].missing) <= 1025
    told = [values for kind, values in sent(receiver) if kind == "have"]
    assert max(len(values["holes"]) for values in told) == 8
    events = [
        event for at in range(0, len(octets), 512) for event in receiver.receive(data(at, at + 512, octets))
    ]
    assert events == [Arrived(IDENT, octets, check)]


def test_strays_are_told_and_change_nothing(begun):
    strays = [
        data(0, 10, id=RecordId(9, 9, 9)),
        frame(build_message("data", id=IDENT, offset=len(OCTETS) - 1, octets=b"xx")),
        frame(build_message("data", id=IDENT, offset=0xFFFFFFFF, octets=b"xx")),
        frame(build_message("kept", id=IDENT, length=1, check=1)),
        frame(build_message("welcome", version=1, data_limit=9, flags={})),
        frame(b"\x55 no kind"),
        frame(b"\x03short"),
        frame(build_message("bye", left=1) + b"longer"),
        offer(RecordId(9, 9, 9), length=0),
    ]
    events = [event for each in strays for event in begun.receive(each)]
    assert [type(event) for event in events] == [Stray] * len(strays)
    assert sent(begun) == []
    assert [a.id for a in begun.unfinished] == [IDENT]


@pytest.mark.parametrize("settle", ["kept", "refused"])
def test_a_piece_that_went_with_an_offer_is_no_stray_when_the_record_is_settled(settle):
    """Whoever sends it could not know yet. Of other records it is one, and so it is once another record is settled."""
    receiver, other = Receiver(), RecordId(9, 9, 9)
    (offered,) = receiver.receive(offer())
    if settle == "kept":
        receiver.answer_known(offered)
    else:
        receiver.refuse(IDENT, "too_long")
    assert [kind for kind, _ in sent(receiver)] == [settle]
    assert receiver.receive(data(0, 1024)) == []
    assert [type(event) for event in receiver.receive(data(0, 1024, id=other))] == [Stray]
    assert sent(receiver) == [] and receiver.unfinished == ()
    receiver.kept(other, 100, 1)
    assert [type(event) for event in receiver.receive(data(0, 1024))] == [Stray]


def test_bye_and_noise():
    receiver = Receiver()
    events = receiver.receive(b"CONNECT 9600\r\n" + frame(build_message("bye", left=3)))
    assert events == [Noise(14, b"CONNECT 9600\r\n", events[0].why), Bye(3)]
    assert receiver.receive(b"half a fra") == []
    assert receiver.line_ended() == [Noise(10, b"half a fra", "a frame that never ended")]


sound = st.sampled_from(
    [offer(), offer(length=100), data(0, 500), data(700, 900), data(0, 10), frame(hello())]
)


@given(st.lists(st.one_of(st.binary(max_size=60), st.binary(min_size=1, max_size=60).map(frame), sound)))
def test_nothing_that_arrives_raises(pieces):
    receiver = Receiver()
    for piece in pieces:
        receiver.receive(piece)
    assert "kept" not in {kind for kind, _ in sent(receiver)}


@given(st.lists(st.tuples(st.integers(0, 300), st.integers(0, 120)), max_size=60))
def test_the_assembly_agrees_with_a_plain_set(pieces):
    """Whatever comes in whatever order: what is missing is what no piece covered."""
    octets = bytes(number % 251 for number in range(300))
    check = int.from_bytes(octets[-4:], "little")
    receiver = Receiver()
    receiver.receive(offer(length=300, check=check))
    covered: set[int] = set()
    for begin, length in pieces:
        events = receiver.receive(data(begin, begin + length, octets))
        covered |= set(range(begin, min(300, begin + length)))
        if len(covered) == 300:
            assert events == [Arrived(IDENT, octets, check)]
            return
        (assembly,) = receiver.unfinished
        missing = {at for gap in assembly.missing for at in range(*gap)}
        assert missing == set(range(300)) - covered
        assert assembly.received == len(covered)
