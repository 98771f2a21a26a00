"""One run's captures: recognised by one schema or held, read exactly, compared with each other."""

import hashlib
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.readings import Capture, CaptureKind, as_shown, explain, read_run
from support.reading_texts import console, derived, file, load, metric, schema_text, screen, shipped

MILL = schema_text()


def values(readout):
    return [(reading.metric, as_shown(reading), reading.capture) for reading in readout.readings]


def reasons(readout):
    return [hold.reason for hold in readout.holds]


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


# -- derived readings ----------------------------------------------------------------------------------------


def test_derived_readings_follow_their_inputs():
    (schema,) = load(
        schema_text(metric("score") + metric("time", unit="s") + derived("pace", "score / time"))
    )
    raw = b"Mill\nScore: 10\nTime: 4.0\nScore: 20\nTime: 5.0"
    readout = read_run([console(raw)], [schema])
    pace = [reading for reading in readout.readings if reading.derived]
    assert [(r.occurrence, r.value) for r in pace] == [(0, Decimal("2.5")), (1, Decimal(4))]
    assert (raw[pace[0].begin : pace[0].end], pace[0].line) == (b"10\nTime: 4.0", "Score: 10 / Time: 4.0")


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        (b"Mill\nScore: 10\nTime: 0", "division by zero"),
        (b"Mill\nScore: 10\nTime: 0.0", "division by zero"),
        (b"Mill\nScore: 10\nTime: ***", "its input is held: time"),
        (b"Mill\nScore: 10\nScore: 11\nTime: 5", "unequally often: score 2, time 1"),
        (b"Mill\nScore: 1E300\nTime: 1E-200", "beyond"),
    ],
)
def test_a_derived_reading_that_cannot_be_had_is_held(raw, told):
    (schema,) = load(
        schema_text(metric("score") + metric("time", unit="s") + derived("pace", "score / time"))
    )
    readout = read_run([console(raw)], [schema])
    assert not any(reading.derived for reading in readout.readings)
    (hold,) = (hold for hold in readout.holds if hold.metric == "pace")
    assert told in hold.reason


def test_a_missing_input_is_told_once():
    (schema,) = load(
        schema_text(metric("score") + metric("time", unit="s") + derived("pace", "score / time"))
    )
    assert reasons(read_run([console(b"Mill\nScore: 10")], [schema])) == [
        "recognised, but time was not found"
    ]


def test_an_exact_input_has_no_rounding():
    (schema,) = load(schema_text(metric("score", "exact = true") + derived("half", "score / 2")))
    half = read_run([console(b"Mill\nScore: 5")], [schema]).readings[1]
    assert (half.value, half.quantum, half.decimals) == (Decimal("2.5"), 0, 1)


# -- which schema --------------------------------------------------------------------------------------------


def test_two_schemas_that_match_are_a_hold_whatever_their_order():
    schemas = load(MILL, schema_text(name="other"))
    capture = console(b"Mill\nScore: 5")
    for order in (schemas, schemas[::-1]):
        readout = read_run([capture], order)
        assert readout.readings == ()
        (hold,) = readout.holds
        assert "2 schemas recognise it" in hold.reason
        assert (hold.begin, hold.end, hold.capture) == (0, len(capture.octets), 0)


