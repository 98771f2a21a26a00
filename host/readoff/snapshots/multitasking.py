"""Whether a snapshot was taken in a window of a system that does other work meanwhile: then no time is a program's own.

The agent asks enhanced Windows by INT 2Fh AX=1600h (AL 00h or 80h: none; Windows 3.x and 9x give their version; 01h and
FFh: the 386 version of Windows 2). Signs that it takes from what it has anyway, from memory: Windows 3.x and 9x set
the variable ``windir`` in the environment of their windows, its successors ``OS=Windows_NT``; OS/2 calls itself DOS 10
or 20.
"""

from __future__ import annotations

from collections.abc import Mapping

from readoff.snapshots.fact import Fact

_ONE_OF_TWO = (0x01, 0xFF)
_OS2 = (10, 20)


def multitasking(facts: Mapping[str, Fact]) -> str:
    """The system's name, as far as it shows itself; "" where nothing shows one."""
    major, minor = _number(facts, "dos.windows"), _number(facts, "dos.windows_minor")
    if major in _ONE_OF_TWO:
        return "Windows 2 for the 386"
    if major & 0x7F:
        return f"Windows {major}.{minor:02}"
    names = {name.upper(): fact.value for name, fact in facts.items() if name.startswith("environment.")}
    if names.get("ENVIRONMENT.OS", "").upper() == "WINDOWS_NT":
        return "Windows NT or later"
    if _number(facts, "dos.major") in _OS2:
        return "OS/2"
    return "Windows" if "ENVIRONMENT.WINDIR" in names else ""


def times_told(system: str) -> str:
    """What to know of times taken there; system: what ``multitasking`` gave."""
    return f"in a window of {system}, which does other work meanwhile: a time taken there is not the program's alone"


def _number(facts: Mapping[str, Fact], name: str) -> int:
    fact = facts.get(name)
    return int(fact.value) if fact and fact.value.isdecimal() else 0
