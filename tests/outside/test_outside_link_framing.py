"""Framing and check sums against published values. Each source stands beside its values.

RFC 1662 "PPP in HDLC-like Framing", appendix C: polynomials, initial values and good registers of both check
sums; CRC catalogue names as in crccheck 1.3.1, an independent implementation.
"""

import struct
import zlib

import pytest
from crccheck.crc import Crc32, CrcX25

from readoff.link.framing import FCS32, Fcs, Frame, Skipped, frame
from support.fed import fed_whole_bytewise_and_with_more

# The 16-bit check sum of RFC 1662 is no part of the product: the link uses 32 bits. It is taken from crccheck, so
# that published frames with it can test the framing.
FCS16 = Fcs(2, CrcX25.calc)
ALL_CONTROLS = 0xFFFFFFFF

# Source: '123456789' and 01 7E 7D 11 7D 5E, recomputed with PyPI python4yahdlc (16 bit) and zlib (32 bit).
WORKED = [
    pytest.param(b"123456789", FCS16, "7E 313233343536373839 6E 90 7E", id="digits-16"),
    pytest.param(b"123456789", FCS32, "7E 313233343536373839 26 39 F4 CB 7E", id="digits-32"),
    pytest.param(
        bytes.fromhex("017E7D117D5E"), FCS16, "7E 01 7D5E 7D5D 11 7D5D 5E 2B 72 7E", id="specials-16"
    ),
    pytest.param(
        bytes.fromhex("017E7D117D5E"), FCS32, "7E 01 7D5E 7D5D 11 7D5D 5E E6 E6 8F AE 7E", id="specials-32"
    ),
    pytest.param(b"\0", FCS16, "7E 00 78 F0 7E", id="one-octet-16"),
]

# Source: frames captured from PPP links and printed in public manuals.
CAPTURED = [
    pytest.param(
        bytes.fromhex("FF03C02105050004"),
        ALL_CONTROLS,
        "7E FF 7D23 C0 21 7D25 7D25 7D20 7D24 5C A4 7E",
        id="lcp-terminate",
    ),
    pytest.param(
        bytes.fromhex("C021090500 08EB20CCEC"),
        0,
        "7E C0 21 09 05 00 08 EB 20 CC EC 7D5D 15 7E",
        id="lcp-echo",
    ),
]


@pytest.mark.parametrize(("payload", "fcs", "octets"), WORKED)
def test_worked_frames_both_ways(payload, fcs, octets):
    assert frame(payload, fcs=fcs) == bytes.fromhex(octets)
    for items in fed_whole_bytewise_and_with_more(bytes.fromhex(octets), fcs=fcs):
        assert items == [Frame(payload)]


@pytest.mark.parametrize(("payload", "accm", "octets"), CAPTURED)
def test_captured_frames_both_ways(payload, accm, octets):
    assert frame(payload, accm=accm, fcs=FCS16) == bytes.fromhex(octets)
    for items in fed_whole_bytewise_and_with_more(bytes.fromhex(octets), fcs=FCS16, accm=accm):
        assert items == [Frame(payload)]


def test_check_value_of_the_catalogues():
    """'123456789' -> CBF43926: the catalogued check value of CRC-32/ISO-HDLC; 906E of CRC-16/X-25."""
    assert FCS32.of(b"123456789") == 0xCBF43926 == Crc32.calc(b"123456789")
    assert FCS16.of(b"123456789") == 0x906E


@pytest.mark.parametrize(("octet", "entry"), [(1, 0x77073096), (2, 0xEE0E612C), (255, 0x2D02EF8D)])
def test_table_of_the_rfc(octet, entry):
    """Entries of the 32-bit table in RFC 1662 C.3: the register after one octet from a register of 0."""
    start = 0xFFFFFFFF  # zlib keeps the register's complement: this is a register of 0
    assert zlib.crc32(bytes([octet]), start) ^ 0xFFFFFFFF == entry


def test_good_register():
    """RFC 1662 C.3: over octets and their check sum the register is DEBB20E3h."""
    for payload in (b"", b"123456789", bytes(range(256)) * 4):
        whole = payload + struct.pack("<I", FCS32.of(payload))
        assert zlib.crc32(whole) ^ 0xFFFFFFFF == 0xDEBB20E3


def test_a_frame_is_aborted_by_7d_7e():
    """RFC 1662, 4.4: 7D 7E aborts, the octets before it are no frame."""
    whole = frame(b"123456789")
    for items in fed_whole_bytewise_and_with_more(whole[:-1] + b"\x7d\x7e" + whole):
        assert [type(item) for item in items] == [Skipped, Frame]
        assert items[0].octets == len(whole) - 1


def test_overhead_on_random_octets():
    """0.781 % with no map, 1.5625 % with XON/XOFF, 13.28 % with all controls: 2/256, 4/256, 34/256 of octets."""
    every = bytes(range(256)) * 64
    for accm, escaped in ((0, 2), (1 << 0x11 | 1 << 0x13, 4), (ALL_CONTROLS, 34)):
        check = len(frame(b"", accm=accm))  # flags and an empty check sum
        overhead = (len(frame(every, accm=accm)) - len(every) - check) / len(every)
        assert overhead == pytest.approx(escaped / 256, abs=8 / len(every))