@pytest.mark.parametrize(
    ("recognise", "capture", "program", "recognised"),
    [
        ("all = ['^Mill']", console(b"Hill"), "", False),
        ("all = ['^Mill']", console(b"The Mill"), "", False),
        ("all = ['^Mill', 'Score']", console(b"Mill\nScore: 5"), "", True),
        ("all = ['^Mill', 'Score', 'Total']", console(b"Mill\nScore: 5"), "", False),
        ("all = ['^Mill']\nnone = ['broken']", console(b"Mill\nScore: 5"), "", True),
        ("all = ['^Mill']\nnone = ['broken']", console(b"Mill\nScore: 5\nbroken"), "", False),
        ("all = ['Mill.Score']", console(b"Mill\nScore: 5"), "", False),
        (r"all = ['(?s)Mill\nScore']", console(b"Mill\nScore: 5"), "", False),
        ("all = ['^Mill']\nprograms = ['MILL']", console(b"Mill\nScore: 5"), "", True),
        ("all = ['^Mill']\nprograms = ['MILL']", console(b"Mill\nScore: 5"), "mill", True),
        ("all = ['^Mill']\nprograms = ['MILL']", console(b"Mill\nScore: 5"), r"C:\BENCH\Mill.exe", True),
        ("all = ['^Mill']\nprograms = ['MILL*']", console(b"Mill\nScore: 5"), "mill2", True),
        ("all = ['^Mill']\nprograms = ['MILL']", console(b"Mill\nScore: 5"), "mill2", False),
        ("all = ['^Mill']\ncaptures = ['file']", console(b"Mill\nScore: 5"), "", False),
        ("all = ['^Mill']\nfiles = ['*.OUT']", console(b"Mill\nScore: 5"), "", True),
        ("all = ['^Mill']\nfiles = ['*.OUT']", file(b"Mill\nScore: 5", r"C:\mill.out"), "", True),
        ("all = ['^Mill']\nfiles = ['*.OUT']", file(b"Mill\nScore: 5", "MILL.LOG"), "", False),
        ("all = ['^Mill']\nfiles = ['*.OUT']", file(b"Mill\nScore: 5", ""), "", False),
        ("all = ['^Mill']", Capture(CaptureKind.SCREEN, b"M i l l ", 3), "", False),
    ],
)
def test_recognition(recognise, capture, program, recognised):
    schemas = load(schema_text(recognise=recognise))
    readout = read_run([capture], schemas, program=program)
    (verdict,) = readout.recognised
    assert verdict.recognised is recognised
    assert bool(readout.readings) is recognised
    assert verdict.conditions


def test_explaining_tells_every_condition():
    recognise = "all = ['^Mill', '^Total \\S+$']\nnone = ['Score']\nprograms = ['MILL']"
    schemas = load(schema_text(recognise=recognise))
    (verdict,) = explain([console(b"Mill\nScore: 5")], schemas, program="other")
    assert [(condition.met, condition.text) for condition in verdict.conditions] == [
        (False, "the program is OTHER, the schema is for MILL"),
        (False, "'Score' must not be there, and was found at octets 5 to 10"),
        (True, "'^Mill' was found at octets 0 to 4"),
        (False, r"'^Total \S+$' was not found"),
    ]
    assert not verdict.recognised
    assert verdict.sentence().startswith("mill: not recognised: the program is OTHER")


# -- several captures ----------------------------------------------------------------------------------------


def test_readings_come_from_the_first_kind_and_the_others_agree():
    captures = [screen(b"Mill", b"Score: 50.0"), file(b"Mill\nScore: 50.0"), console(b"Mill\nScore: 50.0")]
    readout = read_run(captures, load(MILL))
    assert values(readout) == [("score", "50.0 points", 2)]
    assert values(read_run(captures[:2], load(MILL))) == [("score", "50.0 points", 1)]
    assert values(read_run(captures[:1], load(MILL))) == [("score", "50.0 points", 0)]
    assert not readout.holds


def test_captures_that_disagree_are_a_hold_with_both_values_and_places():
    captures = [console(b"Mill\nScore: 50.0\nBonus: 2"), screen(b"Mill", b"Score: 56.0", b"Bonus: 2")]
    (schema,) = load(schema_text(metric("score") + metric("bonus") + derived("twice", "2 * score")))
    readout = read_run(captures, [schema])
    assert values(readout) == [("bonus", "2 points", 0)]
    score, twice = readout.holds
    assert score.reason == (
        "capture 0 (console, octets 12 to 16) shows 50.0 points, "
        "capture 1 (screen, octets 174 to 182) shows 56.0 points"
    )
    assert (score.begin, score.end, score.metric) == (12, 16, "score")
    assert twice.metric == "twice"


@pytest.mark.parametrize(
    ("one", "two", "same"),
    [
        (b"50.0", b"50.0", True),
        (b"50.0", b"50", True),
        (b"72.9", b"72.94", True),
        (b"72.9", b"72.96", False),
        (b"50.0", b"50.1", False),
        (b"50", b"51", False),
        (b"1,234.5", b"1234.5", True),
    ],
)
def test_agreement_is_equality_or_rounding(one, two, same):
    readout = read_run([console(b"Mill\nScore: " + one), file(b"Mill\nScore: " + two)], load(MILL))
    assert bool(readout.readings) is same
    assert bool(readout.holds) is not same


