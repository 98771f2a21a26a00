"""A DOS program in printable characters, so that it passes wherever text does: COPY from a serial line, say.

The octets 20h to 7Eh are all that a text can be sure to keep. Few instructions have only such octets, so the program
begins with a stub that does: it makes the words of a small decoder by subtracting printable numbers, and jumps there.
The decoder then makes the program out of pairs of letters, A to P, four bits each.

Opcodes used (Intel 8086 Family User's Manual, 1979, instruction set reference; from memory): 25 AND AX, imm16;
2D SUB AX, imm16; 29 /r SUB r/m16, r16; 50 PUSH AX; 5B POP BX; 75 JNZ rel8.

``python -m readoff.link.printable BODY > GO.COM`` writes one: BODY is assembled for ORIGIN.
"""

from __future__ import annotations

import itertools
import sys
import zlib
from pathlib import Path

from readoff.errors import UsageError

ORIGIN = 0x200
"""Where the program lies when it runs."""
LOADED = 0x100
"""Where DOS puts the first octet of a .COM file."""
PRINTABLE = range(0x21, 0x7F)
"""What is used: blanks are printable, too, but at the end of a text they are easily lost."""
_DISPLACEMENT = 0x21  # of the decoder from BX: printable for every word of it
_ZERO = bytes([0x25, 0x40, 0x40, 0x25, 0x3F, 0x3F])  # and ax, 4040h / and ax, 3F3Fh
_NOTE = b"**Readoff.loader:.run.it.as.GO.or.GO.2.for.COM2**"


def printable_program(body: bytes) -> bytes:
    """The octets of a .COM file, all printable, that unpacks ``body`` to ORIGIN and runs it, its CRC-32 behind it.

    The body may rely on CS = DS = ES = SS and DF = 0. Raises UsageError when it is too long.
    """
    whole = body + zlib.crc32(body).to_bytes(4, "little")
    if len(whole) > 0x6000:
        raise UsageError(f"{len(whole)} octets are too many for a program in letters")
    text = bytes(0x41 + nibble for octet in whole for nibble in (octet >> 4, octet & 15))
    decoder = _decoder(ORIGIN + len(text))
    at = ORIGIN - len(decoder)
    stub, holes = _stub(decoder, at)
    room = at - LOADED - len(stub) - 2
    if not 0x21 <= room < 0x7F or room < len(_NOTE):
        raise UsageError(f"between stub and decoder lie {room} octets, and no jump is printable that far")
    jump = bytes([0x75, room])  # the stub ends with a subtraction that does not give 0
    return stub + jump + _NOTE.ljust(room, b"*") + holes + text


def _decoder(end: int) -> bytes:
    """Turns letters from ORIGIN up to end into octets at ORIGIN, and falls into them."""
    return bytes(
        [
            *(0xFC, 0xBE, *ORIGIN.to_bytes(2, "little"), 0x8B, 0xFE),  # cld / mov si, ORIGIN / mov di, si
            *(0xAD, 0x2D, 0x41, 0x41),  # lodsw / sub ax, 'AA'
            *(0xB1, 0x04, 0xD2, 0xE0, 0x0A, 0xC4, 0xAA),  # mov cl, 4 / shl al, cl / or al, ah / stosb
            *(0x81, 0xFE, *end.to_bytes(2, "little"), 0x72, 0xEF),  # cmp si, end / jb lodsw
            0x90,  # an even number of octets
        ]
    )


def _stub(decoder: bytes, at: int) -> tuple[bytes, bytes]:
    """Code that subtracts its way from printable holes to the decoder at ``at``, and those holes."""
    code = bytearray(_ZERO)
    for number in _subtrahends(0, at - _DISPLACEMENT):
        code += b"\x2d" + number
    code += b"\x50\x5b"  # push ax / pop bx
    ax, holes = at - _DISPLACEMENT, bytearray()
    for offset in range(0, len(decoder), 2):
        wanted = int.from_bytes(decoder[offset : offset + 2], "little")
        numbers, hole, ax = _hole(ax, wanted)
        for number in numbers:
            code += b"\x2d" + number
        code += bytes([0x29, 0x47, _DISPLACEMENT + offset])  # sub [bx + displacement], ax
        holes += hole
    return bytes(code), bytes(holes)


def _hole(ax: int, wanted: int) -> tuple[list[bytes], bytes, int]:
    """A printable word and the numbers to take from AX, so that the word less AX is wanted: (numbers, word, AX)."""
    for word in _printable_words():
        if (numbers := _one_subtrahend(ax, (int.from_bytes(word, "little") - wanted) & 0xFFFF)) is not None:
            return numbers, word, (int.from_bytes(word, "little") - wanted) & 0xFFFF
    word = b"aa"
    target = (int.from_bytes(word, "little") - wanted) & 0xFFFF
    return _subtrahends(ax, target), word, target


def _printable_words() -> itertools.chain[bytes]:
    """A spread of printable words, enough that one of them nearly always does with one subtraction."""
    return itertools.chain.from_iterable(
        (bytes([low, high]) for high in range(0x22, 0x7F, 9)) for low in range(0x22, 0x7F, 9)
    )


def _one_subtrahend(have: int, want: int) -> list[bytes] | None:
    number = ((have - want) & 0xFFFF).to_bytes(2, "little")
    if have == want:
        return []
    return [number] if all(octet in PRINTABLE for octet in number) else None


def _subtrahends(have: int, want: int) -> list[bytes]:
    """Up to three printable words whose sum is have - want (mod 65536)."""
    one = _one_subtrahend(have, want)
    if one is not None:
        return one
    difference = (have - want) & 0xFFFF
    for count in (2, 3):
        # The low octets add up to a low octet and a carry; the high ones to what is left.
        for low_sum in range(difference & 0xFF, 0x7E * count + 1, 0x100):
            high = ((difference >> 8) - (low_sum >> 8)) & 0xFF
            for high_sum in range(high, 0x7E * count + 1, 0x100):
                lows, highs = _split(low_sum, count), _split(high_sum, count)
                if lows and highs:
                    return [bytes(pair) for pair in zip(lows, highs, strict=True)]
    raise UsageError(
        f"no printable numbers add up to {difference:04X}h"
    )  # pragma: no cover - three always do


def _split(total: int, count: int) -> list[int] | None:
    """``count`` printable octets with this sum, or None."""
    base, more = divmod(total, count)
    parts = [base + (index < more) for index in range(count)]
    return parts if all(part in PRINTABLE for part in parts) else None


if __name__ == "__main__":
    sys.stdout.buffer.write(printable_program(Path(sys.argv[1]).read_bytes()))
