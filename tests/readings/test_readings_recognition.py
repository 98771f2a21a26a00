"""Which schema recognises a capture, and why or why not."""

import pytest

from readoff.readings import Capture, CaptureKind, explain, read_run
from support.reading_texts import console, file, load, schema_text

MILL = schema_text()


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
