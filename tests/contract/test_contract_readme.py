"""protocols/README.md prints whole frames and a whole record in hex: exactly those are parsed here."""

import re
import zlib
from pathlib import Path

import pytest

from readoff.contract import link_contract, record_contract
from readoff.contract.record import Completeness, parse_record

README = Path(__file__).parents[2] / "protocols" / "README.md"
BLOCKS = re.findall(r"^```(record|frame \w+)\n(.*?)^```", README.read_text(encoding="utf-8"), re.M | re.S)


def lines_of(text: str) -> list[tuple[bytes, str]]:
    rows = [[part.strip() for part in line.split("|")] for line in text.splitlines()]
    return [(bytes.fromhex(row[0]), row[1]) for row in rows]


def unescaped(octets: bytes) -> bytes:
    out = bytearray()
    escaped = False
    for octet in octets:
        if octet == 0x7D:
            escaped = True
            continue
        out.append(octet ^ 0x20 if escaped else octet)
        escaped = False
    return bytes(out)


def paths(contract, layout: str, prefix: str) -> list[str]:
    out = []
    for field in contract.declarations.layouts[layout].fields:
        name = f"{prefix}.{field.name}"
        out += paths(contract, field.layout, name) if field.type == "layout" else [name]
    return out


def test_there_are_frames_and_a_record():
    kinds = [kind for kind, _ in BLOCKS]
    assert len([kind for kind in kinds if kind.startswith("frame")]) >= 3
    assert kinds.count("record") == 1


@pytest.mark.parametrize(("kind", "text"), [block for block in BLOCKS if block[0] != "record"])
def test_a_printed_frame(kind, text):
    contract = link_contract()
    name = kind.split()[1]
    rows = [(unescaped(octets), label) for octets, label in lines_of(text)]
    labels = [label for _, label in rows]
    assert labels == ["flag", "kind", *paths(contract, name, name), "fcs", "flag"]
    payload = b"".join(octets for octets, label in rows if label not in ("flag", "fcs"))
    assert payload[0] == contract.kinds[name].number
    assert int.from_bytes(rows[-2][0], "little") == zlib.crc32(payload)
    values = contract.codec.parse(name, payload[1:])
    assert contract.codec.build(name, values) == payload[1:]
    assert {octets for octets, label in rows if label == "flag"} == {b"\x7e"}


def test_the_printed_record():
    contract = record_contract()
    (text,) = [text for kind, text in BLOCKS if kind == "record"]
    rows = lines_of(text)
    octets = b"".join(octets for octets, _ in rows)
    record = parse_record(octets)
    assert record.completeness is Completeness.WHOLE
    assert record.kind == "run"
    assert record.values("run_start")["label"] == "zero-ws"
    assert record.values("console")["octets"] == b"Ways: score 12.50 points\r\n"
    expected = [*paths(contract, "header", "header"), "check"]
    for section in record.sections:
        expected += paths(contract, "section_head", "section_head")
        expected += [*paths(contract, section.name, section.name), "check"]
    assert [label for _, label in rows] == expected
    end = record.values("run_end")
    # 264/315 microseconds a count: 315/264 MHz is the PIT's clock (REFERENCES: 14.31818 MHz / 12).
    counts = end["elapsed_ticks"] * 65536 + end["elapsed_counts"]
    assert f"{counts * 264 / 315e6:.5f} s" in text
