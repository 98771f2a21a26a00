"""The host's side of the loader: every block as asked, whatever noise lies between, in whatever pieces it comes."""

import zlib

from hypothesis import given
from hypothesis import strategies as st

from readoff.link.lead import Lead

LIMIT = 512


def ask(number: int) -> bytes:
    """As the loader asks: 'RO', the block's number, its complement."""
    return b"RO" + number.to_bytes(2, "little") + (number ^ 0xFFFF).to_bytes(2, "little")


def block(octets: bytes) -> tuple[int, bytes]:
    """One answer, checked: number and octets."""
    number, length = int.from_bytes(octets[:2], "little"), int.from_bytes(octets[2:4], "little")
    assert len(octets) == 4 + length + 4
    assert zlib.crc32(octets[:-4]).to_bytes(4, "little") == octets[-4:]
    return number, octets[4:-4]


@given(st.binary(max_size=1600))
def test_the_file_is_its_blocks_in_order(file):
    lead, got, number = Lead(file), b"", 0
    while True:
        assert not lead.ended
        at, octets = block(lead.receive(ask(number)))
        assert at == number
        if not octets:
            break
        got, number = got + octets, number + 1
    assert got == file
    assert lead.ended and lead.asked == lead.blocks + 1 == lead.answered


@given(st.binary(max_size=60), st.lists(st.integers(1, 9), min_size=1, max_size=30), st.integers(0, 3))
def test_noise_and_pieces_ask_for_nothing_else(noise, cuts, number):
    lead = Lead(bytes(1600))
    heard, out, at = noise.replace(b"RO", b"") + ask(number), b"", 0
    for cut in [*cuts, len(heard)]:
        out += lead.receive(heard[at : at + cut])
        at += cut
    assert block(out)[0] == number


def test_a_number_with_a_wrong_bit_is_not_answered():
    lead = Lead(bytes(1600))
    spoilt = bytearray(ask(1))
    spoilt[2] ^= 2
    assert lead.receive(bytes(spoilt)) == b""
    assert block(lead.receive(ask(2)))[0] == 2


def test_a_block_beyond_the_end_is_not_there():
    lead = Lead(bytes(700))
    assert lead.receive(ask(3)) == b""
    assert block(lead.receive(ask(2))) == (2, b"")
