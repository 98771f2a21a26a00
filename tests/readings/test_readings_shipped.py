"""The shipped schemas read our sample programs' output, and hold or leave alone whatever is nearly like it."""

from decimal import Decimal

import pytest

from readoff.readings import as_shown, read_run
from support.reading_texts import console, file, screen, shipped

SCHEMAS = shipped()
OUTPUTS = {
    "replay": b"Replay: 2134 frames in 1024 ticks (35 ticks/s)\r\nRate: 72.9 frames/s\r\n",
    "intloop": b"Integer loop: 20000 passes in 3.42 seconds\r\nSpeed: 5847.9 passes/s\r\n",
    "fltloop": b"Mixed loop: LOOP 10, II 1, 2.50 seconds\r\nSpeed: 400.0 KWIPS\r\n",
    "solve": b"Linear system: order 100, 12.50 seconds\r\nSpeed: 54.9 kflops\r\n",
    "ways": b"Ways: score 1234.50 points\r\n",
}
HEADLINES = {
    "replay": ("frames_per_second", "72.939 frames/s"),
    "intloop": ("dmips", "3.328344 DMIPS"),
    "fltloop": ("kwips", "400.0 KWIPS"),
    "solve": ("kflops", "54.933 kflops"),
    "ways": ("score", "1234.50 points"),
}


def shown(readout):
    return {reading.metric: as_shown(reading) for reading in readout.readings}


@pytest.mark.parametrize("name", OUTPUTS)
def test_each_program_is_read_from_every_kind_of_capture(name):
    octets = OUTPUTS[name]
    rows = octets.split(b"\r\n")
    witnesses = [console(octets), file(octets, "WAYS.OUT"), screen(b"A:\\>", *rows)]
    readouts = [read_run([capture], SCHEMAS) for capture in witnesses]
    readouts.append(read_run(witnesses, SCHEMAS))
    headline, text = HEADLINES[name]
    for readout in readouts:
        assert {reading.schema for reading in readout.readings} == {name}
        assert shown(readout) == shown(readouts[0])
        assert shown(readout)[headline] == text
        assert readout.holds == ()
    (schema,) = (schema for schema in SCHEMAS if schema.name == name)
    assert schema.headline == (headline,)


def test_only_what_is_of_interest_is_better_one_way():
    better = {(s.name, m.name): m.better for s in SCHEMAS for m in s.metrics}
    assert better["replay", "frames"] == better["replay", "ticks"] == better["solve", "order"] == "neither"
    assert better["replay", "frames_per_second"] == better["intloop", "dmips"] == "higher"
    assert better["intloop", "seconds"] == "lower"


def test_ticks_are_rounded_and_frames_are_not():
    readings = {
        reading.metric: reading for reading in read_run([console(OUTPUTS["replay"])], SCHEMAS).readings
    }
    assert readings["frames"].quantum == readings["tick_rate"].quantum == 0
    assert readings["ticks"].quantum == 1
    rate = readings["frames_per_second"]
    farthest = Decimal(2134) * 35 / Decimal("1023.5") - rate.value
    assert abs(rate.quantum - 2 * farthest) < Decimal("1e-20")


@pytest.mark.parametrize(
    ("octets", "held"),
    [
        (
            b"Replay: 2134 frames in **** ticks (35 ticks/s)\r\nRate: 72.9 frames/s",
            {"ticks", "frames_per_second"},
        ),
        (b"Replay: 2134 frames in 0 ticks (35 ticks/s)\r\nRate: 72.9 frames/s", {"frames_per_second"}),
        (
            b"Replay: 2,134 frames in 1024 ticks (35 ticks/s)\r\nRate: 72.9 frames/s",
            {"frames", "frames_per_second"},
        ),
        (
            b"Replay: 2134 frames in 1O24 ticks (35 ticks/s)\r\nRate: 72.9 frames/s",
            {"ticks", "frames_per_second"},
        ),
        (b"Replay: 2134 frames in 1024 ticks (35 ticks/s)\r\nRate: 72,9 frames/s", {"shown_rate"}),
        (b"Replay: 2134 frames in 1024 ticks (35 ticks/s)\r\nRate: OVERFLOW frames/s", {"shown_rate"}),
        (b"Replay: 2134 frames in 1024 ticks (35 ticks/s)\r\nRate: <0.1 frames/s", {"shown_rate"}),
        (b"Replay: 2134 frames in 1024 ticks (35 tick", None),
        (b"Replay: 2134 frames in 1024 ticks (35 ticks/s)\r\nRate: 72.9 frames/", None),
        (b"Replay: 2134 frames in 1024 ticks (35 ticks/s)\r\nSpeed: 72.9 frames/s", None),
        (b"replay: 2134 frames in 1024 ticks (35 ticks/s)\r\nRate: 72.9 frames/s", None),
        (b"Ways: score points", None),
        (b"Ways: score 12 34.50 points", None),
        (b"Ways: score 12\xfa34 points", {"score"}),
        (b"Ways: score 1.234,50 points", {"score"}),
        (b"Ways: score 1234.50 points\r\nWays: score 1234.50 points", {"score"}),
        (b"Mixed loop: LOOP 10, II 1, 0.00 seconds\r\nSpeed: **** KWIPS", {"shown_kwips", "kwips"}),
        (b"Linear system: the answer is wrong", None),
        (b"Linear system: order 100, 12.50 seconds\r\nSpeed: 400.0 KWIPS", None),
    ],
)
def test_near_misses(octets, held):
    """held: the metrics that must be held while the rest is read; None where nothing is recognised."""
    readout = read_run([console(octets)], SCHEMAS)
    if held is None:
        assert not any(verdict.recognised for verdict in readout.recognised)
        assert readout.readings == readout.holds == ()
        return
    assert {hold.metric for hold in readout.holds} == held
    (name,) = {verdict.schema for verdict in readout.recognised if verdict.recognised}
    (schema,) = (schema for schema in SCHEMAS if schema.name == name)
    assert {reading.metric for reading in readout.readings} == {m.name for m in schema.metrics} - held
    assert all(hold.begin < hold.end <= len(octets) for hold in readout.holds)


def test_outputs_of_two_programs_in_one_console_are_held():
    readout = read_run([console(OUTPUTS["replay"] + OUTPUTS["ways"])], SCHEMAS)
    assert readout.readings == ()
    assert "2 schemas recognise it: replay, ways" in readout.holds[0].reason


@pytest.mark.parametrize("name", OUTPUTS)
def test_every_cut_of_the_output_is_the_same_number_or_none(name):
    """An output cut off anywhere never gives another number than the whole one."""
    octets = OUTPUTS[name]
    whole = shown(read_run([console(octets)], SCHEMAS))
    for end in range(len(octets)):
        part = shown(read_run([console(octets[:end])], SCHEMAS))
        assert part.items() <= whole.items()
