"""The guide's samples for real: programs print, paint and write them in the test machine, the agent takes them, and
what is read is what the samples say. Screens of every size beside them, and files that a program wrote."""

import re
import struct
from pathlib import Path

import pytest

from readoff.box import AT
from readoff.box.spec import LATE
from readoff.readings import Capture, CaptureKind, load_schemas, read_run
from readoff.readings.samples import as_digits
from readoff.store.captures import captures_of
from support.agent_box import agent_box, readoff
from support.number_forms import check
from support.reading_texts import file

DOCS = Path(__file__).resolve().parents[2] / "docs"
EXAMPLES = [
    load_schemas([("example.toml", text)])[0]
    for name in ("schemas.md", "schemas-screens-files.md")
    for text in re.findall(r"```toml\n(schema = .*?)```", (DOCS / name).read_text("utf-8"), re.DOTALL)
]
SAMPLES = [
    pytest.param(schema, sample, id=f"{schema.name}-{number}")
    for schema in EXAMPLES
    for number, sample in enumerate(schema.samples)
]
CLEAR = "mov ax, {mode}\nint 10h\n"
EIGHT_LINES = "mov ax, 1112h\nmov bl, 0\nint 10h\n"


def data(octets):
    return "octets: db " + ", ".join(map(str, octets)) + "\n"


def printing(octets):
    """Prints through DOS, into a cleared screen."""
    return (
        f"main:\n{CLEAR.format(mode=3)}mov ah, 40h\nmov bx, 1\nmov cx, {len(octets)}\nmov dx, octets\nint 21h\n"
        f"exit\n{data(octets)}"
    )


def painting(cells, columns, *, more=""):
    """Copies cells into video memory."""
    return (
        f"main:\n{CLEAR.format(mode=3 if columns == 80 else 1)}{more}mov ax, 0B800h\nmov es, ax\ncld\n"
        f"mov si, octets\nmov di, 0\nmov cx, {len(cells) // 2}\nrep movsw\nexit\n{data(cells)}"
    )


def writing(octets, name):
    """Writes a file through DOS."""
    return (
        f"main:\nmov ah, 3Ch\nmov cx, 0\nmov dx, name\nint 21h\nmov bx, ax\nmov ah, 40h\nmov cx, {len(octets)}\n"
        f"mov dx, octets\nint 21h\nmov ah, 3Eh\nint 21h\nexit\nname: db '{name}', 0\n{data(octets)}"
    )


def taken(capture, *, spec=AT, more=""):
    """What the agent takes when a program shows this for real."""
    if capture.kind is CaptureKind.FILE:
        box = agent_box(spec, SHOWS=writing(capture.octets, capture.name))
        box.run("C:\\SHOWS.COM", "")
        (record,) = readoff(box, f"SEND {capture.name}").of_kind("file")
    else:
        screen = capture.kind is CaptureKind.SCREEN
        source = painting(capture.octets, capture.columns, more=more) if screen else printing(capture.octets)
        record = readoff(agent_box(spec, SHOWS=source), "RUN SHOWS").run
    return [each.capture for each in captures_of(record)]


def numbers(readout):
    got = {}
    for reading in readout.readings:
        got.setdefault(reading.metric, []).append(as_digits(reading))
    return got


@pytest.mark.parametrize(("schema", "sample"), SAMPLES)
def test_samples_of_the_guide(schema, sample):
    readout = read_run(taken(sample.capture), [schema])
    assert numbers(readout) == {metric: list(wanted) for metric, wanted in sample.readings}
    assert {hold.metric for hold in readout.holds} - {""} == set(sample.held)


SCREEN = """
schema = "kiln"
kind = "screen"
title = "A kiln"
headline = ["heat"]
[recognise]
texts = [{ text = "Kiln" }]
[metrics.heat]
label = "Heat"
unit = ""
better = "higher"
[metrics.loss]
colour = "white on red"
unit = ""
better = "higher"
[metrics.fuel]
row = 24
column = 30
width = 8
unit = ""
better = "higher"
"""


def cells(columns, rows, heat="812.5", loss="1.25", fuel="  3.20"):
    made = bytearray(b" \x07" * columns * rows)
    for row, column, text, attribute in (
        (0, 2, "Kiln", 7),
        (5, 0, f"Heat: {heat}", 0x1E),
        (9, 12, loss, 0x4F),
        (23, 29, fuel, 7),
    ):
        at = 2 * (row * columns + column)
        made[at : at + 2 * len(text)] = bytes(octet for code in text.encode() for octet in (code, attribute))
    return bytes(made)


@pytest.mark.parametrize(
    ("columns", "rows", "spec", "more"),
    [
        (80, 25, AT, ""),
        (40, 25, AT, ""),
        (80, 43, AT, EIGHT_LINES),
        (80, 50, LATE, EIGHT_LINES),
        (80, 25, LATE, ""),
    ],
)
@pytest.mark.parametrize(
    ("shown", "held"),
    [
        ({}, set()),
        ({"heat": "****", "loss": "1,25", "fuel": " 3.20 KB"}, {"heat", "loss", "fuel"}),
    ],
)
def test_screens_of_every_size(columns, rows, spec, more, shown, held):
    schemas = load_schemas([("kiln.toml", SCREEN)])
    painted = cells(columns, rows, **shown)
    captures = taken(Capture(CaptureKind.SCREEN, painted, columns), spec=spec, more=more)
    assert [len(each.octets) for each in captures if each.kind is CaptureKind.SCREEN][
        -1
    ] == 2 * columns * rows
    readout = read_run(captures, schemas)
    assert {hold.metric for hold in readout.holds} == held
    assert numbers(readout) == ({} if held else {"heat": ["812.5"], "loss": ["1.25"], "fuel": ["3.20"]})


@pytest.mark.parametrize("count", [0, 1, 2, 3, 50, 255])
def test_files_that_a_program_wrote(count):
    (schema,) = (schema for schema in EXAMPLES if schema.name == "sluice")
    sample = schema.samples[0].capture
    passes = [(241 + n, 1991 - 7 * n) for n in range(count)]
    octets = sample.octets[:10] + bytes([count]) + b"".join(struct.pack("<Hh", *each) for each in passes)
    whole = numbers(read_run(taken(file(octets, sample.name)), [schema]))
    assert whole.get("time", []) == [f"{(241 + n) / 100:.2f}" for n in range(count)]
    assert whole.get("rate", []) == [f"{(1991 - 7 * n) / 4:.2f}" for n in range(count)]
    cut = read_run(taken(file(octets[:-1], sample.name)), [schema])
    assert cut.readings == ()
    assert {hold.metric for hold in cut.holds} == {"buckets", "time", "rate", "reckoned"}


def test_numbers_printed_by_a_program_and_taken_by_the_agent():
    """As test_readings_100000, but printed for real; fewer, for a program of 64 KB holds some two thousand."""

    def through_the_agent(draw, lines):
        return taken(Capture(CaptureKind.CONSOLE, "\r\n".join(lines).encode("ascii")))

    right, wrong = check(4_000, seed=1994, captures=through_the_agent, batch=2000)
    assert wrong == []
    assert right.total() == 4_000
