"""A blank before three digits: between thousands or two numbers, as the schema says, and held where it does not.

Outside source: thousands parted by a blank are the SI Brochure's form (9th edition, 5.4.4, from memory); that two
counts often stand as near to each other is common practice, no source.
"""

import pytest

from readoff.readings import Capture, CaptureKind, read_run
from readoff.readings.samples import as_digits
from support.reading_texts import console, load, metric, schema_text

FIRST, LAST, WHOLE = r"^Sum +(?P<number>\S+)", r"(?P<number>\S+) KB/s$", r"^Sum +(?P<number>[0-9 .,]+) KB/s$"
APART, THOUSANDS, DECIMAL = 'blank = "apart"', 'blank = "thousands"', 'comma = "decimal"'


def read(line, pattern, *keys):
    """What is read from a line below the mill's own, or the reasons why it is held."""
    schema = load(schema_text(metric("score", "\n".join(keys), pattern=pattern)))
    readout = read_run([console(f"Mill\n{line}\n".encode())], schema)
    return [as_digits(each) for each in readout.readings] or [each.reason for each in readout.holds]


@pytest.mark.parametrize(
    ("line", "pattern", "keys"),
    [
        ("Sum 1 234,5 KB/s", FIRST, []),
        ("Sum 1 234,5 KB/s", LAST, [DECIMAL]),
        ("Sum 1 234 567 KB/s", FIRST, []),
        ("Sum 1 234 567 KB/s", r"Sum 1 (?P<number>\S+) ", []),
        ("Sum 1 234 567 KB/s", LAST, []),
        ("Sum -12 345 KB/s", FIRST, []),
        ("Sum 1 234KB/s", FIRST, []),
        ("Sum (1 234) KB/s", r"(?P<number>[0-9]+)\)", []),
    ],
)
def test_a_part_of_what_may_be_one_number_is_held(line, pattern, keys):
    (reason,) = read(line, pattern, *keys)
    assert "thousands or two numbers? The schema must say which (blank = …)" in reason
    assert "but the number is" in read(line, pattern, *keys, THOUSANDS)[0]


@pytest.mark.parametrize(
    ("line", "pattern", "keys", "number"),
    [
        ("Sum 1 234.5 KB/s", WHOLE, [THOUSANDS], "1234.5"),
        ("Sum 1 234,5 KB/s", WHOLE, [THOUSANDS, DECIMAL], "1234.5"),
        ("Sum 1 234 KB/s", FIRST, [APART], "1"),
        ("Sum 1 234,5 KB/s", LAST, [APART, DECIMAL], "234.5"),
    ],
)
def test_a_schema_says_which(line, pattern, keys, number):
    assert read(line, pattern, *keys) == [number]


@pytest.mark.parametrize(
    ("line", "pattern", "number"),
    [
        ("Sum 1  234 KB/s", FIRST, "1"),  # two blanks: columns
        ("Sum 1 24 KB/s", FIRST, "1"),
        ("Sum 1 2345 KB/s", LAST, "2345"),
        ("Sum 0 234 KB/s", FIRST, "0"),
        ("Sum 1.5 234 KB/s", LAST, "234"),
        ("Sum 1234 567 KB/s", LAST, "567"),
        ("Sum COM1 115 KB/s", LAST, "115"),
        ("Sum 30/11 234 KB/s", LAST, "234"),
        ("Sum 12:30 234 KB/s", LAST, "234"),
    ],
)
def test_what_cannot_be_one_number_is_read(line, pattern, number):
    assert read(line, pattern) == [number]


@pytest.mark.parametrize(
    ("place", "number"),
    [
        ("row = 2\ncolumn = 1\nwidth = 9", "1234"),
        ('colour = "yellow on blue"', "1234"),
        ("row = 2\ncolumn = 1", None),
        ("row = 2\ncolumn = 3", None),
        ('label = "Sum"\nside = "below"', None),
    ],
)
def test_on_a_screen(place, number):
    cells = bytearray(b" \x07" * 80 * 25)
    cells[:6:2], cells[160:170:2], cells[161:171:2] = b"Sum", b"1 234", b"\x1e" * 5
    text = (
        'schema = "mill"\nkind = "screen"\ntitle = "A mill"\nheadline = ["score"]\n[recognise]\n'
        f'texts = [{{ text = "Sum" }}]\n[metrics.score]\nunit = "points"\nbetter = "higher"\n{place}\n'
    )
    capture = Capture(CaptureKind.SCREEN, bytes(cells), 80)
    for key in ("", THOUSANDS):
        readout = read_run([capture], load(text + key))
        read_is = number if key else None
        assert [as_digits(each) for each in readout.readings] == ([read_is] if read_is else [])
        assert len(readout.holds) == (0 if read_is else 1)
