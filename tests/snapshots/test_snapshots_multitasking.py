"""Which system's window a snapshot was taken in. INT 2Fh AX=1600h with AL 00h or 80h: none (REFERENCES: INT 2Fh)."""

import pytest

from readoff.snapshots import Fact
from readoff.snapshots.multitasking import multitasking, times_told


def facts(**values: object) -> dict[str, Fact]:
    named = {name.replace("_", ".", 1): str(value) for name, value in values.items()}
    return {name: Fact(name, value) for name, value in named.items()}


@pytest.mark.parametrize(
    ("seen", "system"),
    [
        ({}, ""),
        ({"dos_windows": 0, "dos_windows_minor": 0, "dos_major": 6}, ""),
        ({"dos_windows": 0x80, "dos_windows_minor": 0}, ""),
        ({"dos_windows": 3, "dos_windows_minor": 10}, "Windows 3.10"),
        ({"dos_windows": 4, "dos_windows_minor": 0, "environment_windir": "C:\\WINDOWS"}, "Windows 4.00"),
        ({"dos_windows": 1}, "Windows 2 for the 386"),
        ({"dos_windows": 0xFF}, "Windows 2 for the 386"),
        ({"dos_windows": 0, "environment_windir": "C:\\WINDOWS"}, "Windows"),
        (
            {"dos_windows": 0, "environment_OS": "Windows_NT", "environment_windir": "X"},
            "Windows NT or later",
        ),
        ({"dos_major": 20, "dos_windows": 0}, "OS/2"),
        ({"dos_windows": "unreadable"}, ""),
    ],
)
def test_by_what_it_shows_itself(seen, system):
    assert multitasking(facts(**seen)) == system


def test_what_is_told_names_it():
    assert "a window of Windows 3.10" in times_told("Windows 3.10")
