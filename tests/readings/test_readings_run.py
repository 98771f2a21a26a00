"""One capture: its numbers read exactly, and whatever might be no number, or half of one, held."""

import hashlib
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.readings import Capture, CaptureKind, read_run
from support.reading_texts import (
    console,
    derived,
    file,
    load,
    metric,
    reasons,
    schema_text,
    screen,
    shipped,
    values,
)

MILL = schema_text()


def test_a_reading_says_everything_about_itself():
    raw = b"Mill\r\nScore:  50.0  \r\n"
    readout = read_run([console(raw)], load(MILL))
    (reading,) = readout.readings
    assert (reading.value.as_tuple(), reading.decimals, reading.quantum) == (
        Decimal("50.0").as_tuple(),
        1,
        Decimal("0.1"),
    )
    assert (reading.metric, reading.unit, reading.better, reading.derived) == (
        "score",
        "points",
        "higher",
        False,
    )
    assert (reading.occurrence, reading.capture, reading.line) == (0, 0, "Score:  50.0")
    assert raw[reading.begin : reading.end] == b"50.0"
    assert (reading.schema, reading.schema_digest) == ("mill", hashlib.sha256(MILL.encode()).hexdigest())
    assert readout.holds == ()


def test_every_match_is_a_reading():
    readout = read_run([console(b"Mill\nScore: 1\nScore: 2\nScore: 3")], load(MILL))
    assert [(r.occurrence, r.value) for r in readout.readings] == [(0, 1), (1, 2), (2, 3)]


def test_once_means_once():
    (schema,) = load(schema_text(metric("score", "once = true") + derived("twice", "2 * score")))
    readout = read_run([console(b"Mill\nScore: 1\nScore: 2")], [schema])
    assert readout.readings == ()
    assert reasons(readout) == ["found 2 times where the schema says once", "its input is held"]
    assert (readout.holds[0].begin, readout.holds[0].end) == (12, 22)


def test_a_metric_that_is_missing_is_held_unless_optional():
    (schema,) = load(
        schema_text(metric("score") + metric("bonus", "optional = true") + derived("twice", "2 * score"))
    )
    readout = read_run([console(b"Mill\nBonus: 2")], [schema])
    assert values(readout) == [("bonus", "2 points", 0)]
    assert reasons(readout) == ["recognised, but score was not found"]
    readout = read_run([console(b"Mill\nScore: 2")], [schema])
    assert values(readout) == [("score", "2 points", 0), ("twice", "4.0 points", 0)]
    assert not readout.holds


@pytest.mark.parametrize(
    ("text", "pattern", "told"),
    [
        (b"72.9", "[0-9]+", "the number goes on: '72.9'"),
        (b"1,234", "[0-9]+", "the number goes on"),
        (b"12:34", "[0-9]+", "the number goes on"),
        (b"12345", "[0-9]{3}", "the number goes on"),
        (b"1.2E+03", "[0-9.]+", "the number goes on"),
        (b"0x1F", "[0-9]+", "the number goes on"),
        (b"2\xab", "[0-9]+", "the number goes on"),
        (b"-5", "-?(?P<number>[0-9]+)", "what stands before belongs to it"),
        (b"- 5", "- (?P<number>[0-9]+)", "what stands before belongs to it"),
        (b"<0.1", "<?(?P<number>[0-9.]+)", "what stands before belongs to it"),
        (b"< 5", "< (?P<number>[0-9.]+)", "what stands before belongs to it"),
        (b"12.5", "12.(?P<number>[0-9]+)", "what stands before belongs to it"),
        (b".5", ".(?P<number>[0-9]+)", "what stands before belongs to it"),
        (b"1e5", "1e(?P<number>[0-9]+)", "what stands before belongs to it"),
        (b"0x12", "0x(?P<number>[0-9]+)", "what stands before belongs to it"),
        (b"99", "9(?P<number>[0-9]+)", "what stands before belongs to it"),
    ],
)
def test_a_careless_pattern_takes_no_part_of_a_number(text, pattern, told):
    group = pattern if "(?P" in pattern else f"(?P<number>{pattern})"
    readout = read_run(
        [console(b"Mill\nScore: " + text)], load(schema_text(metric("score", pattern=f"Score: {group}")))
    )
    assert readout.readings == ()
    assert told in reasons(readout)[0]


def test_a_dash_between_words_is_no_sign():
    schema = schema_text(metric("score", pattern="Score - (?P<number>.*)"))
    assert [each.value for each in read_run([console(b"Mill\nScore - 5")], load(schema)).readings] == [5]


@pytest.mark.parametrize("arrow", ["->", "=>", "==>", "-->", "-> "])
def test_an_arrow_before_a_number_is_no_bound(arrow):
    capture = console(f"Mill\nScore {arrow}72.9".encode())
    readout = read_run([capture], load(schema_text(metric("score", pattern=f"Score {arrow}(?P<number>.*)"))))
    assert [each.value for each in readout.readings] == [Decimal("72.9")]


