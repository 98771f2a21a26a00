"""Framing: any payload, any map, any pieces, any garbage; every octet accounted for."""

from hypothesis import given
from hypothesis import strategies as st

from readoff.link.framing import XON_XOFF, Deframer, Frame, Skipped, frame
from support.fed import fed, fed_whole_bytewise_and_with_more

LIMIT = 1100
payloads = st.binary(min_size=1, max_size=LIMIT - 4)
maps = st.sampled_from([0, XON_XOFF, 0xFFFFFFFF])
# Garbage in which flags and escapes are as common as all else.
garbage = st.lists(
    st.one_of(st.binary(max_size=40), st.sampled_from([b"\x7e", b"\x7d", b"\x7d\x7e", frame(b"sound")]))
).map(b"".join)


@given(payloads, maps)
def test_what_was_framed_comes_out(payload, accm):
    octets = frame(payload, accm)
    assert not any(accm >> octet & 1 for octet in octets if octet < 32)
    for items in fed_whole_bytewise_and_with_more(octets, accm=accm):
        assert items == [Frame(payload)]


@given(payloads, st.data())
def test_octets_that_the_map_names_may_be_strewn_in(payload, data):
    octets = bytearray(frame(payload, XON_XOFF))
    for at in data.draw(st.lists(st.integers(0, len(octets)), max_size=5)):
        octets.insert(at, data.draw(st.sampled_from([0x11, 0x13])))
    assert fed(bytes(octets), 7, accm=XON_XOFF) == [Frame(payload)]


@given(garbage, st.integers(1, 50))
def test_garbage_in_any_pieces_comes_to_the_same_and_is_accounted_for(octets, step):
    deframer = Deframer(LIMIT)
    items = [item for at in range(0, len(octets), step) for item in deframer.feed(octets[at : at + step])]
    framed = sum(len(frame(item.payload)) - 2 for item in items if isinstance(item, Frame))
    skipped = sum(item.octets for item in items if isinstance(item, Skipped))
    assert framed + skipped + deframer.flags + deframer.pending == len(octets)
    assert fed(octets, step) == fed(octets, max(1, len(octets)))
    left = deframer.pending
    assert sum(item.octets for item in deframer.finish()) == left


@given(garbage)
def test_a_frame_after_any_garbage_is_found(octets):
    """At the latest after one flag more: the garbage's last octet may be half an escape."""
    items = fed(octets + b"\x7e" + frame(b"after it"), 64)
    assert items[-1] == Frame(b"after it")


@given(payloads, st.integers(0, 10_000), st.integers(0, 7))
def test_no_flipped_bit_passes(payload, at, bit):
    octets = bytearray(frame(payload))
    octets[at % len(octets)] ^= 1 << bit
    assert [item for item in fed(bytes(octets), 64) if isinstance(item, Frame)] in ([], [Frame(payload)])
    if 0 < at % len(octets) < len(octets) - 1:
        assert not any(isinstance(item, Frame) for item in fed(bytes(octets), 64))


def test_memory_is_bounded_and_endless_noise_is_told():
    deframer = Deframer(LIMIT)
    told = 0
    for _ in range(100):
        told += sum(item.octets for item in deframer.feed(b"U" * 1000))
        assert deframer.pending <= 2 * LIMIT
    assert told + deframer.pending == 100_000
    assert deframer.feed(b"UUU\x7e" + frame(b"then")[1:])[-1] == Frame(b"then")


def test_limits_of_length():
    longest = b"x" * (LIMIT - 4)
    assert fed(frame(longest), 99) == [Frame(longest)]
    (skipped,) = fed(frame(longest + b"x"), 99)
    assert (skipped.octets, skipped.why) == (LIMIT + 1, "longer than a frame may be")
    (skipped,) = fed(b"\x7eabcd\x7e", 99)
    assert skipped == Skipped(4, b"abcd", "too short for a frame")
    assert fed(b"\x7e" * 50, 7) == []


def test_one_flag_between_frames_is_enough():
    octets = frame(b"one") + frame(b"two")[1:] + frame(b"three")[1:]
    for items in fed_whole_bytewise_and_with_more(octets):
        assert items == [Frame(b"one"), Frame(b"two"), Frame(b"three")]
