"""The captures of a run: shown, saved as files, and counted by their sort where they are no text."""

import io

import pytest
from PIL import Image

from support import store_samples as samples
from support.commands import answer, run


@pytest.fixture(autouse=True)
def bench(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def take(bench, record):
    """Takes a record as the store's next."""
    (bench / "R.RDO").write_bytes(record)
    run("take", "R.RDO", status=1 if b"run_start" in record else 0)


def picture(form):
    written = io.BytesIO()
    Image.new("RGB", (16, 8), (170, 0, 0)).save(written, form)
    return written.getvalue()


@pytest.mark.parametrize("form", ["PNG", "GIF", "BMP", "PCX", "TIFF"])
def test_a_picture_is_named_and_not_poured_out(bench, form):
    take(bench, samples.file_record(content=picture(form)))
    told = run("show", "1").output
    assert "File C:\\WAYS.OUT (" in told
    assert f"a {form} picture (--save DIR" in told and "│" not in told
    (kind,) = answer("schema", "unknown", status=1)
    assert (kind["sort"], kind["lines"]) == (f"a {form} picture", [])
    assert "taught by hand" in run("schema", "unknown", status=1).output


def test_a_binary_file_is_shown_in_hex_from_its_beginning(bench):
    take(bench, samples.file_record(content=b"LAMP\x01\0" + bytes(300)))
    told = run("show", "1").output
    assert "a binary file that begins with 4C 41 4D 50" in told
    assert "│ 0000  4C 41 4D 50 01 00" in told and told.count("│") == 16
    assert "and 50 more octets: --save DIR writes all of it" in told


@pytest.mark.parametrize(
    "content", [b"Score: 5\r\n\x1a\0\0", b"Score: 5\r\n\0\0\0", b"\x10 Score: 5 in the best of passes\r\n"]
)
def test_a_text_is_one_with_its_end_mark_its_filling_and_an_arrow(bench, content):
    take(bench, samples.file_record(content=content))
    assert "Score: 5" in run("show", "1").output
    (kind,) = answer("schema", "unknown", status=1)
    assert kind["sort"] == "" and "Score: 0" in kind["lines"][0]


def test_binary_files_of_one_sort_are_alike(bench):
    for ordinal, more in ((3, b"\0\1\2"), (4, b"\0\7\7\7")):
        take(bench, samples.file_record(ordinal, content=b"LAMP" + more))
    (kind,) = answer("schema", "unknown", status=1)
    assert (kind["seen"], kind["runs"]) == (2, [1, 2])


def test_a_long_text_is_cut_on_the_screen_and_whole_in_the_file(bench):
    text = b"".join(b"Pass %d\r\n" % number for number in range(1500))
    take(bench, samples.file_record(content=text))
    told = run("show", "1").output
    assert "Pass 999\n" in told and "Pass 1000\n" not in told and "and 500 more lines" in told
    assert run("show", "1", "--save", "out").output == "out/01-WAYS.OUT\n"
    assert (bench / "out" / "01-WAYS.OUT").read_bytes() == text


def test_captures_are_saved_octet_for_octet_and_never_over_a_file(bench):
    record = samples.run_record(console=b"Mill: 5\r\n", screens=(samples.screen(["Mill: 5"]),))
    (bench / "R.RDO").write_bytes(record)
    run("take", "R.RDO", status=1)
    assert answer("show", "1", "--save", "out") == ["out/01-console.txt", "out/02-screen.bin"]
    assert (bench / "out" / "01-console.txt").read_bytes() == b"Mill: 5\r\n"
    assert len((bench / "out" / "02-screen.bin").read_bytes()) == 4000
    assert "out/01-console.txt: is there already" in run("show", "1", "--save", "out", status=2).stderr
    (bench / "R.RDO").write_bytes(samples.snapshot_record(9))
    run("take", "R.RDO")
    assert (
        "a snapshot has no captures" in run("show", "11223344-A1B2C3D4-0009", "--save", "x", status=2).stderr
    )
    told = run("schema", "which", "out/02-screen.bin", "--as", "screen", status=1).output
    assert "screen, 4000 octets" in told


def test_a_name_from_the_old_machine_stays_in_the_folder(bench):
    from pathlib import Path

    from readoff.cli.captures_shown import save_captures
    from readoff.readings import Capture, CaptureKind
    from readoff.store.captures import Taken

    for name, file in (
        ("C:\\..\\..", "01-.."),
        ("/etc/PASS\x1b", "01-PASS_"),
        ("", "01-FILE"),
        ("..", "01-.."),
    ):
        taken = Taken(0, Capture(CaptureKind.FILE, b"x", name=name), "", 0, 0, "", True)
        (saved,) = save_captures([taken], Path(f"to-{len(name)}"))
        assert saved.name == file and saved.resolve().parent.parent == bench
