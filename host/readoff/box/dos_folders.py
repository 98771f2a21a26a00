"""Folders: searching, making, removing, renaming, attributes, and where a process stands."""

from __future__ import annotations

from typing import Final

from readoff.box import dos_errors as err
from readoff.box.dos_errors import DosError
from readoff.box.dos_handles import Handles
from readoff.box.dos_paths import Place, device_of, find_drive, matches, pattern_of, resolve
from readoff.box.dos_state import DosState, Frame
from readoff.box.drives import ARCHIVE, CLUSTER, FOLDER, HIDDEN, READ_ONLY, SYSTEM, Drive, Entry
from readoff.contract.dos_time import to_dos

# The search's state in the first 21 octets of the DTA.
DTA_DRIVE, DTA_PATTERN, DTA_ATTRIBUTES, DTA_NEXT, DTA_FOLDER = 0, 1, 12, 13, 15
DTA_FOUND: Final = 21


class Folders:
    """The functions of DOS that take a path."""

    def __init__(self, state: DosState, handles: Handles) -> None:
        self._state = state
        self._memory = state.memory
        self._handles = handles
        self._searched: list[str] = []

    def _name(self, frame: Frame) -> str:
        return self._memory.string(frame.ds, frame.dx).decode("cp437")

    def _entry(self, place: Place) -> Entry:
        entry = place.drive.entries.get(place.path)
        if entry is None:
            raise DosError(err.FILE_NOT_FOUND)
        return entry

    # -- searching --------------------------------------------------------------------------------
    def f_4e(self, frame: Frame) -> None:
        """Find the first."""
        name = self._name(frame)
        place = resolve(self._state, name, wild=True)
        self._handles.touch(place, "read")
        dta = self._dta()
        octets = self._memory.octets
        octets[dta + DTA_DRIVE] = ord(place.letter) - ord("A") + 1
        octets[dta + DTA_PATTERN : dta + DTA_PATTERN + 11] = pattern_of(place.name).encode("cp437")
        octets[dta + DTA_ATTRIBUTES] = frame.cx & 0xFF
        self._memory.put_word(dta + DTA_NEXT, 0)
        if place.folder not in self._searched:
            self._searched.append(place.folder)
        self._memory.put_word(dta + DTA_FOLDER, self._searched.index(place.folder))
        if not self._find_next(dta):
            raise DosError(err.NO_MORE_FILES if set(name) & set("*?") else err.FILE_NOT_FOUND)
        frame.ax = 0

    def f_4f(self, frame: Frame) -> None:
        """Find the next."""
        if not self._find_next(self._dta()):
            raise DosError(err.NO_MORE_FILES)
        frame.ax = 0

    def _dta(self) -> int:
        segment, offset = self._state.dta
        return (segment << 4) + offset

    def _find_next(self, dta: int) -> bool:
        octets = self._memory.octets
        drive = self._state.drives.get(chr(octets[dta + DTA_DRIVE] % 27 + ord("A") - 1))
        number = self._memory.word(dta + DTA_FOLDER)
        if drive is None or number >= len(self._searched):
            return False
        pattern = bytes(octets[dta + DTA_PATTERN : dta + DTA_PATTERN + 11]).decode("cp437")
        wanted = octets[dta + DTA_ATTRIBUTES]
        found = self._listing(drive, self._searched[number])
        for ordinal in range(self._memory.word(dta + DTA_NEXT), len(found)):
            name, entry = found[ordinal]
            hidden = entry.attributes & (HIDDEN | SYSTEM | FOLDER) & ~wanted
            if hidden or not matches(pattern, name):
                continue
            self._memory.put_word(dta + DTA_NEXT, ordinal + 1)
            self._put_found(dta + DTA_FOUND, name, entry)
            return True
        return False

    def _listing(self, drive: Drive, folder: str) -> list[tuple[str, Entry]]:
        listed = list(drive.children(folder))
        if folder:
            own = drive.entries.get(folder, Entry(attributes=FOLDER))
            listed = [(".", own), ("..", own), *listed]
        return listed

    def _put_found(self, at: int, name: str, entry: Entry) -> None:
        date, time = to_dos(entry.modified)
        size = 0 if entry.is_folder else len(entry.data)
        self._memory.octets[at] = entry.attributes
        for offset, value in ((1, time), (3, date), (5, size & 0xFFFF), (7, size >> 16)):
            self._memory.put_word(at + offset, value)
        octets = name.encode("cp437")[:12].ljust(13, b"\0")
        self._memory.octets[at + 9 : at + 22] = octets

    # -- changing ---------------------------------------------------------------------------------
    def f_39(self, frame: Frame) -> None:
        """Make a folder."""
        place = resolve(self._state, self._name(frame))
        if not place.name or place.path in place.drive.entries:
            raise DosError(err.ACCESS_DENIED)
        if place.drive.free() < CLUSTER:
            raise DosError(err.ACCESS_DENIED)
        self._handles.touch(place, "write")
        place.drive.entries[place.path] = Entry(b"", FOLDER, self._state.now())

    def f_3a(self, frame: Frame) -> None:
        """Remove a folder."""
        place = resolve(self._state, self._name(frame))
        if not place.drive.exists_folder(place.path):
            raise DosError(err.PATH_NOT_FOUND)
        if self._state.folders[place.letter] == place.path:
            raise DosError(err.CURRENT_FOLDER)
        if not place.path or any(place.drive.children(place.path)):
            raise DosError(err.ACCESS_DENIED)
        self._handles.touch(place, "write")
        del place.drive.entries[place.path]

    def f_3b(self, frame: Frame) -> None:
        """Change the current folder."""
        place = resolve(self._state, self._name(frame))
        if not place.drive.exists_folder(place.path):
            raise DosError(err.PATH_NOT_FOUND)
        self._state.folders[place.letter] = place.path

    def f_41(self, frame: Frame) -> None:
        """Delete a file."""
        place = resolve(self._state, self._name(frame))
        entry = self._entry(place)
        if entry.attributes & (READ_ONLY | FOLDER):
            raise DosError(err.ACCESS_DENIED)
        self._handles.touch(place, "write")
        del place.drive.entries[place.path]
        place.drive.reserved.pop(place.path, None)

    def f_43(self, frame: Frame) -> None:
        """Get or set attributes."""
        name = self._name(frame)
        if device_of(name) is not None:
            raise DosError(err.FILE_NOT_FOUND)
        place = resolve(self._state, name)
        entry = self._entry(place)
        if frame.al == 0:
            frame.cx = frame.ax = entry.attributes
        elif frame.al == 1:
            if frame.cx & ~(READ_ONLY | HIDDEN | SYSTEM | ARCHIVE):
                raise DosError(err.ACCESS_DENIED)
            self._handles.touch(place, "write")
            entry.attributes = frame.cx | entry.attributes & FOLDER
        else:
            raise DosError(err.INVALID_FUNCTION)

    def f_56(self, frame: Frame) -> None:
        """Rename, also into another folder of the drive."""
        before = resolve(self._state, self._name(frame))
        after = resolve(self._state, self._memory.string(frame.es, frame.di).decode("cp437"))
        entry = self._entry(before)
        if before.letter != after.letter:
            raise DosError(err.OTHER_DEVICE)
        if not after.name or after.path in after.drive.entries:
            raise DosError(err.ACCESS_DENIED)
        if entry.is_folder and before.folder != after.folder:
            raise DosError(err.ACCESS_DENIED)
        self._handles.touch(before, "write")
        inside = f"{before.path}\\"
        for path in [p for p in before.drive.entries if p == before.path or p.startswith(inside)]:
            moved = before.drive.entries.pop(path)
            before.drive.entries[after.path + path[len(before.path) :]] = moved

    # -- where ------------------------------------------------------------------------------------
    def f_47(self, frame: Frame) -> None:
        """Current folder of a drive (DL, 0 = current) to DS:SI, without drive and leading backslash."""
        letter = self._letter(frame.dx & 0xFF)
        find_drive(self._state, letter)
        octets = self._state.folders[letter].encode("cp437")[:63] + b"\0"
        self._state.engine.load((frame.ds << 4) + frame.si, octets)
        frame.ax = 0x0100

    def _letter(self, number: int) -> str:
        return chr(ord("A") + number - 1) if 0 < number <= 26 else self._state.drive

    def f_0e(self, frame: Frame) -> None:
        """Set the current drive; AL = number of drive letters."""
        letter = chr(ord("A") + (frame.dx & 0xFF) % 26)
        if self._state.drives.get(letter) is not None:
            self._state.drive = letter
        frame.set_al(max(5, ord(self._state.drives.letters[-1]) - ord("A") + 1))

    def f_19(self, frame: Frame) -> None:
        """The current drive."""
        frame.set_al(ord(self._state.drive) - ord("A"))

    def f_36(self, frame: Frame) -> None:
        """Free space: AX sectors a cluster, BX free clusters, CX octets a sector, DX clusters."""
        number = frame.dx & 0xFF
        drive = self._state.drives.get(self._letter(number))
        if drive is None:
            frame.ax = 0xFFFF
            return
        free = drive.free() if drive.room is None else min(drive.free(), drive.room)
        frame.ax, frame.cx = CLUSTER // 512, 512
        frame.bx = min(0xFFFF, free // CLUSTER)
        frame.dx = min(0xFFFF, drive.capacity // CLUSTER)

    def f_60(self, frame: Frame) -> None:
        """The full form of a path at DS:SI, to ES:DI."""
        text = self._memory.string(frame.ds, frame.si).decode("cp437")
        place = resolve(self._state, text, wild=True)
        octets = f"{place.letter}:\\{place.path}".encode("cp437") + b"\0"
        self._state.engine.load((frame.es << 4) + frame.di, octets)
