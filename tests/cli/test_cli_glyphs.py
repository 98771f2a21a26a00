"""readoff glyphs: from a screenshot and its text to a glyph set that reads another screenshot."""

import pytest
from click.testing import CliRunner

from readoff.cli import main
from readoff.readings import Capture, CaptureKind, as_shown, load_schemas, read_run
from support.drawn_pictures import CHAMFER, FORMATS, grid, png, schema_text

LINES = ["0123456789 .,:+-", "Mill Pace       "]


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    rows = [[0] * 160, *([0, 0, *row, *[0] * 30] for row in grid(LINES, CHAMFER[8, 14]))]
    (tmp_path / "FONT.PCX").write_bytes(FORMATS["PCX 4 planes"](rows))
    (tmp_path / "font.txt").write_text("\n".join(line.rstrip() for line in LINES) + "\n", encoding="utf-8")
    return tmp_path


def run(*arguments, status=0):
    result = CliRunner().invoke(main, ["glyphs", "FONT.PCX", "font.txt", "--name", "mine", *arguments])
    assert result.exit_code == status, result.output
    return result


def test_what_is_cut_reads_another_picture(bench):
    result = run("--cell", "8x14", "--at", "2,1")
    assert result.output.startswith("mine.glyphs.toml: 22 glyphs of 8×14; the closest, ")
    files = [(path.name, path.read_text("utf-8")) for path in bench.glob("*.toml")]
    schemas = load_schemas([*files, ("a.toml", schema_text(cell="8x14").replace('"chamfer"', '"mine"'))])
    picture = png(grid(["Mill 1.2", "Pace: 84.70"], CHAMFER[8, 14], 20))
    readout = read_run([Capture(CaptureKind.FILE, picture, name="A.PNG")], schemas)
    assert [as_shown(reading) for reading in readout.readings] == ["84.70 points/s"]


def test_a_file_that_is_there_is_not_overwritten(bench):
    run("--cell", "8x14", "--at", "2,1", "--output", "a.glyphs.toml")
    before = (bench / "a.glyphs.toml").read_bytes()
    assert (
        "there already" in run("--cell", "8x14", "--at", "2,1", "--output", "a.glyphs.toml", status=2).stderr
    )
    assert (bench / "a.glyphs.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--cell", "8x14"], "row 1, column"),
        (["--cell", "8x16", "--at", "2,1"], "the region reaches to pixel"),
        (["--cell", "8x14", "--at", "2"], "'2' is no pixel"),
        (["--cell", "8x14", "--at", "2,1", "--apart", "60"], "60 are due"),
        (["--cell", "8x14", "--at", "2,1", "--output", "no/folder/x"], "cannot be written"),
    ],
)
def test_what_does_not_fit_is_told(bench, arguments, told):
    assert told in run(*arguments, status=2).stderr
    assert not list(bench.glob("*.toml"))


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--cell", "8"], "width and height in pixels"),
        (["--cell", "8x14", "--ink", "bright = 1"], "'bright' is not known"),
        (["--cell", "8x14", "--ink", "brighter ="], "is not understood"),
    ],
)
def test_a_rule_that_is_none_is_told_as_in_a_schema(bench, arguments, told):
    assert told in run(*arguments, status=5).stderr


def test_a_picture_that_is_none_is_told(bench):
    (bench / "FONT.PCX").write_bytes(b"text")
    assert "the file is no picture" in run("--cell", "8x14", status=1).stderr
    (bench / "font.txt").write_text("\n")
    assert "there is no text in it" in run("--cell", "8x14", status=2).stderr
    (bench / "font.txt").unlink()
    assert "cannot be read" in run("--cell", "8x14", status=2).stderr
