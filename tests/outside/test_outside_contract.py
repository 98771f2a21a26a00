"""The contract against published values. The source stands beside each check."""

from datetime import datetime

import pytest

from readoff.contract import cp437, dos_time
from readoff.errors import ContractError, MalformedError


# Microsoft FAT specification (fields of a directory entry); the pairs are worked out from its bit fields.
@pytest.mark.parametrize(
    ("date", "time", "moment"),
    [
        (0x1CBF, 0x32C0, datetime(1994, 5, 31, 6, 22, 0)),
        (0x0021, 0x0000, datetime(1980, 1, 1, 0, 0, 0)),
        (0x279F, 0xBF7D, datetime(1999, 12, 31, 23, 59, 58)),
        (0xFF9F, 0xBF7D, datetime(2107, 12, 31, 23, 59, 58)),
    ],
)
def test_fat_dates_and_times(date, time, moment):
    assert dos_time.from_dos(date, time) == moment
    assert dos_time.to_dos(moment) == (date, time)


@pytest.mark.parametrize(("date", "time"), [(0, 0), (0x0041 | 30, 0), (0x21, 0xFFFF), (0x21 | 0x1E0, 0)])
def test_days_and_times_that_do_not_exist(date, time):
    with pytest.raises(MalformedError, match=f"{date:04X}h"):
        dos_time.from_dos(date, time)


def test_years_that_dos_lacks():
    for year in (1979, 2108):
        with pytest.raises(MalformedError):
            dos_time.to_dos(datetime(year, 1, 1))


# Unicode consortium, VENDORS/MICSFT/PC/CP437.TXT: equal to Python's cp437 for all 256 codes. Code points of a few
# rows of that table, from memory, and all codes there and back.
@pytest.mark.parametrize(
    ("code", "point"),
    [(0x41, 0x41), (0x80, 0xC7), (0x9B, 0xA2), (0xB3, 0x2502), (0xDB, 0x2588), (0xFF, 0xA0)],
)
def test_code_page_437(code, point):
    assert ord(cp437.decode(bytes([code]))) == point


def test_code_page_437_there_and_back():
    every = bytes(range(256))
    assert cp437.encode(cp437.decode(every)) == every
    with pytest.raises(ContractError, match="has no"):
        cp437.encode("a€")


# The glyphs of codes 01h-1Fh and 7Fh: Unicode consortium, MISC/IBMGRAPH.TXT.
GLYPHS = (
    "263A 263B 2665 2666 2663 2660 2022 25D8 25CB 25D9 2642 2640 266A 266B 263C 25BA 25C4 2195 203C 00B6 "
    "00A7 25AC 21A8 2191 2193 2192 2190 221F 2194 25B2 25BC"
).split()


def test_screen_glyphs():
    assert cp437.glyphs(bytes(range(1, 32))) == "".join(chr(int(point, 16)) for point in GLYPHS)
    assert cp437.glyphs(b"\x7f") == "\u2302"
    assert cp437.glyphs(b"\0 A\xb3") == "  A│"
    assert len(set(cp437.glyphs(bytes(range(1, 256))))) == 255
