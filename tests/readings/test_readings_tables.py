"""Numbers under headings: read where there is no doubt which heading each stands under, held everywhere else."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.errors import SchemaError
from readoff.readings import read_run
from readoff.readings.samples import as_digits
from support.reading_texts import console, load, screen

SCHEMA = r"""
schema = "barn"
title = "A barn"
headline = ["read"]
[recognise]
all = ['^Barn']
[tables.speeds]
headings = ["Block", "Read", "Write now"]
end = '^Total'
[metrics.read]
table = "speeds"
column = "Read"
unit = "KB/s"
better = "higher"
[metrics.write]
table = "speeds"
column = "Write now"
unit = "KB/s"
better = "higher"
[metrics.big]
table = "speeds"
column = "Read"
row = '^\W*16 K'
unit = "KB/s"
better = "higher"
optional = true
"""
(BARN,) = load(SCHEMA)


def read(*lines, make=console):
    text = "\r\n".join(("Barn", *lines)).encode("cp437")
    readout = read_run([make(text)], [BARN])
    got = {}
    for reading in readout.readings:
        got.setdefault(reading.metric, []).append(as_digits(reading))
    return got, [(hold.metric, hold.reason) for hold in readout.holds]


HEAD = "Block    Read   Write now"


@pytest.mark.parametrize(
    ("lines", "got"),
    [
        ((HEAD, "4 K      12.5       11.2"), {"read": ["12.5"], "write": ["11.2"]}),
        ((HEAD, "-----  ------  ---------", "4 K      12.5       11.2"), {"read": ["12.5"], "write": ["11.2"]}),
        (
            (HEAD, "4 K      12.5       11.2", "16 K    123.0    1,024.5", "", "Other  1  2"),
            {"read": ["12.5", "123.0"], "write": ["11.2", "1024.5"], "big": ["123.0"]},
        ),
        ((HEAD, "4 K     12345 67890      ", "Total of all"), {"read": ["12345"], "write": ["67890"]}),
        (
            (HEAD.replace("   ", " │ "), "4 K    │ 12.5 │ 11.2"),
            {"read": ["12.5"], "write": ["11.2"]},
        ),
        (
            ("│ Block │ Read │ Write now │", "├───────┼──────┼───────────┤", "│  16 K │ 12.5 │      11.2 │", "└─────┘"),
            {"read": ["12.5"], "write": ["11.2"], "big": ["12.5"]},
        ),
        (
            (HEAD, "16 K     12.5       11.2", "", HEAD, "16 K     13.5       10.2"),
            {"read": ["12.5", "13.5"], "write": ["11.2", "10.2"], "big": ["12.5", "13.5"]},
        ),
    ],
)  # fmt: skip
def test_tables_that_are_read(lines, got):
    assert read(*lines) == (got, [])
    rows = [line.encode("cp437") for line in ("Barn", *lines)]
    assert read(*lines, make=lambda _: screen(*rows)) == (got, [])


ALL = {"read", "write"}


@pytest.mark.parametrize(
    ("lines", "held", "told"),
    [
        # A heading moved: into another order, away from its numbers, or with one more between.
        (("Block   Write now   Read", "4 K         12.5   11.2"), {*ALL, "big"}, "in another order"),
        (
            ("Block    Read   Peak   Write now", "4 K  12.5  13  11.2"),
            {*ALL, "big"},
            "something else between",
        ),
        (("Block           Read    Write now", "4 K      12.5       11.2"), ALL, "under no heading"),
        (("Block Read Write now", "4 K      12.5       11.2"), ALL, "under Read and Write now at once"),
        # A column cut off, at the right, in the middle, at the left.
        ((HEAD, "4 K      12.5"), ALL, "nothing stands under Write now"),
        ((HEAD, "4 K                 11.2"), ALL, "nothing stands under Read"),
        ((HEAD, "         12.5       11.2"), ALL, "nothing stands under Block"),
        (("Block    Read", "4 K      12.5"), ALL, "was not found"),
        # A cell too many, one under two headings, one that ran into its neighbour.
        ((HEAD, "4 K      12.5       11.2  9.9"), ALL, "under no heading"),
        ((HEAD, "4 K    12 12.5      11.2"), {"read"}, "not a number"),
        ((HEAD, "4 K    12  12.5     11.2"), ALL, "under no heading"),
        ((HEAD, "4 K     12  12.5    11.2"), ALL, "two cells stand under Read"),
        ((HEAD, "4 K     1234567890123456"), ALL, "at once"),
        # One number that is none; the other column is not in doubt.
        ((HEAD, "4 K      ****       11.2"), {"read"}, "did not fit"),
        ((HEAD, "4 K      12,5       11.2"), {"read"}, "decimal comma"),
        ((HEAD, "4 K     <12.5       11.2"), {"read"}, "bound"),
        # Two rows where one is wanted.
        ((HEAD, "16 K     12.5       11.2", "16 K     12.6       11.3"), {"big"}, "two rows"),
        # What follows without a blank line is taken for a row, and held.
        ((HEAD, "4 K      12.5       11.2", "Sum of all sacks: 17"), ALL, "two cells stand under Block"),
    ],
)
def test_near_misses(lines, held, told):
    _, holds = read(*lines)
    assert {metric for metric, _ in holds} == held
    assert any(told in reason for _, reason in holds)


@settings(deadline=None)
@given(st.text("abRead Write now|│-=0123456789. \r\n", max_size=300))
def test_any_text_under_the_headings_has_an_answer(text):
    got, holds = read(HEAD, *text.splitlines())
    assert set(got) <= {"read", "write", "big"}
    assert got or holds


@given(
    st.lists(st.tuples(st.decimals(0, 99999, places=1), st.decimals(0, 99999, places=2)), min_size=1, max_size=9),
    st.sampled_from(["{:>5}{:>9}{:>11}", "{:>5} │{:>9} │{:>11}"]),
)  # fmt: skip
def test_what_is_printed_in_columns_is_read(rows, form):
    lines = [form.format("Block", "Read", "Write now")]
    lines += [form.format(n, read, write) for n, (read, write) in enumerate(rows)]
    assert read(*lines) == ({"read": [str(r) for r, _ in rows], "write": [str(w) for _, w in rows]}, [])


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ('headings = ["Block"]', "two or more"),
        ('headings = ["Block", "Block"]', "each another"),
        ('headings = ["Block", "Two  blanks"]', "without bars or two blanks"),
        ('headings = ["Block", "Rate"]', "'Read' is not known"),
        (
            'headings = ["Block", "Read", "Write now"]\nends = "x"',
            "'ends' is not known; right would be 'end'",
        ),
    ],
)
def test_faults_of_tables(wrong, told):
    text = SCHEMA.replace('headings = ["Block", "Read", "Write now"]', wrong)
    with pytest.raises(SchemaError) as error:
        load(text)
    assert any(told in fault for fault in error.value.faults)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (
            ('table = "speeds"\ncolumn = "Read"\nunit', 'table = "speed"\ncolumn = "Read"\nunit'),
            "'speed' is not known",
        ),
        (('column = "Write now"\n', ""), "column: missing"),
        (
            ('column = "Write now"\n', 'column = "Write now"\npattern = "(?P<n>x)"\n'),
            "either a pattern or a table",
        ),
        (
            ('table = "speeds"\ncolumn = "Write now"\n', "pattern = '(?P<n>x)'\nrow = 'x'\n"),
            "without a table",
        ),
    ],
)
def test_faults_of_columns(change, told):
    with pytest.raises(SchemaError) as error:
        load(SCHEMA.replace(*change))
    assert any(told in fault for fault in error.value.faults)


UNITS = SCHEMA.replace(
    'column = "Read"\nunit = "KB/s"\nbetter', 'column = "Read"\nunit = "ms"\nunit_beside = true\nbetter', 1
)


@pytest.mark.parametrize(
    ("cell", "number", "told"),
    [
        ("12.5 ms", "12.5", ""),
        ("12.5 us", "0.0125", ""),
        ("1 s", "1000", ""),
        ("12.5", None, "no unit stands beside"),
        ("12.5 mm", None, "is no known unit"),
        ("12.5 KB/s", None, "cannot be turned into"),
        ("12 5 ms", None, "a number and a unit were expected"),
        ("**** ms", None, "did not fit"),
    ],
)
def test_units_in_cells(cell, number, told):
    (schema,) = load(UNITS)
    lines = ("Barn", "Block   {:>10} Write now".format("Read"), f"4 K     {cell:>10}      11.2")
    readout = read_run([console("\r\n".join(lines).encode())], [schema])
    got = {reading.metric: as_digits(reading) for reading in readout.readings}
    assert got == {"write": "11.2"} | ({"read": number} if number else {})
    assert [told in hold.reason for hold in readout.holds] == [True] * (number is None)
