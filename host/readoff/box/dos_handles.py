"""Open files and devices: handles, reading, writing, moving, IOCTL.

A process's handles are octets of its job file table in guest memory; each is an index into one table
of open files, which the box keeps.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from readoff.box import dos_errors as err
from readoff.box.dos_errors import CriticalError, DosError
from readoff.box.dos_paths import Place, device_of, resolve
from readoff.box.dos_state import KERNEL, DosState, Frame
from readoff.box.drives import ARCHIVE, FOLDER, READ_ONLY, VOLUME, Entry
from readoff.contract.dos_time import from_dos, to_dos
from readoff.errors import MalformedError

JFT_SIZE: Final = 0x32
JFT_POINTER: Final = 0x34
UNUSED: Final = 0xFF
MOST_OPEN: Final = 60
DEVICE_WORDS: Final = {"con": 0x80D3, "nul": 0x8084, "aux": 0x80C0, "prn": 0x80C0}
RAW: Final = 0x20
# What gate_service answers for a device.
ANSWERS: Final = {"con": 2, "aux": 4}
IS_CON_RAW: Final = 3


@dataclass
class OpenFile:
    """One entry of the system's table. kind: file, con, nul, aux, prn."""

    kind: str
    place: Place | None = None
    mode: int = 2
    data: bytearray = field(default_factory=bytearray)
    position: int = 0
    changed: bool = False
    modified: datetime | None = None  # set by 57h, kept at close
    raw: bool = False
    references: int = 0


