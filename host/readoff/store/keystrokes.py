"""What the agent typed for a run's program, and how far it got, as a sentence. Pure."""

from __future__ import annotations

from readoff.contract.record import Record


def typed_sentence(record: Record) -> str:
    """How far the script of keys got, with the script; "" where there was none."""
    asked, end = record.values("keys"), record.values("keys_end")
    if asked is None:
        return ""
    script = str(asked["script"])
    if end is None:
        return f"to be typed: {script}; the record does not say how far it got"
    typed, done, elements = int(end["typed"]), int(end["done"]), int(end["elements"])
    keys = "1 key" if typed == 1 else f"{typed} keys"
    if done >= elements:
        return f"typed to the end, {keys}: {script}"
    at = max(0, int(end["place"]) - 1)
    return f"typed {keys}, and stopped before {script[at:]!r}: {script}"
