"""A capture is laid out as it was shown, and every character leads back to its octet."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.readings import Capture, CaptureKind
from readoff.readings.shown import LONGEST_LINE, show
from support.reading_texts import console, file, screen


def texts(capture):
    return [line.text for line in show(capture).lines]


@pytest.mark.parametrize(
    ("octets", "lines"),
    [
        (b"one\r\ntwo\r\n", ["one", "two", ""]),
        (b"one\ntwo", ["one", "two"]),
        (b"one\r\r\ntwo", ["one", "two"]),
        (b"one\n\rtwo", ["one", "two"]),
        (b"10%\r20%\r100%", ["100%"]),
        (b"longer text\rshort", ["short" + "r text"]),
        (b"|\b/\b-\b\\\b done", [" done"]),
        (b"12\b\b\b\b34", ["34"]),
        (b"a\tb", ["a       b"]),
        (b"1234567\tb", ["1234567 b"]),
        (b"12345678\tb", ["12345678        b"]),
        (b"xxxxxxxxxx\ra\tb", ["a       bx"]),
        (b"be\x07ep", ["beep"]),
        (b"page\x0cnext", ["page", "next"]),
        (b"\x01\x7f\x00\xffx\xff", ["☺⌂  x"]),
        (b"\xb0\xe1\xf1", ["░ß±"]),
        (b"", [""]),
    ],
)
def test_console(octets, lines):
    assert texts(console(octets)) == lines


def test_a_return_goes_to_the_start_of_the_row_that_the_cursor_is_in():
    # The teletype goes on in the next row after 80 characters; a return stays in that row.
    assert texts(console(b"a" * 80 + b"bbb\rc")) == ["a" * 80 + "cbb"]
    assert texts(console(b"a" * 80 + b"\rc")) == ["a" * 80 + "c"]
    assert texts(file(b"a" * 80 + b"bbb\rc")) == ["c" + "a" * 79 + "bbb"]
    assert texts(console(b"a" * 80 + b"b\b\b\bc")) == ["a" * 80 + "c"]
    forty = Capture(CaptureKind.CONSOLE, b"a" * 40 + b"b\rc", columns=40)
    assert texts(forty) == ["a" * 40 + "c"]


def test_a_file_ends_at_its_end_mark():
    assert texts(file(b"one\r\ntwo\x1athree")) == ["one", "two"]
    assert texts(console(b"two\x1athree")) == ["two→three"]


def test_places_lead_back_to_the_raw_octets():
    raw = b"Rate: 10\rRate: \x0720\b\b30 \x82\tend\r\n"
    (line, _) = show(console(raw)).lines
    assert line.text == "Rate: 30 é      end"
    at = line.text.index("30")
    begin, end = line.span(at, at + 2)
    assert raw[begin:end] == b"30"
    begin, end = line.span(9, 10)
    assert raw[begin:end] == b"\x82"


def test_screen_rows_and_glyphs():
    capture = screen(b"\x01\x02 Rate 5", b"", b"\xba x \xba")
    assert texts(capture) == ["☺☻ Rate 5", "", "║ x ║"]
    line = show(capture).lines[0]
    assert line.span(8, 9) == (16, 18)
    assert capture.octets[16:18] == b"5\x07"


def test_a_full_row_goes_on_in_the_next():
    capture = screen(b"x" * 40, b"yz", b"w", columns=40)
    assert texts(capture) == ["x" * 40 + "yz", "w"]
    line = show(capture).lines[0]
    assert line.row_starts == (40,)
    assert line.span(40, 42) == (80, 84)
    assert not line.in_one_row(39, 41)
    assert line.in_one_row(40, 42)


def test_frames_and_shades_at_the_edge_do_not_join_rows():
    row = b"\xba" + b"x" * 38 + b"\xba"
    assert texts(screen(row, row, columns=40)) == ["║" + "x" * 38 + "║"] * 2
    assert texts(screen(b"\xb0" * 40, b"x", columns=40)) == ["░" * 40, "x"]


def test_a_screen_of_broken_size_has_a_flaw():
    assert "whole rows" in show(Capture(CaptureKind.SCREEN, b"a\x07" * 81, 80)).flaw
    assert "columns" in show(Capture(CaptureKind.SCREEN, b"", 0)).flaw
    for rows in (25, 43, 50):
        assert len(show(Capture(CaptureKind.SCREEN, b" \x07" * 80 * rows, 80)).lines) == rows


def test_a_line_too_long_is_named_and_left_out():
    raw = b"ok\r\n" + b"x" * (LONGEST_LINE + 1) + b"\r\nok"
    shown = show(console(raw))
    assert [line.text for line in shown.lines] == ["ok", "", "ok"]
    assert shown.too_long == ((4, 4 + LONGEST_LINE + 1),)
    assert not show(console(b"x" * LONGEST_LINE)).too_long
    assert show(console(b"\t" * LONGEST_LINE)).too_long


captures = st.builds(
    Capture, st.sampled_from(CaptureKind), st.binary(max_size=400), st.integers(-1, 90), st.text(max_size=8)
)


@given(captures)
@settings(max_examples=1500)
def test_any_octets_are_laid_out_and_every_place_shows_its_character(capture):
    shown = show(capture)
    for line in shown.lines:
        assert len(line.places) == len(line.text)
        assert "\n" not in line.text
        assert not line.text.endswith(" ")
        for place, character in zip(line.places, line.text, strict=True):
            if character != " " and 0x20 < capture.octets[place] < 0x7F:
                assert chr(capture.octets[place]) == character
    assert shown.utf8.decode("utf-8").split("\n") == [line.text for line in shown.lines] or not shown.lines


@given(st.lists(st.text(st.sampled_from("ab1é☺═ "), max_size=9), min_size=1, max_size=6), st.data())
def test_locate_agrees_with_a_plain_search(rows, data):
    octets = "\n".join(rows).replace("☺", "\x01").encode("cp437")
    shown = show(console(octets))
    number = data.draw(st.integers(0, len(rows) - 1))
    text = shown.lines[number].text
    first = data.draw(st.integers(0, len(text)))
    last = data.draw(st.integers(first, len(text)))
    start = len("\n".join(line.text for line in shown.lines[:number]).encode()) + (number > 0)
    begin, end = start + len(text[:first].encode()), start + len(text[:last].encode())
    assert shown.locate(begin, end) == (shown.lines[number], first, last)
