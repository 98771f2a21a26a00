"""What readoff show says of the clocks around a run, and that a time by a disturbed clock is judged by nobody."""

from __future__ import annotations

from pathlib import Path

import pytest

from readoff.contract.record import build_record
from support import store_samples as samples
from support.commands import answer, run

EDGE = {"state": "read", "rtc": bytes.fromhex("00 22 06 03 31 05 94 19"), "status_b": 2, "within": 100}
AFTER = EDGE | {"rtc": bytes.fromhex("57 22 06 03 31 05 94 19")}  # 57 s later
TICKS_OF_57_SECONDS = (1037, 50526)


def record(label: str, nonce: int, ticks: int, counts: int, start: dict[str, object] | None = None) -> bytes:
    clock = {"start": start or EDGE, "end": AFTER, "ticks": ticks, "counts": counts, "resolution": 1}
    sections = [
        ("run_start", samples.run_start() | {"label": label}),
        ("run_clock", clock),
        ("run_end", samples.run_end()),
    ]
    return build_record("run", samples.ident(2, nonce), sections, date=0x1CBF, time=0x32C0)  # type: ignore[arg-type]


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def take(**records: bytes) -> None:
    for name, octets in records.items():
        Path(f"{name}.RDO").write_bytes(octets)
        run("take", f"{name}.RDO", "--store", "s.db")


def shown(number: int = 1) -> str:
    return " ".join(run("show", number, "--store", "s.db").output.split())


def test_clocks_that_agree() -> None:
    take(A=record("base", 1, *TICKS_OF_57_SECONDS))
    assert "the clocks agree: 57.0000 s by the timer, 57 s by the real-time clock" in shown()
    told = answer("show", 1, "--store", "s.db")
    assert (told["clocks"]["state"], told["run"]["flags"]) == ("agree", "")


def test_a_disturbed_clock_is_shown_and_its_time_left_out() -> None:
    take(
        A=record("base", 1, 3000, 0), B=record("other", 2, 3000, 0), C=record("base", 3, *TICKS_OF_57_SECONDS)
    )
    text = shown()
    assert "flags: clock disturbed" in text and "clock disturbed: 164.7762 s by the timer" in text
    assert "left out of every judgement" in text
    assert "in steps of 0.0000008 s; clock disturbed" in text
    compared = run("compare", "base", "other", "--metric", "elapsed", "--store", "s.db", status=1)
    output = " ".join(compared.output.split())
    assert "runs 1, 2 for elapsed: clock disturbed: the timer and the real-time clock disagree" in output
    assert "only base has elapsed (s)" in output


@pytest.mark.parametrize(
    ("state", "says"), [("absent", "no real-time clock"), ("stopped", "stood still before")]
)
def test_a_machine_that_cannot_compare_says_so(state: str, says: str) -> None:
    take(A=record("base", 1, 0, 0, EDGE | {"state": state}))
    assert says in shown() and "flags" not in shown()
