"""The sample programs for ways of ending and of treating the screen, under DOSBox."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from support.dosbox import DosBoxError, put_programs, run_dosbox


def exit_code_lines(name: str, codes: range) -> list[str]:
    """Batch lines that write the exit code of the last program into ``name``, if it is one of ``codes``."""
    return [f"if errorlevel {code} if not errorlevel {code + 1} echo code {code}>> {name}" for code in codes]


def test_programs_end_as_they_say(tmp_path: Path) -> None:
    put_programs(tmp_path)
    cases = [
        ("exitcode", "Exit: by 4Ch with code 5", 5),
        ("exitcode 0", "Exit: by 4Ch with code 0", 0),
        ("exitcode 254", "Exit: by 4Ch with code 254", 254),
        ("exitcode 256", "EXITCODE [n]   n 0 to 255", 2),
        ("exit20", "Exit: by INT 20h", 0),
        ("exitret", "Exit: by RET", 0),
        ("stays", "Stays: by INT 27h", 0),
        ("stays 31", "Stays: by 31h with code 9", 9),
        ("stays 31 77", "Stays: by 31h with code 77", 77),
        ("replay 0", "REPLAY [frames]   frames 1 to 65535", 2),
        ("intloop 65536", "INTLOOP [passes]   passes 1 to 65535", 2),
        ("solve 169", "SOLVE [n]   order n 1 to 168", 2),
        ("lineecho", "Line: there is no COM1", 1),
    ]
    commands = []
    for i, (command, _, code) in enumerate(cases):
        commands += [f"{command} > P{i}.TXT", *exit_code_lines(f"X{i}.TXT", range(code, code + 1))]
    files = run_dosbox(tmp_path, commands)
    for i, (command, line, code) in enumerate(cases):
        assert files[f"P{i}.TXT"].decode("cp437") == f"{line}\r\n", command
        assert files[f"X{i}.TXT"].decode("cp437") == f"code {code}\r\n", command


def test_bigprint_prints_what_it_sums(tmp_path: Path) -> None:
    put_programs(tmp_path)
    sizes = [1, 2, 63, 64, 1000, 2000, 60000]
    files = run_dosbox(tmp_path, [f"bigprint {size} > B{size}.TXT" for size in sizes])
    for size in sizes:
        text = files[f"B{size}.TXT"]
        expected = bytes({62: 13, 63: 10}.get(i % 64, 33 + i % 94) for i in range(size))
        assert text[: 2 * size] == expected * 2
        closing = f"\r\nBig print: {2 * size} octets, sum {sum(text[: 2 * size]) % 65536}\r\n"
        assert text[2 * size :] == closing.encode()


def test_hooks21_sees_its_own_calls_only(tmp_path: Path) -> None:
    put_programs(tmp_path, "HOOKS21.COM")
    files = run_dosbox(tmp_path, ["hooks21 > H.TXT", "echo alive >> H.TXT"])
    assert files["H.TXT"] == b"Hooks: INT 21h is mine\r\n0123456789\r\nHooks: 14 calls seen\r\nalive\r\n"


@pytest.mark.parametrize("argument", ["", "s"])
def test_clears_leaves_an_empty_screen(tmp_path: Path, argument: str) -> None:
    put_programs(tmp_path)
    files = run_dosbox(
        tmp_path,
        ["ways 02", "screen > S1.TXT", f"clears {argument}", "screen > S2.TXT", f"clears {argument} > C.TXT"],
    )
    assert files["S1.TXT"] == b"Screen: mode 03h, 80 x 25, cursor 1 0\r\nWays: score 1234.50 points\r\n"
    assert files["S2.TXT"] == b"Screen: mode 03h, 80 x 25, cursor 0 0\r\n"
    assert files["C.TXT"] == b"Clears: score 88.75 points\r\n"


def test_replay_puts_the_screen_back(tmp_path: Path) -> None:
    put_programs(tmp_path)
    files = run_dosbox(tmp_path, ["echo a line to keep", "replay 5 > R.TXT", "screen > S.TXT"])
    assert files["S.TXT"] == b"Screen: mode 03h, 80 x 25, cursor 1 0\r\na line to keep\r\n"
    assert files["R.TXT"].startswith(b"Replay: 5 frames in ")


@pytest.mark.parametrize(
    ("machine", "there", "not_there"),
    [("svga_s3", ["04", "06", "13"], []), ("ega", ["04", "06"], ["13"]), ("cga", ["04", "06"], ["13"])],
)
def test_graphics_leaves_its_mode_on(
    tmp_path: Path, machine: str, there: list[str], not_there: list[str]
) -> None:
    put_programs(tmp_path)
    commands = []
    for mode in (*there, *not_there):
        commands += [f"graphics {mode} > G{mode}.TXT", *exit_code_lines(f"G{mode}.TXT", range(2))]
        commands += [f"screen > S{mode}.TXT"]
    files = run_dosbox(tmp_path, commands, machine=machine)
    for mode in there:
        assert files[f"G{mode}.TXT"].decode() == f"Graphics: leaving in mode {mode}h\r\ncode 0\r\n"
        assert re.match(rf"Screen: mode {mode}h, [48]0 x 25", files[f"S{mode}.TXT"].decode())
    for mode in not_there:
        assert files[f"G{mode}.TXT"].decode() == (
            f"Graphics: leaving in mode {mode}h\r\n"
            f"Graphics: this display adapter has no mode {mode}h\r\ncode 1\r\n"
        )
        assert files[f"S{mode}.TXT"] == b"Screen: mode 03h, 80 x 25, cursor 0 0\r\n"


def test_lines43_has_43_rows_on_an_ega(tmp_path: Path) -> None:
    put_programs(tmp_path)
    files = run_dosbox(tmp_path, ["lines43", "screen > S.TXT"], machine="ega")
    heading, *rows = files["S.TXT"].decode("cp437").split("\r\n")[:-1]
    assert heading == "Screen: mode 03h, 80 x 43, cursor 1 0"
    assert rows == ["Lines: 43 rows", *[""] * 41, "Lines: row 43 written directly"]


def test_keys_typed_ahead_are_read_and_control_c_is_a_character(tmp_path: Path) -> None:
    """The second half is DOSBox's way: on real DOS the program is ended."""
    put_programs(tmp_path)
    files = run_dosbox(
        tmp_path, ["keys 1E61", "ctrlc > K1.TXT", "keys 2E03 1E61", "ctrlc > K2.TXT", "ctrlc > K3.TXT"]
    )
    assert files["K1.TXT"] == b"CtrlC: waiting for a key\r\nCtrlC: key 97\r\n"
    assert files["K2.TXT"] == b"CtrlC: waiting for a key\r\nCtrlC: key 3\r\n"
    assert files["K3.TXT"] == b"CtrlC: waiting for a key\r\nCtrlC: key 97\r\n"


def test_a_division_by_zero_hangs_and_the_harness_ends_it(tmp_path: Path) -> None:
    put_programs(tmp_path, "DIVZERO.COM")
    with pytest.raises(DosBoxError, match=r"did not end within 4 s\.\n(?s:.)*DIVZERO\.COM") as caught:
        run_dosbox(tmp_path, ["divzero", "echo went on > AFTER.TXT"], time_limit=4)
    assert "AFTER.TXT" not in str(caught.value)
