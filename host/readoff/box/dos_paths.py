"""Names: from what a program says to a drive and a path, and wildcards."""

from __future__ import annotations

from typing import Final, NamedTuple

from readoff.box.dos_errors import INVALID_DRIVE, PATH_NOT_FOUND, CriticalError, DosError
from readoff.box.dos_state import DosState
from readoff.box.drives import Drive, clip_name, valid_name
from readoff.errors import BoxError

DEVICES: Final = {
    "CON": "con",
    "NUL": "nul",
    "AUX": "aux",
    "COM1": "aux",
    "PRN": "prn",
    "LPT1": "prn",
    "CLOCK$": "nul",
}


class Place(NamedTuple):
    """A path on a drive. folder and name are the parts of path; name is "" for a root."""

    letter: str
    drive: Drive
    path: str

    @property
    def folder(self) -> str:
        """What stands before the last backslash."""
        return self.path.rpartition("\\")[0]

    @property
    def name(self) -> str:
        """The last part."""
        return self.path.rpartition("\\")[2]


def device_of(text: str) -> str | None:
    """The kind of device that a path names, whatever its folder and extension, or None."""
    last = text.upper().replace("/", "\\").rpartition("\\")[2].rpartition(":")[2]
    return DEVICES.get(last.partition(".")[0])


def find_drive(state: DosState, letter: str) -> Drive:
    """A drive that is there. Raises DosError(0Fh), and BoxError on drive B: of a machine with one floppy."""
    drive = state.drives.get(letter)
    if drive is not None:
        return drive
    first = state.drives.get("A")
    if letter == "B" and first is not None and first.removable:
        raise BoxError(
            "a program touched drive B: of a machine with one floppy drive; real DOS asks for a disk here",
            where=state.engine.place(),
        )
    raise DosError(INVALID_DRIVE)


def resolve(state: DosState, text: str, *, wild: bool = False) -> Place:
    """Drive and path of what a program named. Raises DosError(03h) on what cannot be a path.

    wild: the last part may hold * and ?.
    """
    text = text.upper().replace("/", "\\")
    letter = state.drive
    if text[1:2] == ":":
        letter, text = text[0], text[2:]
    try:
        drive = find_drive(state, letter)
    except DosError:
        raise DosError(PATH_NOT_FOUND) from None
    code = None if drive.ready else 2
    if code is not None:
        raise CriticalError(code, ord(letter) - ord("A"), writing=False)
    parts = [] if text.startswith("\\") else [part for part in state.folders[letter].split("\\") if part]
    given = [part for part in text.split("\\") if part]
    for i, part in enumerate(given):
        if part == ".":
            continue
        if part == "..":
            if not parts:
                raise DosError(PATH_NOT_FOUND)
            parts.pop()
            continue
        last = i == len(given) - 1
        name = part if wild and last and set(part) & set("*?") else clip_name(part)
        if not (wild and last) and not valid_name(name):
            raise DosError(PATH_NOT_FOUND)
        parts.append(name)
    place = Place(letter, drive, "\\".join(parts))
    if not drive.exists_folder(place.folder):
        raise DosError(PATH_NOT_FOUND)
    return place


def pattern_of(name: str) -> str:
    """A name with wildcards as 8 + 3 characters, padded with blanks, * turned into ?."""

    def field(text: str, width: int) -> str:
        star = text.find("*")
        if star >= 0:
            text = text[:star] + "?" * width
        return text[:width].ljust(width)

    if name in (".", ".."):
        return name.ljust(11)
    stem, _, extension = name.partition(".")
    return field(stem, 8) + field(extension, 3)


def matches(pattern: str, name: str) -> bool:
    """Whether a name fits a pattern of 11 characters; ? also fits the blank at a name's end."""
    return all(wanted in ("?", found) for wanted, found in zip(pattern, pattern_of(name), strict=True))
