"""Where the parts that the package carries lie: in the wheel, or in the checkout it was installed from."""

from __future__ import annotations

from pathlib import Path

from readoff.errors import UsageError

_PACKAGE = Path(__file__).resolve().parent
_CARRIED = _PACKAGE / "carried"
_CHECKOUT = _PACKAGE.parent.parent


def _find(in_wheel: str, in_checkout: str) -> Path:
    for candidate in (_CARRIED / in_wheel, _CHECKOUT / in_checkout):
        if candidate.exists():
            return candidate
    raise UsageError(
        f"the package lacks its part {in_wheel}",
        where=str(_CARRIED),
        next_step="Install it again; the wheel carries this part.",
    )


def protocols() -> Path:
    """The folder protocols/ (contract and shipped reading schemas)."""
    return _find("protocols", "protocols")


def agent() -> Path:
    """READOFF.COM as built."""
    return _find("agent/READOFF.COM", "dos_agent/READOFF.COM")


def loader() -> Path:
    """GO.COM: what brings READOFF.COM over a bare line, in printable characters."""
    return _find("agent/GO.COM", "dos_agent/GO.COM")


def sample_program(name: str) -> Path:
    """A DOS sample program of our own, by its 8.3 name (``REPLAY.COM``)."""
    return _find(f"programs/{name}", f"tests/dos_programs/{name}")
