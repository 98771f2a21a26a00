"""Sections that repeat: each repeat has its own readings, and nothing slips from one into another."""

from decimal import Decimal

import pytest

from readoff.errors import SchemaError
from readoff.readings import read_run
from readoff.readings.samples import as_digits
from support.reading_texts import console, file, load

SCHEMA = r"""
schema = "weir"
title = "A weir"
headline = ["pace"]
units = ["buckets", "buckets/s"]
[recognise]
all = ['^Weir']
[blocks.pass]
begin = '^Pass \S+'
end = '^(Done|=+)$'
[metrics.buckets]
pattern = '^Buckets: (?P<number>\S+)'
unit = "buckets"
better = "neither"
once = true
exact = true
[metrics.time]
block = "pass"
pattern = '^Time: (?P<number>\S+)'
unit = "s"
better = "lower"
[metrics.lost]
block = "pass"
pattern = '^Lost: (?P<number>\S+)'
unit = "%"
better = "lower"
optional = true
[metrics.pace]
formula = "buckets / time"
unit = "buckets/s"
better = "higher"
[metrics.kept]
formula = "pace * (100 - lost) / 100"
unit = "buckets/s"
better = "higher"
optional = true
"""
(WEIR,) = load(SCHEMA)


def read(text, make=console):
    readout = read_run([make(text.replace("\n", "\r\n").encode())], [WEIR])
    got = [(reading.metric, reading.occurrence, as_digits(reading)) for reading in readout.readings]
    return got, [(hold.metric, hold.occurrence, hold.reason) for hold in readout.holds]


def passes(*bodies):
    parts = [f"Pass {n}\n{body}\n" for n, body in enumerate(bodies, 1)]
    return "Weir\nBuckets: 100\n" + "".join(parts)


def test_each_repeat_has_its_own_readings():
    got, held = read(passes("Time: 2.0\nLost: 1", "Time: 4.0", "Lost: 3\nTime: 5.0"))
    assert held == []
    assert got[:6] == [
        ("buckets", 0, "100"),
        ("time", 0, "2.0"),
        ("time", 1, "4.0"),
        ("time", 2, "5.0"),
        ("lost", 0, "1"),
        ("lost", 2, "3"),
    ]
    assert [(metric, occurrence, Decimal(value)) for metric, occurrence, value in got[6:]] == [
        ("pace", 0, 50),
        ("pace", 1, 25),
        ("pace", 2, 20),
        ("kept", 0, Decimal("49.5")),
        ("kept", 2, Decimal("19.4")),
    ]


def test_a_block_ends_where_it_says():
    got, held = read(passes("Time: 2.0\nDone\nLost: 9") + "Time: 7.0\n")
    assert [entry for entry in got if entry[0] in ("time", "lost")] == [("time", 0, "2.0")]
    assert held == []


def test_a_block_may_be_one_line():
    (schema,) = load(
        SCHEMA.replace(r"'^Time: (?P<number>\S+)'", r"'^Pass \S+ (?P<number>\S+)'").replace(
            r"'^Pass \S+'", "'^Pass'"
        )
    )
    readout = read_run([console(b"Weir\r\nBuckets: 1\r\nPass 1 2.5\r\nPass 2 3.5")], [schema])
    assert [as_digits(r) for r in readout.readings if r.metric == "time"] == ["2.5", "3.5"]


@pytest.mark.parametrize(
    ("text", "held"),
    [
        (passes("Time: 2.0", ""), [("time", 1, "time was not found in the block that begins in line 5")]),
        (
            passes("Time: 2.0\nTime: 2.1", "Time: 3.0"),
            [("time", 0, "found more than once in the block that begins in line 3")],
        ),
        (passes("Time: ****", "Time: 3.0"), [("time", 0, "'****': the number did not fit its field")]),
        (passes("Time: 2,5"), [("time", 0, "the commas in '2,5' do not stand between thousands")]),
        ("Weir\nBuckets: 100\nTime: 2.0\n", [("time", 0, "recognised, but time was not found")]),
        (passes("Done\nTime: 2.0"), [("time", 0, "time was not found in the block that begins in line 3")]),
        (
            "Weir\nBuckets: 1\nBuckets: 2\nPass 1\nTime: 2",
            [("buckets", 0, "found 2 times where the schema says once")],
        ),
    ],
)
def test_near_misses(text, held):
    got, holds = read(text)
    shown = [hold for hold in holds if hold[0] in ("time", "lost", "buckets")]
    assert [(metric, occurrence) for metric, occurrence, _ in shown] == [entry[:2] for entry in held]
    for (_, _, reason), (_, _, told) in zip(shown, held, strict=True):
        assert reason.startswith(told)
    taken = {(metric, occurrence) for metric, occurrence, _ in got}
    assert not taken & {entry[:2] for entry in held}
    assert all(("pace", occurrence) not in taken for _, occurrence, _ in held)


def test_witnesses_are_compared_repeat_by_repeat_from_the_last():
    whole = passes("Time: 2.0", "Time: 3.0").replace("\n", "\r\n").encode()
    other = passes("Time: 2.0", "Time: 3.5").replace("\n", "\r\n").encode()
    assert not read_run([console(whole), file(whole)], [WEIR]).holds
    readout = read_run([console(whole), file(other)], [WEIR])
    assert {hold.metric for hold in readout.holds} == {"time", "pace"}
    assert [reading.metric for reading in readout.readings] == ["buckets"]


def test_thousands_of_blocks_are_held():
    got, holds = read("Weir\nBuckets: 1\n" + "Pass 1\nTime: 1\n" * 1001)
    assert ("time", 0, "found more than 1000 times") in holds
    assert [metric for metric, _, _ in got] == ["buckets"]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('block = "pass"', 'block = "pas"', "'pas' is not known; right would be 'pass'"),
        (r"begin = '^Pass \S+'", "", "blocks.pass.begin: missing"),
        (r"begin = '^Pass \S+'", "begin = '(?=x)'", "RE2 refuses"),
        (r"begin = '^Pass \S+'", "begin = 'x'\nbegins = 'y'", "'begins' is not known"),
    ],
)  # fmt: skip
def test_faults_of_blocks(old, new, told):
    with pytest.raises(SchemaError) as error:
        load(SCHEMA.replace(old, new))
    assert any(told in fault for fault in error.value.faults)
