"""Schemas proposed from a capture: they load, know their capture by its words, and read its numbers to the digit."""

import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.readings import Capture, CaptureKind, load_schemas, read_run
from readoff.readings.proposing import Draft, Wanted, candidates, first_words, missed, propose, toml_text
from readoff.readings.samples import as_digits, check_samples
from support.reading_texts import console


def described(capture, *names, unit="points", **more):
    """A draft that wants every number that its line's words can find."""
    found = [each for each in candidates(capture) if each.pattern]
    wanted = tuple(
        Wanted(each, names[at] if names else f"m{at}", unit, "higher", **more)
        for at, each in enumerate(found)
    )
    return Draft("mill", "A mill", (wanted[0].name,), wanted)


def digits(proposed):
    return {reading.metric: as_digits(reading) for reading in proposed.readings}


def test_numbers_are_found_with_their_lines_units_and_patterns():
    found = candidates(console(b"Mill 1.2: 48 sacks (35 ticks/s)\r\n\r\n  Time:   16.50 seconds\r\n"))
    assert [(each.row, each.text, each.unit) for each in found] == [
        (0, "1.2", ""),
        (0, "48", ""),
        (0, "35", "ticks/s"),
        (2, "16.50", "s"),
    ]
    assert found[2].pattern == r"^Mill +\S+: +\S+ +sacks \((?P<number>\S+) +ticks/s\)$"
    assert found[3].pattern == r"^ *Time: +(?P<number>\S+) +seconds$"
    assert found[3].known_by == r"^ *Time: +\S+ +seconds$"


def test_a_number_at_the_edge_may_move_when_it_gets_shorter():
    capture = console(b"100.5 sacks/s\r\n")
    made = propose(described(capture), capture)
    assert digits(made) == {"m0": "100.5"}
    readout = read_run([console(b"  9.5 sacks/s\r\n")], [made.schema])
    assert [as_digits(each) for each in readout.readings] == ["9.5"]


def test_words_are_taken_to_the_letter():
    capture = console(b"Cost (in $) [a+b]* ^x|y? {z} \\q.: 7.5\r\n")
    made = propose(described(capture), capture)
    assert digits(made) == {"m0": "7.5"}
    assert not read_run([console(b"Cost (in $) [a+b]* ^x|y? {z} \\qx: 7.5\r\n")], [made.schema]).readings


def test_it_carries_its_capture_as_a_sample_that_is_read_as_it_says():
    capture = Capture(CaptureKind.FILE, b"Mill: 48 sacks\r\n", 0, "MILL.OUT")
    made = propose(described(capture, "sacks"), capture, program="mill")
    assert check_samples(made.schema) == ()
    (sample,) = made.schema.samples
    assert sample.capture == capture
    assert sample.program == "mill"


@pytest.mark.parametrize(
    "octets",
    [
        b"It's ''' quoted: 7.5 s\r\n",
        b"Bell\x07 and \x1b[0m and \xe1: 7.5 s\r\n",
        b"0%\r 50%\r100%\r\nDone: 7.5 s\r\n",
        b"Bare: 7.5 s\nends without\n",
        b"  '\r\nLast: 7.5 s '",
    ],
)
def test_whatever_stands_beside_is_carried_octet_for_octet_or_line_for_line(octets):
    capture = console(octets)
    draft = described(capture, unit="s")
    made = propose(draft, capture)
    assert made.carries_sample and check_samples(made.schema) == ()
    assert missed(draft, made) == []


def test_a_screen_is_carried_with_its_colours():
    cells = b"".join(line.ljust(40) for line in (b" Kiln 2", b"", b" Heat: 812.5 points"))
    capture = Capture(CaptureKind.SCREEN, bytes(o for code in cells for o in (code, 0x1E)), 40)
    made = propose(described(capture), capture)
    assert made.schema.samples[0].capture == capture
    assert digits(made) == {"m0": "2", "m1": "812.5"}