class Handles:
    """The functions of DOS that take or give a handle."""

    def __init__(self, state: DosState) -> None:
        self._state = state
        self._memory = state.memory
        self.files: list[OpenFile | None] = []
        self.printed = bytearray()  # what went to PRN

    # -- tables -----------------------------------------------------------------------------------
    def _table(self, psp: int) -> tuple[int, int]:
        """(linear address, entries) of a process's job file table."""
        base = psp << 4
        pointer = self._memory.word(base + JFT_POINTER), self._memory.word(base + JFT_POINTER + 2)
        return (pointer[1] << 4) + pointer[0], self._memory.word(base + JFT_SIZE)

    def of(self, handle: int, psp: int | None = None) -> OpenFile:
        """The open file behind a handle of the running process. Raises DosError(06h)."""
        index = self._index(handle, psp)
        opened = self.files[index] if index < len(self.files) else None
        if opened is None:
            raise DosError(err.INVALID_HANDLE)
        return opened

    def _index(self, handle: int, psp: int | None = None) -> int:
        table, entries = self._table(self._state.psp if psp is None else psp)
        if handle >= entries:
            raise DosError(err.INVALID_HANDLE)
        return self._memory.octets[table + handle]

    def add(self, opened: OpenFile) -> int:
        """Put an open file into the system's table; its index."""
        for index, other in enumerate(self.files):
            if other is None:
                self.files[index] = opened
                return index
        if len(self.files) >= MOST_OPEN:
            raise DosError(err.TOO_MANY_OPEN)
        self.files.append(opened)
        return len(self.files) - 1

    def _free_handle(self) -> int:
        table, entries = self._table(self._state.psp)
        for handle in range(entries):
            if self._memory.octets[table + handle] == UNUSED:
                return handle
        raise DosError(err.TOO_MANY_OPEN)

    def _connect(self, handle: int, index: int) -> None:
        table, _ = self._table(self._state.psp)
        self._memory.octets[table + handle] = index
        opened = self.files[index]
        assert opened is not None
        opened.references += 1

    def open_new(self, opened: OpenFile) -> int:
        """Give an open file the lowest free handle."""
        handle = self._free_handle()
        self._connect(handle, self.add(opened))
        return handle

    def inherit(self, child: int) -> None:
        """Copy the first 20 handles of the running process into a child's PSP, but for those opened private."""
        table, entries = self._table(self._state.psp)
        for handle in range(20):
            index = self._memory.octets[table + handle] if handle < entries else UNUSED
            opened = self.files[index] if index < len(self.files) else None
            if opened is None or opened.mode & 0x80:
                index = UNUSED
            else:
                opened.references += 1
            self._memory.octets[(child << 4) + 0x18 + handle] = index

    def close_all(self, psp: int) -> None:
        """Close a process's handles, as its end does."""
        table, entries = self._table(psp)
        for handle in range(entries):
            index = self._memory.octets[table + handle]
            if index != UNUSED:
                self._memory.octets[table + handle] = UNUSED
                self._release(index)

    def _release(self, index: int) -> None:
        opened = self.files[index] if index < len(self.files) else None
        if opened is None:
            return
        opened.references -= 1
        self.commit(opened)
        if opened.references <= 0:
            self.files[index] = None

    def commit(self, opened: OpenFile) -> None:
        """Bring an open file's octets, size and time to the disk."""
        if opened.place is None or not (opened.changed or opened.modified):
            return
        place = opened.place
        entry = place.drive.entries.get(place.path)
        if entry is None:
            return
        if opened.changed:
            self.touch(place, "write")
            entry.data = bytes(opened.data)
            entry.attributes |= ARCHIVE
            entry.modified = self._state.now()
            place.drive.reserved.pop(place.path, None)
        if opened.modified:
            entry.modified = opened.modified
        opened.changed = False

    def forget_all(self) -> None:
        """The power is gone: what was not committed is lost."""
        for opened in self.files:
            if opened is not None and opened.place is not None:
                opened.place.drive.reserved.clear()
        self.files.clear()

    def touch(self, place: Place, kind: str) -> None:
        """Let the drive's faults have their say. Raises CriticalError."""
        code = place.drive.access(kind)
        if code is not None:
            raise CriticalError(code, ord(place.letter) - ord("A"), writing=kind == "write")

    def _name(self, frame: Frame) -> str:
        return self._memory.string(frame.ds, frame.dx).decode("cp437")

    # -- opening and closing ----------------------------------------------------------------------
    def f_3c(self, frame: Frame) -> None:
        """Create or truncate."""
        frame.ax = self.create(self._name(frame), frame.cx, must_be_new=False)

    def f_5b(self, frame: Frame) -> None:
        """Create a new file."""
        frame.ax = self.create(self._name(frame), frame.cx, must_be_new=True)

    def create(self, name: str, attributes: int, *, must_be_new: bool) -> int:
        """A handle on an empty file."""
        if (kind := device_of(name)) is not None:
            return self.open_new(OpenFile(kind))
        place = resolve(self._state, name)
        before = place.drive.entries.get(place.path)
        if not place.name or attributes & (FOLDER | VOLUME):
            raise DosError(err.ACCESS_DENIED)
        if before is not None:
            if must_be_new:
                raise DosError(err.FILE_EXISTS)
            if before.attributes & (READ_ONLY | FOLDER):
                raise DosError(err.ACCESS_DENIED)
        self._free_handle()
        self.touch(place, "write")
        place.drive.entries[place.path] = Entry(b"", attributes & 0x07 | ARCHIVE, self._state.now())
        return self.open_new(OpenFile("file", place))

    def f_3d(self, frame: Frame) -> None:
        """Open."""
        name, mode = self._name(frame), frame.al
        if (kind := device_of(name)) is not None:
            frame.ax = self.open_new(OpenFile(kind, mode=mode))
            return
        if mode & 7 > 2:
            raise DosError(0x0C)
        place = resolve(self._state, name)
        entry = place.drive.entries.get(place.path)
        self.touch(place, "read")
        if entry is None:
            raise DosError(err.FILE_NOT_FOUND)
        if entry.is_folder or (entry.attributes & READ_ONLY and mode & 7):
            raise DosError(err.ACCESS_DENIED)
        frame.ax = self.open_new(OpenFile("file", place, mode, bytearray(entry.data)))

    def f_3e(self, frame: Frame) -> None:
        """Close."""
        index = self._index(frame.bx)
        self.of(frame.bx)
        table, _ = self._table(self._state.psp)
        self._release(index)
        self._memory.octets[table + frame.bx] = UNUSED

    def f_45(self, frame: Frame) -> None:
        """Duplicate."""
        self.of(frame.bx)
        handle = self._free_handle()
        self._connect(handle, self._index(frame.bx))
        frame.ax = handle

    def f_46(self, frame: Frame) -> None:
        """Force a duplicate."""
        self.of(frame.bx)
        table, entries = self._table(self._state.psp)
        if frame.cx >= entries:
            raise DosError(err.INVALID_HANDLE)
        if frame.cx == frame.bx:
            return
        before = self._memory.octets[table + frame.cx]
        if before != UNUSED:
            self._release(before)
        self._connect(frame.cx, self._index(frame.bx))

    def f_67(self, frame: Frame) -> None:
        """More handles: up to 20 are there already."""
        if frame.bx > 20:
            raise DosError(err.NO_MEMORY)

    def f_68(self, frame: Frame) -> None:
        """Commit."""
        self.commit(self.of(frame.bx))

    # -- octets -----------------------------------------------------------------------------------
    def f_3f(self, frame: Frame) -> int:
        """Read. The answer tells the kernel to read from CON or AUX."""
        opened = self.of(frame.bx)
        if opened.kind in ANSWERS:
            return self._transfer(opened, frame)
        if opened.mode & 7 == 1:
            raise DosError(err.ACCESS_DENIED)
        if opened.place is not None:
            self.touch(opened.place, "read")
        octets = bytes(opened.data[opened.position : opened.position + frame.cx])
        opened.position += len(octets)
        self._state.engine.load((frame.ds << 4) + frame.dx, octets)
        frame.ax = len(octets)
        return 0

    def f_40(self, frame: Frame) -> int:
        """Write. The answer tells the kernel to write to CON or AUX; a count of 0 cuts the file there."""
        opened = self.of(frame.bx)
        if opened.kind in ANSWERS:
            return self._transfer(opened, frame)
        octets = self._memory.read(frame.ds, frame.dx, frame.cx)
        frame.ax = self.write(opened, octets)
        return 0

    def write(self, opened: OpenFile, octets: bytes) -> int:
        """Write to a file, NUL or PRN; how many octets went."""
        if opened.kind == "prn":
            self.printed += octets
        if opened.place is None:
            return len(octets)
        if opened.mode & 7 == 0:
            raise DosError(err.ACCESS_DENIED)
        self.touch(opened.place, "write")
        opened.changed = True
        place, data = opened.place, opened.data
        if not octets:
            self._set_length(opened)
            return 0
        growth = max(0, opened.position + len(octets) - len(data))
        possible = len(octets) - max(0, growth - self._room(opened))
        if possible <= 0:
            return 0
        octets = octets[:possible]
        if opened.position > len(data):
            data += bytes(opened.position - len(data))
        before = len(data)
        data[opened.position : opened.position + len(octets)] = octets
        opened.position += len(octets)
        if place.drive.room is not None:
            place.drive.room -= len(data) - before
        place.drive.reserved[place.path] = len(data)
        return len(octets)

    def _room(self, opened: OpenFile) -> int:
        """Octets by which a file can still grow."""
        assert opened.place is not None
        drive, path = opened.place.drive, opened.place.path
        drive.reserved[path] = len(opened.data)
        rest_of_cluster = -len(opened.data) % 2048
        room = drive.free() + rest_of_cluster
        return room if drive.room is None else min(room, max(0, drive.room))

    def _set_length(self, opened: OpenFile) -> None:
        assert opened.place is not None
        length = opened.position
        growth = length - len(opened.data)
        if growth > self._room(opened):
            raise DosError(err.ACCESS_DENIED)
        if growth > 0:
            opened.data += bytes(growth)
        else:
            del opened.data[length:]
        opened.place.drive.reserved[opened.place.path] = length

    def _transfer(self, opened: OpenFile, frame: Frame) -> int:
        at = KERNEL + self._state.kernel.at.transfer
        for i, value in enumerate((frame.dx, frame.ds, frame.cx)):
            self._memory.put_word(at + 2 * i, value)
        return IS_CON_RAW if opened.kind == "con" and opened.raw else ANSWERS[opened.kind]

    def f_42(self, frame: Frame) -> None:
        """Move."""
        opened = self.of(frame.bx)
        if frame.al > 2:
            raise DosError(err.INVALID_FUNCTION)
        if opened.place is None:
            frame.dx = frame.ax = 0
            return
        distance = frame.cx << 16 | frame.dx
        if distance & 0x8000_0000:
            distance -= 1 << 32
        start = (0, opened.position, len(opened.data))[frame.al]
        opened.position = max(0, start + distance)
        frame.dx, frame.ax = opened.position >> 16, opened.position & 0xFFFF

    # -- about handles ----------------------------------------------------------------------------
    def f_44(self, frame: Frame) -> None:
        """IOCTL: 00 device word, 01 set it, 06 and 07 ready, 08 removable, 09 and 0A local."""
        function = frame.al
        if function in (0x00, 0x01, 0x06, 0x07, 0x0A):
            self._ioctl_handle(frame, function, self.of(frame.bx))
        elif function in (0x08, 0x09):
            letter = chr(ord("A") + (frame.bx & 0xFF) - 1) if frame.bx & 0xFF else self._state.drive
            drive = self._state.drives.get(letter)
            if drive is None:
                raise DosError(err.INVALID_DRIVE)
            if function == 0x08:
                frame.ax = 0 if drive.removable else 1
            else:
                frame.dx = 0
        else:
            raise DosError(err.INVALID_FUNCTION)

    def _ioctl_handle(self, frame: Frame, function: int, opened: OpenFile) -> None:
        if function == 0x00:
            if opened.place is not None:
                frame.dx = ord(opened.place.letter) - ord("A") | (0 if opened.changed else 0x40)
            else:
                frame.dx = DEVICE_WORDS[opened.kind] | (RAW if opened.raw else 0)
            frame.ax = frame.dx
        elif function == 0x01:
            if opened.place is not None or frame.dx >> 8:
                raise DosError(err.INVALID_FUNCTION)
            opened.raw = bool(frame.dx & RAW)
        elif function in (0x06, 0x07):
            at_end = opened.place is not None and opened.position >= len(opened.data)
            frame.set_al(0 if function == 0x06 and at_end else 0xFF)
        else:
            frame.dx = 0

    def f_57(self, frame: Frame) -> None:
        """Get or set a file's date and time."""
        opened = self.of(frame.bx)
        if frame.al == 0:
            moment = self._state.now()
            if opened.place is not None and (entry := opened.place.drive.entries.get(opened.place.path)):
                moment = opened.modified or (moment if opened.changed else entry.modified)
            frame.dx, frame.cx = to_dos(moment)
        elif frame.al == 1:
            try:
                opened.modified = from_dos(frame.dx, frame.cx)
            except MalformedError:
                raise DosError(err.INVALID_DATA) from None
        else:
            raise DosError(err.INVALID_FUNCTION)
