"""How the services of DOS fail: by an error code for the caller, or by asking INT 24h."""

from __future__ import annotations

from typing import Final

INVALID_FUNCTION: Final = 0x01
FILE_NOT_FOUND: Final = 0x02
PATH_NOT_FOUND: Final = 0x03
TOO_MANY_OPEN: Final = 0x04
ACCESS_DENIED: Final = 0x05
INVALID_HANDLE: Final = 0x06
NO_MEMORY: Final = 0x08
BAD_ENVIRONMENT: Final = 0x0A
BAD_FORMAT: Final = 0x0B
INVALID_DATA: Final = 0x0D
INVALID_DRIVE: Final = 0x0F
CURRENT_FOLDER: Final = 0x10
OTHER_DEVICE: Final = 0x11
NO_MORE_FILES: Final = 0x12
FILE_EXISTS: Final = 0x50
FAILED_BY_INT24: Final = 0x53
CRITICAL_FIRST: Final = 0x13  # extended error of INT 24h's DI = 0


class DosError(Exception):
    """An error code that goes back in AX with CF = 1; bx goes back too when it is given."""

    def __init__(self, code: int, bx: int | None = None) -> None:
        super().__init__(code)
        self.code = code
        self.bx = bx


class CriticalError(Exception):
    """A drive fails: code for INT 24h's DI, drive number from 0, whether it was a write."""

    def __init__(self, code: int, drive: int, *, writing: bool) -> None:
        super().__init__(code)
        self.code = code
        self.drive = drive
        self.writing = writing