def test_a_scrolled_screen_is_compared_from_its_end():
    printed = console(b"Mill\nScore: 1\nScore: 2\nScore: 3")
    assert len(read_run([printed, screen(b"Mill", b"Score: 2", b"Score: 3")], load(MILL)).readings) == 3
    # What an earlier run left above is not in common.
    left = screen(b"Mill", b"Score: 9", b"Mill", b"Score: 1", b"Score: 2", b"Score: 3")
    assert len(read_run([printed, left], load(MILL)).readings) == 3
    assert read_run([printed, screen(b"Mill", b"Score: 1", b"Score: 2")], load(MILL)).readings == ()


def test_once_does_not_hold_what_a_screen_shows_of_earlier_runs():
    captures = [console(b"Mill\nScore: 5"), screen(b"Mill", b"Score: 4", b"Mill", b"Score: 5")]
    readout = read_run(captures, load(schema_text(metric("score", "once = true"))))
    assert values(readout) == [("score", "5 points", 0)]
    assert not readout.holds


def test_a_witness_that_cannot_be_read_is_told_and_does_not_take_the_reading():
    readout = read_run([console(b"Mill\nScore: 5"), screen(b"Mill", b"Score: ??")], load(MILL))
    assert values(readout) == [("score", "5 points", 0)]
    assert [(hold.capture, hold.metric) for hold in readout.holds] == [(1, "score")]


def test_a_screen_with_an_earlier_programs_output_is_only_a_witness():
    other = schema_text(name="other", recognise="all = ['^Other']")
    schemas = load(MILL, other)
    both = screen(b"Other", b"Score: 9", b"Mill", b"Score: 5")
    readout = read_run([console(b"Mill\nScore: 5"), both], schemas)
    assert values(readout) == [("score", "5 points", 0)]
    assert not readout.holds
    assert read_run([both], schemas).readings == ()
    stale = screen(b"Other", b"Score: 9")
    readout = read_run([console(b"Mill\nScore: 5"), stale], schemas)
    assert values(readout) == [("score", "5 points", 0)]
    assert "it shows other, but the run's output is that of mill" in reasons(readout)[0]


def test_a_screen_does_not_settle_what_the_console_leaves_open():
    schemas = load(MILL, schema_text(name="other", recognise="all = ['Score']"))
    readout = read_run([console(b"Mill\nScore: 5"), screen(b"Hill", b"Score: 5")], schemas)
    assert readout.readings == ()
    assert len(readout.holds) == 2


def test_files_of_one_run_may_share_the_work():
    (schema,) = load(schema_text(metric("score") + metric("bonus")))
    captures = [file(b"Mill\nScore: 5", "A.OUT"), file(b"Mill\nBonus: 6", "B.OUT")]
    assert values(read_run(captures, [schema])) == [("score", "5 points", 0), ("bonus", "6 points", 1)]
    (schema,) = load(schema_text(metric("score") + metric("bonus") + derived("sum", "score + bonus")))
    assert reasons(read_run(captures, [schema])) == ["the inputs of sum stand in different captures"]


# -- whatever comes ------------------------------------------------------------------------------------------


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


def test_what_is_held_on_the_console_is_not_held_again_on_its_screen():
    schemas = load(schema_text())
    twice = read_run([console(b"Mill\r\nScore: ****\r\n"), screen(b"Mill", b"Score: ****")], schemas)
    assert [(hold.capture, hold.reason) for hold in twice.holds] == [
        (0, "'****': the number did not fit its field")
    ]
    other = read_run([console(b"Mill\r\nScore: ****\r\n"), screen(b"Mill", b"Score: <9")], schemas)
    assert [hold.capture for hold in other.holds] == [0, 1]
    more = read_run(
        [console(b"Mill\r\nScore: 5\r\nScore: ****\r\n"), screen(b"Mill", b"Score: ****")], schemas
    )
    assert [hold.capture for hold in more.holds] == [0]