def test_what_cannot_be_read_is_said_and_the_sample_says_it_too():
    capture = console(b"Sacks: 1,234 a day\r\nFirst at 12:34 today\r\nHex: 0x1F\r\n")
    draft = described(capture, "sacks", "first", "hex")
    made = propose(draft, capture)
    assert digits(made) == {"hex": "31"}
    told = missed(draft, made)
    assert "'1,234' is not read: '1,234': thousands or a decimal comma?" in told[0]
    assert "first: '12:34' is not read" in told[1]
    assert made.schema.samples[0].held == ("sacks", "first")
    assert check_samples(made.schema) == ()


def test_what_the_person_says_of_commas_and_clocks_is_kept():
    capture = console(b"Sacks: 1,234 a day\r\n")
    made = propose(described(capture, comma="thousands"), capture)
    assert digits(made) == {"m0": "1234"}
    capture = console(b"Took: 12:34 of them\r\n")
    made = propose(described(capture, unit="s", clock="mm:ss"), capture)
    assert digits(made) == {"m0": "754"}


def test_lines_that_repeat_give_a_reading_each():
    capture = console(b"Pass took 2.5 s\r\nPass took 2.6 s\r\n")
    found = candidates(capture)
    assert [each.repeats for each in found] == [True, True]
    made = propose(Draft("mill", "A mill", ("took",), (Wanted(found[0], "took", "s", "lower"),)), capture)
    assert [as_digits(each) for each in made.readings] == ["2.5", "2.6"]


def test_a_line_without_words_is_not_for_a_pattern():
    assert [each.pattern for each in candidates(console(b"12.5   13.5 %\r\n"))] == ["", ""]
    assert first_words(console(b"1 2\r\n---\r\nMill 1.2\r\n")) == ("Mill 1.2", r"^Mill +\S+$")
    assert first_words(console(b"1 2\r\n")) == ("", "")


def test_units_of_the_programs_own_are_declared():
    capture = console(b"Mill: 48 sacks\r\n")
    assert propose(described(capture, unit="sacks"), capture).schema.metric("m0").unit == "sacks"


def test_a_capture_too_long_to_be_carried_is_left_out():
    capture = console(b"Mill: 48 sacks\r\n" + b"x" * 70 + b"\r\n" * 20000)
    made = propose(described(capture), capture)
    assert not made.carries_sample and made.schema.samples == ()


_WORDS = st.text(string.ascii_letters + string.punctuation + "éß°½█♥", min_size=1, max_size=8)
_NUMBERS = st.decimals(0, 99999, allow_nan=False, places=2).map(str) | st.integers(0, 10**6).map(str)
_LINES = st.lists(
    st.tuples(
        st.lists(_WORDS, min_size=1, max_size=3).map(" ".join), _NUMBERS, st.sampled_from([" ", "   "])
    ),
    min_size=1,
    max_size=4,
)


@settings(max_examples=300, deadline=None)
@given(_LINES, _WORDS)
def test_every_number_is_read_where_it_stands_or_named_as_missed(lines, after):
    text = "".join(f"{words}{gap}{number}{gap}{after}\r\n" for words, number, gap in lines)
    capture = console(text.replace("♥", "\x03").encode("cp437"))
    found = [each for each in candidates(capture) if each.pattern]
    patterns = {}
    for each in found:
        patterns.setdefault(each.pattern, each)
    if not patterns:
        return
    wanted = tuple(Wanted(each, f"m{at}", "points", "higher") for at, each in enumerate(patterns.values()))
    draft = Draft("mill", "A mill", ("m0",), wanted)
    made = propose(draft, capture)
    assert check_samples(made.schema) == ()
    where = {(each.metric, each.begin, each.end): as_digits(each) for each in made.readings}
    unread = missed(draft, made)
    for each in wanted:
        key = (each.name, each.candidate.begin, each.candidate.end)
        assert key in where or any(told.startswith(f"{each.name}:") for told in unread)


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=40))
def test_any_text_is_written_as_toml(text):
    import tomllib

    assert tomllib.loads(f"a = {toml_text(text)}") == {"a": text}


def test_the_written_schema_is_what_is_loaded():
    capture = console(b"Mill: 48 sacks\r\n")
    made = propose(described(capture), capture)
    (again,) = load_schemas([("mill.toml", made.text)])
    assert again.digest == made.schema.digest
