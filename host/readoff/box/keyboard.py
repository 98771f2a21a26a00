"""Keys: typed at moments of virtual time or when the program waits, through port 60h, INT 9 and the BIOS buffer."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Final

from readoff.box.memory import Memory
from readoff.errors import UsageError

BDA: Final = 0x400
HEAD, TAIL, BUFFER, BUFFER_END = 0x1A, 0x1C, 0x1E, 0x3E
CTRL_BREAK: Final = (0x46, 0x00)  # scan code, character

# Scan codes of the first PCs' keyboards, in the order of the keys (S: the tables of any PC reference manual).
_ROWS: Final = (
    (0x02, "1234567890-=", "!@#$%^&*()_+"),
    (0x10, "qwertyuiop[]", "QWERTYUIOP{}"),
    (0x1E, "asdfghjkl;'`", 'ASDFGHJKL:"~'),
    (0x2B, "\\zxcvbnm,./", "|ZXCVBNM<>?"),
)
SCAN_CODES: Final[dict[str, int]] = {
    character: first + i
    for first, plain, shifted in _ROWS
    for row in (plain, shifted)
    for i, character in enumerate(row)
} | {" ": 0x39, "\r": 0x1C, "\t": 0x0F, "\b": 0x0E, "\x1b": 0x01, "\x03": 0x2E}
NAMED: Final[dict[str, tuple[int, int]]] = {
    "F1": (0x3B, 0),
    "F10": (0x44, 0),
    "UP": (0x48, 0xE0),
    "DOWN": (0x50, 0xE0),
    "LEFT": (0x4B, 0xE0),
    "RIGHT": (0x4D, 0xE0),
    "BREAK": CTRL_BREAK,
}


def keys_of(text: str) -> list[tuple[int, int]]:
    """Typed text as (scan code, character) pairs; {UP}, {F1}, {BREAK} and the like are named keys.

    Raises UsageError on a character that no key gives.
    """
    keys: list[tuple[int, int]] = []
    position = 0
    while position < len(text):
        character = text[position]
        end = text.find("}", position)
        if character == "{" and text[position + 1 : end] in NAMED:
            keys.append(NAMED[text[position + 1 : end]])
            position = end + 1
            continue
        if character not in SCAN_CODES:
            raise UsageError(f"no key gives {character!r}", where=f"character {position + 1}")
        keys.append((SCAN_CODES[character], ord(character)))
        position += 1
    return keys


class Keyboard:
    """The keyboard and the BIOS's buffer of 15 keys at 40:1E.

    patience: polls without a key after which a key of ``when_waiting`` is pressed.
    """

    def __init__(self, memory: Memory, interrupt: Callable[[], None], enhanced: bool) -> None:
        self._memory = memory
        self._interrupt = interrupt
        self._enhanced = enhanced
        self._pressed: deque[tuple[int, int]] = deque()
        self.when_waiting: deque[tuple[int, int]] = deque()
        self.patience = 40
        self.polls = 0  # in all, for tests
        self._polls_in_vain = 0
        self.data = 0

    def start(self) -> None:
        """Empty the BIOS buffer, as POST does."""
        for field, value in ((HEAD, BUFFER), (TAIL, BUFFER), (0x80, BUFFER), (0x82, BUFFER_END)):
            self._memory.put_word(BDA + field, value)
        self._memory.octets[BDA + 0x96] = 0x10 if self._enhanced else 0
        self._pressed.clear()

    def press(self, key: tuple[int, int]) -> None:
        """A key goes down: IRQ 1."""
        self._pressed.append(key)
        self._interrupt()

    def scan(self) -> int:
        """Port 60h."""
        if self._pressed:
            self.data = self._pressed[0][0]
        return self.data

    def translate(self) -> bool:
        """INT 9: put the pressed key into the buffer; True for Ctrl-Break. A full buffer drops it."""
        if not self._pressed:
            return False
        scan, character = self._pressed.popleft()
        if self._pressed:
            self._interrupt()
        if (scan, character) == CTRL_BREAK:
            self._memory.octets[BDA + 0x71] |= 0x80
            self._memory.put_word(BDA + HEAD, self._memory.word(BDA + TAIL))
            self.store(0)
            return True
        self.store(scan << 8 | character)
        return False

    def store(self, key: int) -> bool:
        """A key (scan code high, character low) into the buffer; False when it is full."""
        memory = self._memory
        tail = memory.word(BDA + TAIL)
        behind = BUFFER if tail + 2 >= BUFFER_END else tail + 2
        if behind == memory.word(BDA + HEAD):
            return False
        memory.put_word(BDA + tail, key)
        memory.put_word(BDA + TAIL, behind)
        return True

    def peek(self, enhanced_call: bool) -> int | None:
        """The next key as INT 16h gives it, left in the buffer. Counts as a poll."""
        memory = self._memory
        self.polls += 1
        head = memory.word(BDA + HEAD)
        if head == memory.word(BDA + TAIL):
            self._polls_in_vain += 1
            if self.when_waiting and self._polls_in_vain >= self.patience and not self._pressed:
                self._polls_in_vain = 0
                self.press(self.when_waiting.popleft())
            return None
        self._polls_in_vain = 0
        key = memory.word(BDA + head)
        if not enhanced_call and key & 0xFF == 0xE0 and key > 0xFF:
            key &= 0xFF00
        return key

    def take(self, enhanced_call: bool) -> int | None:
        """The next key, removed."""
        key = self.peek(enhanced_call)
        if key is not None:
            head = self._memory.word(BDA + HEAD) + 2
            self._memory.put_word(BDA + HEAD, BUFFER if head >= BUFFER_END else head)
        return key
