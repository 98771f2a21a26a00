"""DOS dates and times: 16 bits each, as in a FAT folder entry (Microsoft FAT specification)."""

from __future__ import annotations

from datetime import datetime

from readoff.errors import MalformedError


def from_dos(date: int, time: int) -> datetime:
    """A DOS date and time as a datetime without zone, in steps of 2 s.

    Raises MalformedError on a day or time that does not exist.
    """
    try:
        return datetime(
            1980 + (date >> 9), date >> 5 & 15, date & 31, time >> 11, time >> 5 & 63, (time & 31) * 2
        )
    except ValueError as error:
        raise MalformedError(f"date {date:04X}h, time {time:04X}h is not a day and time") from error


def to_dos(moment: datetime) -> tuple[int, int]:
    """(date, time) of a datetime from 1980 to 2107; odd seconds round down. Raises MalformedError outside."""
    if not 1980 <= moment.year <= 2107:
        raise MalformedError(f"DOS dates have no year {moment.year}")
    date = (moment.year - 1980) << 9 | moment.month << 5 | moment.day
    return date, moment.hour << 11 | moment.minute << 5 | moment.second // 2
