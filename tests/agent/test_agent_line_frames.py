"""The agent's frames on the bench: published check values, the host's framing, the cost of an octet."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.box.uart import Uart
from readoff.link.framing import frame
from support.agent_bench import Bench
from support.agent_line import BASE, LineBench, attach_uart
from support.line_records import record

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
    attach_uart(bench, uart)
    bench.word("uart_base", BASE)
    bench.word("uart_status", BASE + 5)
    bench.word("ring_mask", 512 - 1)
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
            found.append(bytes(bench.memory.octets[bench.at("scratch") :][:size]))
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
