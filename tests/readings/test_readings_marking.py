"""Marking shows every number of a capture: read, held or passed over."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.readings import Capture, CaptureKind
from readoff.readings.marking import MarkKind, mark, numbers_in
from support.reading_texts import console, derived, load, metric, schema_text, screen, shipped


def marks(marked):
    return [(str(mark.kind), mark.row, mark.text, mark.note) for mark in marked.marks]


def test_every_number_in_its_context():
    (schema,) = load(schema_text(metric("score") + metric("bonus") + derived("total", "score + bonus")))
    raw = b"Mill 2.1 on x86\r\nScore: 50.0\r\nBonus: ****\r\n3 errors, -4 left, 12:30\r\n"
    marked = mark(console(raw), [schema])
    assert marks(marked) == [
        ("unread", 0, "2.1", ""),
        ("read", 1, "50.0", "score"),
        ("held", 2, "****", "'****': the number did not fit its field"),
        ("unread", 3, "3", ""),
        ("unread", 3, "-4", ""),
        ("unread", 3, "12:30", ""),
    ]
    for each in marked.marks:
        assert raw[each.begin : each.end].decode() == each.text
    assert marked.lines[1] == "Score: 50.0"
    assert {hold.metric for hold in marked.readout.holds} == {"bonus", "total"}


@pytest.mark.parametrize(
    ("line", "numbers"),
    [
        ("\u2190[1m88.5\u2190[0m pts", ["1", "88.5", "0"]),  # a colour's escape sequence before the number
        ("V3.10 on x86, COM1 at 80x25", ["3.10", "80"]),
        ("Peak <0.1 % or >5, -> 5.2 ==>7 \u22653", ["<0.1", ">5", "5.2", "7", "\u22653"]),
        ("hex 0x1F, .5 +.5 -3 pass-3 1-2 ....5 No.5", ["0x1F", ".5", "+.5", "-3", "3", "1", "2", "5", "5"]),
        ("1.2E+03 9.87D-02 1'234 1.2.3 12:34.5", ["1.2E+03", "9.87D-02", "1'234", "1.2.3", "12:34.5"]),
    ],
)
def test_a_number_is_marked_whole_or_not_at_all(line, numbers):
    assert [line[first:last] for first, last in numbers_in(line)] == numbers


def test_a_screen_and_a_number_read_twice():
    (schema,) = load(schema_text(metric("score") + metric("again", pattern="^Score: (?P<n>.*)")))
    capture = screen(b"Mill", b"Score: 7")
    (only,) = mark(capture, [schema]).marks
    assert (only.note, capture.octets[only.begin : only.end : 2]) == ("score, again", b"7")


def test_nothing_recognised_leaves_every_number_unread():
    marked = mark(console(b"Ways of old: 1 and 2"), shipped())
    assert marks(marked) == [("unread", 0, "1", ""), ("unread", 0, "2", "")]


def test_a_number_put_together_on_the_screen_is_marked_unread_and_held():
    marked = mark(console(b"Mill\r\nScore: 100\rScore: 99\r\n"), load(schema_text()))
    (each,) = marked.marks
    assert (each.kind, each.text) == (MarkKind.UNREAD, "990")
    assert "put together" in marked.readout.holds[0].reason


@given(
    st.sampled_from(CaptureKind),
    st.lists(
        st.sampled_from([b"Mill", b"Score: ", b"12", b".5", b"\r\n", b"\r", b"\b", b"\t", b"*", b"7"]),
        max_size=25,
    ),
)
def test_every_digit_of_a_line_is_in_at_most_one_kind_of_mark(kind, parts):
    marked = mark(Capture(kind, b"".join(parts), 1), load(schema_text(recognise="all = ['Mill']")))
    kinds = {}
    for each in marked.marks:
        assert each.text == marked.lines[each.row][each.first : each.last]
        for at in range(each.first, each.last):
            kinds.setdefault((each.row, at), set()).add(each.kind)
    assert all(len(found) == 1 for found in kinds.values())
