"""Records: every truncation and every flipped bit of a sample, strung together, hostile."""

import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.contract.record import (
    MAGIC,
    Completeness,
    Record,
    RecordId,
    Unreadable,
    build_record,
    parse_record,
    parse_records,
)
from readoff.errors import MalformedError

IDENT = RecordId(0x11223344, 0xA1B2C3D4, 7)
RUN_START = {
    "repeat": 1,
    "repeats": 2,
    "snapshot_ordinal": 6,
    "free_paragraphs": 0x9000,
    "label": "zero-ws",
    "program": "replay",
    "path": "C:\\REPLAY.COM",
    "arguments": "200",
}
SAMPLE = build_record("run", IDENT, [("run_start", RUN_START), ("console", b"Rate: 72.9 frames/s\r\n")])


def joined(octets: bytes) -> bytes:
    return b"".join(part.octets for part in parse_records(octets))


def test_a_whole_record_reads_back():
    record = parse_record(SAMPLE)
    assert record.completeness is Completeness.WHOLE
    assert record.id == IDENT
    assert record.values("run_start") == RUN_START
    assert record.values("console") == {"octets": b"Rate: 72.9 frames/s\r\n"}
    console = record.all("console")[0]
    assert SAMPLE[console.begin : console.begin + 10] == b"Rate: 72.9"
    assert str(record.id) == "11223344-A1B2C3D4-0007"


def test_the_last_check_is_the_crc_of_all_but_the_checks():
    record = parse_record(SAMPLE)
    # CRC-32/ISO-HDLC by zlib over header, and each head + payload.
    running = zlib.crc32(SAMPLE[:24])
    for section in record.sections:
        running = zlib.crc32(SAMPLE[section.begin - 4 : section.begin + len(section.payload)], running)
    assert record.check == running
    other = build_record("run", IDENT, [("run_start", RUN_START), ("console", b"Rate: 73.9 frames/s\r\n")])
    assert parse_record(other).check != record.check


@pytest.mark.parametrize("length", range(1, len(SAMPLE)))
def test_every_truncation_is_kept_and_nothing_more_is_believed(length):
    parts = parse_records(SAMPLE[:length])
    assert joined(SAMPLE[:length]) == SAMPLE[:length]
    whole = parse_record(SAMPLE)
    if length < 28:
        assert [type(part) for part in parts] == [Unreadable]
        assert "octet 0" in parts[0].reason
        return
    (record,) = parts
    assert isinstance(record, Record)
    assert record.completeness is Completeness.CUT_SHORT
    assert record.problem
    expected = [s for s in whole.sections if s.begin + len(s.payload) + 4 <= length]
    assert list(record.sections) == expected


@pytest.mark.parametrize("bit", range(8))
def test_every_flipped_bit_is_found(bit):
    whole = parse_record(SAMPLE)
    for at in range(len(SAMPLE)):
        octets = bytearray(SAMPLE)
        octets[at] ^= 1 << bit
        parts = parse_records(bytes(octets))
        assert b"".join(part.octets for part in parts) == bytes(octets)
        for part in parts:
            if isinstance(part, Record):
                assert part.completeness is not Completeness.WHOLE
                # what is still believed is exactly what stands before the flip
                assert list(part.sections) == list(whole.sections[: len(part.sections)])
                assert all(s.begin + len(s.payload) + 4 <= at for s in part.sections)


@given(st.binary(max_size=400))
def test_any_octets_are_kept(octets):
    assert joined(octets) == octets
    assert joined(MAGIC + octets) == MAGIC + octets


@given(
    st.lists(st.tuples(st.integers(0x60, 0x7E), st.binary(max_size=60)), max_size=5),
    st.integers(0, 0xFFFFFFFF),
)
def test_sections_of_unknown_kind_are_kept_as_octets(sections, nonce):
    record = parse_record(build_record("run", RecordId(1, nonce, 2), sections))
    assert record.completeness is Completeness.WHOLE
    assert [(s.tag, s.payload, s.name) for s in record.sections[:-1]] == [(t, p, "") for t, p in sections]


def test_records_strung_together_and_padded():
    parts = parse_records(b"junk" + SAMPLE + SAMPLE[:50] + SAMPLE + b"\x1a")
    kinds = [part.completeness if isinstance(part, Record) else "none" for part in parts]
    assert kinds == ["none", Completeness.WHOLE, Completeness.DAMAGED, Completeness.WHOLE, "none"]
    assert "padding" in parts[-1].reason
    assert parts[0].begin == 0
    assert "4 octets that are no record" in parts[0].reason


def test_a_section_that_does_not_fit_its_layout_is_told_and_the_rest_read():
    record = parse_record(build_record("run", IDENT, [("run_end", b"\0\0"), ("console", b"x")]))
    assert record.completeness is Completeness.WHOLE
    assert record.sections[0].values is None
    assert "run_end.exit_code" in record.sections[0].problem
    assert record.values("console") == {"octets": b"x"}


def test_a_later_agents_longer_section_is_read_as_far_as_known():
    longer = build_record("run", IDENT, [("end", b"\0" * 12)])
    assert parse_records(longer)[0].completeness is Completeness.DAMAGED  # an END that lies about the length
    start = bytes(parse_record(SAMPLE).sections[0].payload) + b"more"
    assert parse_record(build_record("run", IDENT, [("run_start", start)])).values("run_start") == RUN_START


def test_a_swarm_of_magic_words_costs_little():
    octets = (MAGIC + b"\x01\x02\xff\xff") * 100_000
    assert joined(octets) == octets


@pytest.mark.parametrize("octets", [b"", b"nothing of ours", SAMPLE + SAMPLE])
def test_parse_record_takes_exactly_one(octets):
    with pytest.raises(MalformedError):
        parse_record(octets)


def test_a_record_beyond_the_limit_is_damaged():
    part = (0x66, b"\0" * 65000)
    assert parse_records(build_record("run", IDENT, [part] * 17))[0].completeness is Completeness.DAMAGED
    assert parse_records(build_record("run", IDENT, [part] * 16))[0].completeness is Completeness.WHOLE
