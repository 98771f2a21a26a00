"""The sample programs that measure a rate, under DOSBox: wording, arithmetic, and the time itself.

Formulas: Weicker 1984 for passes a second; Curnow & Wichmann 1976, KWIPS = 100 LOOP II / s; Dongarra,
CS-89-85, 2n^3/3 + 2n^2 operations. 35 ticks a second: common practice, no source.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from support.dosbox import put_programs, run_dosbox

INSTRUCTIONS_A_LOOP = 1000 * 91
"""Instructions that FLTLOOP executes for each LOOP, counted in its source: 1000 passes of 4 elements of 21,
3 around them and 4 for the pass."""


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Command -> what it printed, with DOS line ends, all from one DOSBox of 6,000 instructions a millisecond."""
    folder = tmp_path_factory.mktemp("rates")
    put_programs(folder)
    commands = [
        *("replay", "replay 700", "intloop 9000", "intloop 65535", "fltloop", "fltloop 25"),
        *(f"solve {order}" for order in (1, 2, 3, 10, 60, 100)),
    ]
    files = run_dosbox(folder, [f"{c} > OUT{i}.TXT" for i, c in enumerate(commands)], cycles="fixed 6000")
    return {c: files[f"OUT{i}.TXT"].decode("cp437") for i, c in enumerate(commands)}


def rate_fits(amount: float, seconds: str, rate: str) -> bool:
    """Whether ``rate``, shown to a tenth, is amount/s for some time that is shown as ``seconds``."""
    least, most = max(float(seconds) - 0.005, 1e-6), float(seconds) + 0.005
    return amount / most - 0.0501 <= float(rate) <= amount / least + 0.0501


@pytest.mark.parametrize(("command", "frames"), [("replay", 300), ("replay 700", 700)])
def test_replay_shows_frames_times_35_over_ticks(printed: dict[str, str], command: str, frames: int) -> None:
    shown = re.fullmatch(
        rf"Replay: {frames} frames in (\d+) ticks \(35 ticks/s\)\r\nRate: (\d+\.\d) frames/s\r\n",
        printed[command],
    )
    assert shown, printed[command]
    ticks, tenths = int(shown[1]), int(shown[2].replace(".", ""))
    assert ticks >= 2
    assert tenths == (frames * 350 + ticks // 2) // ticks


@pytest.mark.parametrize("passes", [9000, 65535])
def test_intloop_shows_passes_over_seconds(printed: dict[str, str], passes: int) -> None:
    text = printed[f"intloop {passes}"]
    shown = re.fullmatch(
        rf"Integer loop: {passes} passes in (\d+\.\d\d) seconds\r\nSpeed: (\d+\.\d) passes/s\r\n", text
    )
    assert shown, text
    assert rate_fits(passes, shown[1], shown[2])


@pytest.mark.parametrize(("command", "loops"), [("fltloop", 10), ("fltloop 25", 25)])
def test_fltloop_shows_kwips_and_the_time_that_its_instructions_take(
    printed: dict[str, str], command: str, loops: int
) -> None:
    shown = re.fullmatch(
        rf"Mixed loop: LOOP {loops}, II 1, (\d+\.\d\d) seconds\r\nSpeed: (\d+\.\d) KWIPS\r\n",
        printed[command],
    )
    assert shown, printed[command]
    assert rate_fits(100 * loops, shown[1], shown[2])
    # DOSBox executes 6,000 instructions in a millisecond of its own time, however busy the host is.
    assert float(shown[1]) == pytest.approx(loops * INSTRUCTIONS_A_LOOP / 6_000_000, rel=0.03, abs=0.006)


@pytest.mark.parametrize("order", [1, 2, 3, 10, 60, 100])
def test_solve_shows_the_operations_of_its_order_over_seconds(printed: dict[str, str], order: int) -> None:
    text = printed[f"solve {order}"]
    shown = re.fullmatch(
        rf"Linear system: order {order}, (\d+\.\d\d) seconds\r\nSpeed: (\d+\.\d) kflops\r\n", text
    )
    assert shown, text
    operations = round(2 * order**3 / 3 + 2 * order**2)
    assert rate_fits(operations / 1000, shown[1], shown[2])


def test_rates_follow_the_speed_of_the_processor(tmp_path: Path) -> None:
    seconds = {}
    for cycles in (2000, 6000):
        folder = tmp_path / str(cycles)
        folder.mkdir()
        put_programs(folder, "INTLOOP.COM", "SOLVE.COM", "REPLAY.COM")
        files = run_dosbox(
            folder,
            ["intloop 20000 > I.TXT", "solve 60 > S.TXT", "replay 400 > R.TXT"],
            cycles=f"fixed {cycles}",
        )
        ticks = re.findall(rb"in (\d+) ticks", files["R.TXT"])
        times = re.findall(rb"(\d+\.\d\d) seconds", files["I.TXT"] + files["S.TXT"])
        seconds[cycles] = [*map(float, times), int(ticks[0]) / 35]
        assert len(seconds[cycles]) == 3
    for slow, fast in zip(seconds[2000], seconds[6000], strict=True):
        # Rounding: 0.01 s, and half a tick of 1/35 s for REPLAY.
        assert slow == pytest.approx(3 * fast, rel=0.05, abs=3 * 0.5 / 35)


@pytest.mark.parametrize("mode", [2, 3])
def test_the_stop_watch_holds_in_both_timer_modes(tmp_path: Path, mode: int) -> None:
    """Loops of 15.2 ms each end in all parts of a tick of 54.9 ms, in both halves of mode 3."""
    put_programs(tmp_path, "CLOCKSET.COM", "FLTLOOP.COM")
    all_loops = range(5, 10)
    commands = [f"fltloop {loops} > F{loops}.TXT" for loops in all_loops]
    files = run_dosbox(tmp_path, [f"clockset {mode} > C.TXT", *commands], cycles="fixed 6000")
    assert files["C.TXT"] == f"Clock: mode {mode}\r\n".encode()
    for loops in all_loops:
        assert seconds_shown(files[f"F{loops}.TXT"]) == pytest.approx(
            loops * INSTRUCTIONS_A_LOOP / 6_000_000, abs=0.007
        )


@pytest.mark.parametrize("before_midnight", [4, 6, 8])
def test_the_stop_watch_holds_over_midnight(tmp_path: Path, before_midnight: int) -> None:
    """It starts 2 to 4 ticks after CLOCKSET and runs for 14, so midnight comes while it measures or before."""
    put_programs(tmp_path, "CLOCKSET.COM", "FLTLOOP.COM")
    commands = [f"clockset 3 {before_midnight} > C.TXT", "fltloop 50 > F.TXT"]
    files = run_dosbox(tmp_path, commands, cycles="fixed 6000")
    assert files["C.TXT"] == b"Clock: mode 3\r\n"
    assert seconds_shown(files["F.TXT"]) == pytest.approx(50 * INSTRUCTIONS_A_LOOP / 6_000_000, abs=0.009)


def seconds_shown(text: bytes) -> float:
    """The time in a line like ``... 0.38 seconds``."""
    shown = re.search(rb"(\d+\.\d\d) seconds", text)
    assert shown, text
    return float(shown[1])
