"""Tries the samples that a schema carries: what is read must be what the schema says is read, to the last digit."""

from __future__ import annotations

from readoff.readings.faults import Faults
from readoff.readings.reading import Reading
from readoff.readings.run import read_run
from readoff.readings.schema import Sample, Schema


def check_samples(schema: Schema) -> tuple[str, ...]:
    """One sentence for every sample that is not read as it says; empty when all are (or there is none)."""
    faults = Faults(schema.file)
    for number, sample in enumerate(schema.samples):
        key = f"samples[{number}]"
        if sample.line:
            faults.lines[key] = sample.line
        _check(schema, sample, key, faults)
    return tuple(faults.told)


def as_digits(reading: Reading) -> str:
    """A reading's number in the form that samples use: plain digits, with the decimals that it was shown with."""
    return f"{reading.value:.{reading.decimals}f}"


def _check(schema: Schema, sample: Sample, key: str, faults: Faults) -> None:
    readout = read_run([sample.capture], [schema], program=sample.program)
    verdict = readout.recognised[0]
    if verdict.recognised != sample.recognised:
        right = (
            "a sample that it recognises" if sample.recognised else "recognised = true, or a stricter pattern"
        )
        faults.add(key, verdict.sentence(), right)
        return
    got: dict[str, list[str]] = {}
    for reading in readout.readings:
        got.setdefault(reading.metric, []).append(as_digits(reading))
    expected = {metric: list(numbers) for metric, numbers in sample.readings}
    for metric in sorted(got.keys() | expected.keys()):
        if got.get(metric) != expected.get(metric):
            read = ", ".join(got.get(metric, ["nothing"]))
            faults.add(
                f"{key}.readings.{metric}", f"read: {read}", ", ".join(expected.get(metric, ["nothing"]))
            )
    held = {hold.metric: hold.reason for hold in readout.holds}
    for metric in sorted(held.keys() - set(sample.held)):
        faults.add(
            f"{key}.held",
            f"{metric or 'the capture'} is held: {held[metric]}",
            "a reading, or its name in held",
        )
    for metric in sorted(set(sample.held) - held.keys()):
        faults.add(f"{key}.held", f"{metric} is not held", "its name left out of held")
