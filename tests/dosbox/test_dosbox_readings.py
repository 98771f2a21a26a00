"""What our sample programs really print under DOSBox is read whole by the shipped schemas."""

from __future__ import annotations

from pathlib import Path

from readoff.readings import read_run
from support.dosbox import put_programs, run_dosbox
from support.reading_texts import console, shipped

RUNS = {
    "replay": "replay 40",
    "intloop": "intloop 20000",
    "fltloop": "fltloop 20",
    "solve": "solve 90",
    "ways": "ways 09",
}


def test_every_sample_program_is_read(tmp_path: Path) -> None:
    put_programs(tmp_path)
    files = run_dosbox(tmp_path, [f"{command} > {name}.TXT" for name, command in RUNS.items()])
    printing = [schema for schema in shipped() if not schema.name.startswith("probe_")]
    assert {schema.name for schema in printing} == set(RUNS)
    for schema in printing:
        octets = files[f"{schema.name.upper()}.TXT"]
        readout = read_run([console(octets)], shipped())
        assert readout.holds == (), octets
        readings = {reading.metric: reading for reading in readout.readings}
        assert set(readings) == {metric.name for metric in schema.metrics}
        for reading in readings.values():
            if not reading.derived:
                assert f"{reading.value}".encode() == octets[reading.begin : reading.end]
        _compare_with_what_the_program_shows(schema.name, readings)


def _compare_with_what_the_program_shows(name, readings) -> None:
    """The derived rate lies within the reach of its own rounding and that of the rate that the program shows."""
    pairs = {
        "replay": ("frames_per_second", "shown_rate"),
        "fltloop": ("kwips", "shown_kwips"),
        "solve": ("kflops", "shown_kflops"),
    }
    if name in pairs:
        one, two = (readings[metric] for metric in pairs[name])
        assert abs(one.value - two.value) <= (one.quantum + two.quantum) / 2
