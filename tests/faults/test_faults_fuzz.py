"""The bounded part of the fuzz targets (tests/faults/fuzz.py plays as many cases as you like)."""

import time
from random import Random

import pytest

from support import fuzzing

CASES = {
    "framing": 1000,
    "record": 600,
    "store": 25,
    "layouts": 300,
    "text-schemas": 300,
    "binary-schemas": 300,
    "disk-images": 1000,
    "pictures": 400,
}


def test_every_target_is_played() -> None:
    assert CASES.keys() == fuzzing.TARGETS.keys()


@pytest.mark.parametrize("target", CASES)
def test_the_promise_holds(target: str) -> None:
    broken = {seed: what for seed in range(1, CASES[target] + 1) if (what := fuzzing.play(target, seed))}
    assert broken == {}


def test_a_broken_promise_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another exception, a value that is wrong, a case without end."""

    def wrong(draw: Random) -> None:
        raise KeyError(draw.random())

    def endless(draw: Random) -> None:
        while True:
            time.process_time()

    monkeypatch.setitem(fuzzing.TARGETS, "wrong", wrong)
    monkeypatch.setitem(fuzzing.TARGETS, "endless", endless)
    monkeypatch.setattr(fuzzing, "CASE_SECONDS", 0.05)
    first = fuzzing.play("wrong", 7)
    assert first.startswith("KeyError: 0.") and "test_faults_fuzz.py" in first
    assert first == fuzzing.play("wrong", 7) != fuzzing.play("wrong", 8)
    assert "took more than" in fuzzing.play("endless", 1)


def test_a_parser_that_loses_octets_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    real = fuzzing.parse_records
    monkeypatch.setattr(fuzzing, "parse_records", lambda octets: real(octets[:-1]))
    assert "octets of an arrival are lost" in {fuzzing.play("record", seed) for seed in range(20)}


def test_a_mistake_of_ours_that_became_a_hold_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(octets: bytes) -> list[object]:
        raise KeyError("anything")

    monkeypatch.setattr("readoff.store.derive.parse_records", fails)
    assert "KeyError: 'anything'" in fuzzing.play("store", 1)