@pytest.mark.parametrize(
    "text",
    [
        b"Score:5",
        b"Score.....5",
        b"Score=5",
        b"Score (5)",
        b"Score No.5",
        b"Score 5x",
        b"Score 5.",
        b"Score 5, well",
        b"Score x-5",
        b"Score 5%",
        b"Score 5-6",
        b"Score 5:",
    ],
)
def test_marks_around_a_number_are_not_part_of_it(text):
    readout = read_run(
        [console(b"Mill\n" + text)], load(schema_text(metric("score", pattern="Score[^0-9]*(?P<n>[0-9]+)")))
    )
    assert values(readout) == [("score", "5 points", 0)]


def test_what_was_put_together_on_the_screen_is_no_number():
    # The program means 99, the screen shows 990.
    readout = read_run([console(b"Mill\r\nScore: 100\rScore: 99\r\n")], load(MILL))
    assert readout.readings == ()
    (hold,) = readout.holds
    assert "put together" in hold.reason
    assert (hold.begin, hold.end) == (15, 26)  # from the 0 that was left to the last 9
    readout = read_run([console(b"Mill\r\nScore: 100\rScore: 99 \r\n")], load(MILL))
    assert values(readout) == [("score", "99 points", 0)]
    readout = read_run([console(b"Mill\r\nScore: 12\b3\r\n")], load(MILL))
    assert "put together" in reasons(readout)[0]


def test_a_number_across_the_edge_of_a_screen_is_held():
    rows = (b"Mill", b"Score: ".rjust(37) + b"123", b"45")
    (schema,) = load(schema_text(metric("score", pattern="Score: (?P<number>.*)")))
    readout = read_run([screen(*rows, columns=40)], [schema])
    assert readout.readings == ()
    assert "one number or two" in reasons(readout)[0]
    rows = (b"Mill", b"The".rjust(40), b"Score: 12345")
    assert values(read_run([screen(*rows, columns=40)], [schema])) == [("score", "12345 points", 0)]


def test_a_label_at_the_edge_of_a_screen_has_its_number_in_the_next_row():
    (schema,) = load(schema_text(metric("score", pattern="Score: (?P<number>[0-9.]+)")))
    capture = screen(b"Mill", b"Score:".rjust(40), b" 12.50 points", columns=40)
    (reading,) = read_run([capture], [schema]).readings
    assert capture.octets[reading.begin : reading.end : 2] == b"12.50"
    assert reading.line.endswith("Score: 12.50 points")


def test_too_many_matches_are_held():
    readout = read_run([console(b"Mill\n" + b"Score: 1\n" * 1001)], load(MILL))
    assert readout.readings == ()
    assert "more than 1000 times" in reasons(readout)[0]


def test_a_huge_file():
    raw = bytes(range(256)) * 4096
    readout = read_run(
        [file(b"Mill\nScore: 5\n" + raw.replace(b"\x1a", b"")), console(raw)], [*load(MILL), *shipped()]
    )
    assert values(readout) == [("score", "5 points", 0)]


def test_a_line_too_long_in_a_recognised_capture_is_named():
    readout = read_run([console(b"Mill\nScore: 5\n" + b"x" * 5000)], load(MILL))
    assert values(readout) == [("score", "5 points", 0)]
    (hold,) = readout.holds
    assert (hold.begin, hold.end) == (14, 5014)


anything = st.builds(
    Capture, st.sampled_from(CaptureKind), st.binary(max_size=300), st.integers(-1, 41), st.text(max_size=9)
)
likely = st.lists(
    st.sampled_from(
        [
            b"Mill",
            b"Score: ",
            b"Time: ",
            b"12",
            b".5",
            b"\r\n",
            b"\r",
            b"\b",
            b"\t",
            b"****",
            b",",
            b" ",
            b"\xff",
        ]
    ),
    max_size=30,
).map(b"".join)
probable = st.builds(lambda kind, octets: Capture(kind, octets, 1), st.sampled_from(CaptureKind), likely)


@given(st.lists(anything | probable, max_size=4), st.text(max_size=9))
@settings(max_examples=600)
def test_any_captures_are_read_without_a_crash_and_spans_point_at_the_digits(captures, program):
    (mill,) = load(
        schema_text(
            metric("score") + metric("time", unit="s") + derived("pace", "score / time"),
            recognise="all = ['Mill']",
        )
    )
    readout = read_run(captures, [mill, *shipped()], program=program)
    for hold in readout.holds:
        assert 0 <= hold.begin <= hold.end <= len(captures[hold.capture].octets)
        assert hold.reason
    for reading in readout.readings:
        capture = captures[reading.capture]
        step = 2 if capture.kind is CaptureKind.SCREEN else 1
        if not reading.derived:
            shown = capture.octets[reading.begin : reading.end : step].decode("cp437")
            assert Decimal(shown.replace(",", "")).as_tuple() == reading.value.as_tuple()
