"""A screenshot that comes as a file's record gives readings, or is held with the cell and its pixels named."""

import pytest

from readoff.contract.record import build_record
from readoff.store import find, open_store
from support import store_samples as samples
from support.drawn_pictures import CHAMFER, FORMATS, flipped, grid, load, schema_text

ROWS = grid(["Mill 1.2", "Pace: 84.70"], CHAMFER[8, 16], 40)
PAGE = [*ROWS, *([0] * 320 for _ in range(168))]  # 320 × 200
SCHEMAS = load(
    schema_text(more="size = '320x200'", recognise="all = ['^Mill ']\nfiles = ['SCREEN.*']"),
)
PART = 60000  # octets of one section of a file's data


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "s.db", SCHEMAS) as made:
        yield made


def file_sections(octets, name):
    head = {"attributes": 0x20, "time": 0x32C0, "date": 0x1CBF, "size": len(octets), "name": name}
    return [
        ("file", head),
        *(("file_data", octets[at : at + PART]) for at in range(0, len(octets), PART)),
    ]


def file_record(octets, name="C:\\MILL\\SCREEN.BMP"):
    return build_record("file", samples.ident(3), file_sections(octets, name))


def test_a_screenshot_in_a_files_record_is_read(store):
    octets = FORMATS["BMP 24"](PAGE)
    assert len(octets) > 3 * PART
    result = store.take(file_record(octets), "A.RDO")
    assert result.held == ()
    (row,) = find.readings(store)
    assert (row.metric, row.value, row.unit, row.decimals, row.line) == (
        "pace",
        "84.70",
        "points/s",
        2,
        "Pace: 84.70",
    )
    assert (row.begin, row.end) == (0, len(octets))


@pytest.mark.parametrize("name", ["BMP 1", "BMP 4", "BMP 8", "PCX 4 planes", "TIFF 8 LZW", "GIF", "PNG 8"])
def test_every_format_is_read(store, name):
    store.take(file_record(FORMATS[name](PAGE), "SCREEN.XYZ"), "A.RDO")
    assert [(row.metric, row.value) for row in find.readings(store)] == [("pace", "84.70")]


def test_one_wrong_pixel_is_held_with_its_place(store):
    store.take(file_record(FORMATS["BMP 8"](flipped(PAGE, (50, 20)))), "A.RDO")
    assert find.readings(store) == []
    (hold,) = find.held(store)
    assert (hold.kind, hold.metric) == ("metric", "pace")
    assert "the cell in row 2, column 7 (pixels 48 to 55, 16 to 31) is no glyph of chamfer" in hold.reason


@pytest.mark.parametrize("cut", [1, 1000, 60000])
def test_a_truncated_screenshot_is_held(store, cut):
    octets = FORMATS["BMP 8"](PAGE)[:-cut]
    store.take(file_record(octets), "A.RDO")
    assert find.readings(store) == []
    (hold,) = find.held(store)
    assert hold.kind == "capture"
    assert f"cut short: it ends at octet {len(octets)}" in hold.reason


def test_a_screenshot_of_another_size_is_held_and_another_file_is_not(store):
    store.take(file_record(FORMATS["BMP 8"](ROWS)), "A.RDO")
    (hold,) = find.held(store)
    assert "the picture has 320 × 32 pixels, the schema reads 320 × 200" in hold.reason
    store.take(
        build_record("file", samples.ident(4), file_sections(FORMATS["BMP 8"](ROWS), "LOGO.BMP")), "B.RDO"
    )
    assert len(find.held(store)) == 1


def test_a_screenshot_among_a_runs_captures_is_read(store):
    octets = FORMATS["PCX 8"](PAGE)
    sections = [
        ("run_start", samples.run_start(program="mill")),
        ("console", b"Mill is drawing.\r\n"),
        *file_sections(octets, "SCREEN.PCX"),
        ("run_end", samples.run_end()),
    ]
    store.take(build_record("run", samples.ident(5), sections), "C.RDO")
    found = [(row.metric, row.value) for row in find.readings(store) if row.metric != "elapsed"]
    assert found == [("pace", "84.70")]
    assert find.held(store) == []
