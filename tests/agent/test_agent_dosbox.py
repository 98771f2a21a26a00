"""The same agent under another, emulated DOS: what it keeps must not depend on how DOS reaches the screen."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from readoff.contract.record import Record, parse_record
from readoff.readings.picture.decoding import decode
from readoff.readings.picture.frames import dac_palette, frame_octets, picture_of
from readoff.readings.shown import CaptureKind, show
from readoff.store.captures import captures_of
from support.agent_box import AGENT, big_print, console, end_of, screen_rows
from support.dosbox import Setup, put_programs, run_dosbox

LINE = b"Ways: score 1234.50 points\r\n"
SHOWN = LINE.decode().strip()
WAYS = ("02", "06", "09", "40", "29", "10", "V")


def agent_under_dosbox(
    folder: Path, *commands: str, **setup: object
) -> tuple[list[Record], dict[str, bytes]]:
    """Records in the order of their ordinals, and all files."""
    put_programs(folder)
    (folder / "READOFF.COM").write_bytes(AGENT.read_bytes())
    chosen: Setup = setup  # type: ignore[assignment]
    files = run_dosbox(folder, commands, **chosen)
    names = [name for name in files if name.endswith(".RDO") and not name.endswith("SERIAL.RDO")]
    return sorted((parse_record(files[name]) for name in names), key=lambda record: record.id), files


@pytest.mark.parametrize("machine", ["svga_s3", "cga", "hercules"])
def test_each_way_is_kept_once(tmp_path: Path, machine: str) -> None:
    records, _ = agent_under_dosbox(tmp_path, *(f"READOFF RUN WAYS {way}" for way in WAYS), machine=machine)
    runs = [record for record in records if record.kind == "run"]
    assert [console(run) for run in runs] == [LINE] * 6 + [b""]
    assert [screen_rows(run) for run in runs] == [[SHOWN]] * 7
    assert len({record.id.boot for record in records}) == 1
    assert [record.id.ordinal for record in records] == list(range(1, 15))


def test_outcomes(tmp_path: Path) -> None:
    commands = [
        "EXITCODE 9",
        "EXIT20",
        "EXITRET",
        "NOSUCH",
        "GRAPHICS 13",
        "LINES43",
        "HOOKS21",
        "STAYS 27",
        "STAYS 31 7",
    ]
    records, _ = agent_under_dosbox(tmp_path, *(f"READOFF RUN {command}" for command in commands))
    ends = [end_of(record) for record in records if record.kind == "run"]
    assert [(end["outcome"], end["exit_code"]) for end in ends] == [
        ("finished", 9),
        ("finished", 0),
        ("finished", 0),
        ("not_found", 0),
        ("finished", 0),
        ("finished", 0),
        ("finished", 0),
        ("stayed_resident", 0),
        ("stayed_resident", 7),
    ]
    assert [end["set"] for end in ends] == [*[set()] * 4, {"graphics_left"}, *[set()] * 4]
    lines43 = [record for record in records if record.kind == "run"][5]
    assert len(screen_rows(lines43)) == 50


def test_exit_codes_and_redirection(tmp_path: Path) -> None:
    _, files = agent_under_dosbox(
        tmp_path,
        "READOFF RUN WAYS 40 > OUT.TXT",
        "IF ERRORLEVEL 1 COPY OUT.TXT A.TXT",
        "READOFF RUN NOSUCH",
        "IF ERRORLEVEL 2 COPY OUT.TXT B.TXT",
        "READOFF RUN /D:C:\\NOWHERE WAYS 40",
        "IF ERRORLEVEL 3 COPY OUT.TXT C.TXT",
    )
    assert files["OUT.TXT"] == LINE
    assert ("A.TXT" in files, "B.TXT" in files, "C.TXT" in files) == (False, True, True)


@pytest.mark.parametrize("machine", ["svga_s3", "cga"])
def test_the_text_before_a_mode_is_set_is_kept(tmp_path: Path, machine: str) -> None:
    records, _ = agent_under_dosbox(tmp_path, "READOFF RUN MODES", machine=machine)
    (run,) = [record for record in records if record.kind == "run"]
    first, last = [each for each in captures_of(run) if each.capture.kind is CaptureKind.SCREEN]
    rows = [line.text.rstrip() for line in show(first.capture).lines]
    assert (first.moment, first.problem, last.moment) == ("mode_set", "", "exit")
    assert "Modes: score 640.5 points" in rows


def test_much_output(tmp_path: Path) -> None:
    records, _ = agent_under_dosbox(tmp_path, "READOFF RUN BIGPRINT 50000")
    assert console(records[1]) == big_print(50_000)


def test_a_file_is_sent(tmp_path: Path) -> None:
    (tmp_path / "A.LOG").write_bytes(b"score 77.5\r\n" * 1000)
    records, _ = agent_under_dosbox(tmp_path, "READOFF SEND A.LOG")
    (record,) = records
    assert (
        b"".join(s.values["octets"] for s in record.all("file_data") if s.values) == b"score 77.5\r\n" * 1000
    )


@pytest.mark.parametrize("cputype", ["386", "486_slow", "pentium_slow"])
def test_other_processors(tmp_path: Path, cputype: str) -> None:
    records, _ = agent_under_dosbox(tmp_path, "READOFF RUN WAYS 02", cputype=cputype, cycles="fixed 3000")
    assert console(records[1]) == LINE and screen_rows(records[1]) == [SHOWN]


FRAME_MODES = {
    "svga_s3": ("04", "05", "06", "0D", "0E", "10", "11", "12", "13"),
    "ega": ("04", "06", "0D", "0E", "10"),
    "cga": ("04", "06"),
}


@pytest.mark.parametrize("machine", FRAME_MODES)
def test_pictures_are_what_the_emulator_has_in_its_memory(tmp_path: Path, machine: str) -> None:
    """FRAMES.COM keeps the video memory itself, by its own way, before it goes back to text."""
    (tmp_path / "PIXELS.DAT").write_bytes(
        b"".join(struct.pack("<HHB", (37 * i) % 320, (11 * i) % 200, i % 16) for i in range(3000))
    )
    for number, mode in enumerate(FRAME_MODES[machine]):
        folder = tmp_path / f"{number}"
        folder.mkdir()
        (folder / "PIXELS.DAT").write_bytes((tmp_path / "PIXELS.DAT").read_bytes())
        records, files = agent_under_dosbox(folder, f"READOFF RUN FRAMES {mode}", machine=machine)
        (run,) = [record for record in records if record.kind == "run"]
        (taken,) = [each for each in captures_of(run) if each.capture.kind is CaptureKind.PICTURE]
        raw = files["FRAME.RAW"]
        length = frame_octets(f"{mode}h")
        wanted = picture_of(f"{mode}h", raw[:length], dac_palette(raw[length:]) if mode == "13" else ())
        picture = decode(taken.capture.octets)
        assert (taken.moment, taken.problem, taken.note, end_of(run)["set"]) == ("mode_set", "", "", set())
        assert picture.pixels == wanted.pixels and len(set(picture.pixels)) > 1, mode
        if mode == "13":
            assert picture.palette == wanted.palette


def test_a_program_that_ends_in_graphics(tmp_path: Path) -> None:
    records, _ = agent_under_dosbox(
        tmp_path, "READOFF RUN GRAPHICS 12", "READOFF RUN GRAPHICS 13", machine="svga_s3"
    )
    for run in (record for record in records if record.kind == "run"):
        (taken,) = [each for each in captures_of(run) if each.capture.kind is CaptureKind.PICTURE]
        picture = decode(taken.capture.octets)
        assert taken.moment == "exit" and end_of(run)["set"] == {"graphics_left"}
        assert [at % picture.width for at, value in enumerate(picture.pixels) if value == 1] == list(
            range(1, 101)
        )


def test_keys_by_script_reach_every_way_of_asking(tmp_path: Path) -> None:
    script = "[enter][after page 2][enter][pause 0.5][enter]"
    ways = ("00", "10", "11", "01", "06", "07", "08", "0A", "0B", "0C", "3F", "44")
    records, _ = agent_under_dosbox(tmp_path, *(f'READOFF RUN /K:"{script}" MENU {way}' for way in ways))
    runs = [record for record in records if record.kind == "run"]
    assert [(run.values("keys_end") or {})["typed"] for run in runs] == [3] * len(ways)
    for run in runs:
        assert [each.moment for each in captures_of(run)] == ["key_wait"] * 3 + ["exit"]
