"""WAYS.COM under DOSBox: the same line by each way, where each way shows it."""

from __future__ import annotations

from pathlib import Path

import pytest

from support.dosbox import put_programs, run_dosbox

THROUGH_DOS = ("02", "06", "09", "40")
ONTO_THE_SCREEN = ("29", "10", "V")
LINE = "Ways: score 1234.50 points"


def screen_rows(text: bytes) -> list[str]:
    """The rows that SCREEN.COM printed, without its heading."""
    return text.decode("cp437").split("\r\n")[1:-1]


def test_every_way_shows_the_same_line(tmp_path: Path) -> None:
    put_programs(tmp_path)
    redirected = [f"ways {way} > W{way}.TXT" for way in (*THROUGH_DOS, *ONTO_THE_SCREEN, "F")]
    files = run_dosbox(tmp_path, [*redirected, "screen > SCREEN.TXT"])
    for way in THROUGH_DOS:
        assert files[f"W{way}.TXT"] == f"{LINE}\r\n".encode(), way
    for way in (*ONTO_THE_SCREEN, "F"):
        assert files[f"W{way}.TXT"] == b"", way
    assert files["WAYS.OUT"] == f"{LINE}\r\n".encode()
    assert screen_rows(files["SCREEN.TXT"]) == [LINE] * len(ONTO_THE_SCREEN)


def test_ways_on_the_screen_come_row_under_row(tmp_path: Path) -> None:
    put_programs(tmp_path)
    every = (*THROUGH_DOS, *ONTO_THE_SCREEN, *THROUGH_DOS)
    files = run_dosbox(
        tmp_path, [*(f"ways {w} {i}.{w.strip('V')}5" for i, w in enumerate(every)), "screen > S.TXT"]
    )
    expected = [f"Ways: score {i}.{w.strip('V')}5 points" for i, w in enumerate(every)]
    assert screen_rows(files["S.TXT"]) == expected
    assert files["S.TXT"].startswith(f"Screen: mode 03h, 80 x 25, cursor {len(every)} 0\r\n".encode())


@pytest.mark.parametrize("machine", ["svga_s3", "vgaonly", "ega", "cga", "hercules"])
def test_direct_writes_scroll_at_the_bottom_on_every_display(tmp_path: Path, machine: str) -> None:
    put_programs(tmp_path)
    fill = [f"ways 02 {number}" for number in range(1, 27)]
    files = run_dosbox(tmp_path, [*fill, "ways v 27.5", "ways v 28.25", "screen > S.TXT"], machine=machine)
    heading, *rows = files["S.TXT"].decode("cp437").split("\r\n")
    mode = "07h" if machine == "hercules" else "03h"
    assert heading == f"Screen: mode {mode}, 80 x 25, cursor 24 0"
    numbers = [*range(5, 27), "27.5", "28.25"]
    assert rows[:-1] == [f"Ways: score {number} points" for number in numbers]


@pytest.mark.parametrize("machine", ["svga_s3", "hercules"])
def test_direct_writes_in_43_and_50_rows_or_without_them(tmp_path: Path, machine: str) -> None:
    put_programs(tmp_path)
    files = run_dosbox(tmp_path, ["lines43", "ways v", "screen > S.TXT"], machine=machine)
    rows = screen_rows(files["S.TXT"])
    if machine == "hercules":
        assert rows == ["Lines: this display adapter has 25 rows only", LINE]
    else:
        assert rows == ["Lines: 50 rows", LINE, *[""] * 47, "Lines: row 50 written directly"]


def test_ways_takes_the_number_as_typed_and_refuses_what_is_none(tmp_path: Path) -> None:
    put_programs(tmp_path)
    typed = ["0", "007.10", "123456789012", "999999999.99"]
    wrong = ["1234567890123", "12a", "x", "1,5"]
    commands = [f"ways 40 {number} > T{i}.TXT" for i, number in enumerate(typed)]
    commands += [f"ways 40 {number} > X{i}.TXT" for i, number in enumerate(wrong)]
    commands += ["ways 41 > X4.TXT", "ways > X5.TXT", "ways VV > X6.TXT"]
    files = run_dosbox(tmp_path, commands)
    for i, number in enumerate(typed):
        assert files[f"T{i}.TXT"] == f"Ways: score {number} points\r\n".encode()
    refused = {name: text for name, text in files.items() if name.startswith("X")}
    assert set(refused.values()) == {b"WAYS way [number]   way 02 06 09 40 29 10 V F\r\n"}
    assert len(refused) == 7
