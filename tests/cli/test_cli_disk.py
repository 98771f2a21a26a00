"""readoff disk: an image that mtools, an emulated DOS and our own reader all read; formats compared with mtools'."""

from __future__ import annotations

import re
import subprocess
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff import floppy, resources
from readoff.arrivals.images import files_in_image
from readoff.contract.record import parse_record
from readoff.errors import UsageError
from readoff.floppy import FORMATS, floppy_image
from support.box_programs import assemble
from support.commands import run
from support.dosbox import run_dosbox
from support.floppies import a_floppy

WHEN = datetime(1994, 5, 31, 6, 22, 12)
BLOCK = slice(11, 28)  # octets an sector up to and with heads: what describes the disk
BOOT = """
        cli
        xor     ax, ax
        mov     ss, ax
        mov     sp, 7C00h
        mov     ds, ax
        sti
        mov     si, text
.next:  lodsb
        test    al, al
        jz      .key
        mov     ah, 0Eh
        mov     bx, 7
        int     10h
        jmp     short .next
.key:   xor     ax, ax
        int     16h
        int     19h
text:
"""


@pytest.mark.parametrize("kilobytes", [320, 360, 720, 1200, 1440])
def test_the_formats_are_those_of_mtools(kilobytes: int) -> None:
    ours, theirs = floppy_image(kilobytes * 2, {}, WHEN), a_floppy({}, kilobytes)
    assert len(ours) == len(theirs)
    assert ours[BLOCK] == theirs[BLOCK]
    assert ours[512:515] == theirs[512:515]


def test_the_boot_code_is_what_its_source_says() -> None:
    code = assemble("        cpu 8086\n        bits 16\n        org 7C3Eh\n" + BOOT, prelude=False)
    assert code == floppy._BOOT
    image = floppy_image(720, {}, WHEN)
    assert image[0x3E:].startswith(code + floppy._SAYS)
    assert image[510:512] == b"\x55\xaa"


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(sorted(FORMATS)), st.lists(st.binary(max_size=9000), max_size=9))
def test_what_goes_in_comes_out(sectors: int, contents: list[bytes]) -> None:
    files = {f"F{number}.BIN": octets for number, octets in enumerate(contents)}
    read = {each.name: each.octets for each in files_in_image(floppy_image(sectors, files, WHEN))}
    assert read == files


def test_what_does_not_fit_or_has_no_name_of_dos_is_refused() -> None:
    for files in (
        {"A.BIN": bytes(400_000)},
        {"long name.bin": b""},
        {"a.bin": b""},
        {f"F{n}": b"" for n in range(112)},
    ):
        with pytest.raises(UsageError):
            floppy_image(720, files, WHEN)


@pytest.mark.parametrize("size", ["360", "720", "1200", "1440"])
def test_mtools_reads_it(tmp_path: Path, size: str) -> None:
    image = tmp_path / "disk.img"
    run("disk", image, "--size", size)
    listed = subprocess.run(
        ["mdir", "-i", str(image), "::"], capture_output=True, text=True, check=True
    ).stdout
    assert re.search(r"READOFF +COM", listed) and re.search(r"GUIDE +TXT", listed)
    subprocess.run(["mcopy", "-i", str(image), "::READOFF.COM", str(tmp_path / "OUT.COM")], check=True)
    assert (tmp_path / "OUT.COM").read_bytes() == resources.agent().read_bytes()


def test_the_texts_fit_a_screen_of_dos(tmp_path: Path) -> None:
    run("disk", tmp_path / "disk.img")
    files = {each.name: each.octets for each in files_in_image((tmp_path / "disk.img").read_bytes())}
    for name in ("GUIDE.TXT", "START.BAT"):
        lines = files[name].decode("ascii").split("\r\n")
        assert lines[-1] == "" and "\n" not in "".join(lines)
        assert max(map(len, lines)) <= 79


def test_the_batch_file_takes_a_snapshot_under_another_dos(tmp_path: Path) -> None:
    """From the image, mounted as A: by DOSBox, onto C:, for DOSBox does not write such an image back at once."""
    image = tmp_path / "disk.img"
    run("disk", image, "--size", "1440")
    drive = tmp_path / "c"
    drive.mkdir()
    commands = [f"IMGMOUNT A {image} -t floppy", "COPY A:*.* C: > NUL", "CALL START.BAT"]
    files = run_dosbox(drive, commands)
    records = [octets for name, octets in files.items() if name.startswith("SPOOL/") and "SERIAL" not in name]
    assert [parse_record(octets).kind for octets in records] == ["snapshot"]
    assert files["READOFF.COM"] == resources.agent().read_bytes()


def test_nothing_is_written_over_unasked(tmp_path: Path) -> None:
    image = tmp_path / "disk.img"
    image.write_bytes(b"mine")
    assert "is there already" in run("disk", image, status=2).stderr
    assert image.read_bytes() == b"mine"
    run("disk", image, "--replace")
    assert len(image.read_bytes()) == 720 * 1024
    assert "cannot be written" in run("disk", tmp_path / "none" / "disk.img", status=2).stderr
