"""Screens on the page against the emulators' own: each cell of 25, 43 and 50 rows, letter, colours and place.

CELLS.COM fills the screen under the agent and writes the adapter's memory, as it lies there, into a file; of our own
test machine the memory is also read from outside. So the chain agent, packing, record, store and page is held against
what the emulator itself would draw.
"""

import io
import re

import pytest
from PIL import Image

from readoff.box import AT, LATE
from readoff.page.app import Look
from readoff.readings.picture.frames import picture_of
from readoff.store import open_store
from support.agent_box import AGENT, agent_box, readoff, watch_frames
from support.dosbox import put_programs, run_dosbox
from support.page_bench import get, served
from support.page_cells import CELLS, COLOURS

# Code page 437 as the adapter's font has it: Python's table (equal to the Unicode consortium's CP437.TXT) for 20h to
# FFh but 7Fh; below that and at 7Fh, where CP437.TXT has controls, the glyphs by their Unicode names (IBM's chart).
CONTROLS = (
    "\0 263A 263B 2665 2666 2663 2660 2022 25D8 25CB 25D9 2642 2640 266A 266B 263C 25BA 25C4 2195 203C 00B6 00A7 25AC "
    "21A8 2191 2193 2192 2190 221F 2194 25B2 25BC"
).split()
GLYPHS = [" ", *(chr(int(each, 16)) for each in CONTROLS[1:])]
GLYPHS += [bytes([code]).decode("cp437") for code in range(32, 256)]
GLYPHS[0x7F] = "\u2302"


def in_dosbox(folder, rows, machine):
    """(records, the video memory as DOSBox has it)."""
    put_programs(folder, "CELLS.COM")
    (folder / "READOFF.COM").write_bytes(AGENT.read_bytes())
    tail = "" if rows == 25 else " 8"
    files = run_dosbox(folder, [f"READOFF RUN /L:cells CELLS{tail}"], machine=machine)
    records = [octets for name, octets in files.items() if name.endswith(".RDO") and "SERIAL" not in name]
    return records, files["CELLS.OUT"]


def in_box(rows, spec):
    """(records, the video memory as the test machine has it, read from outside after the end)."""
    box = agent_box(spec, "CELLS.COM")
    memory = []
    ended = box.on.dos.processes.on_ended

    def on_ended(process):
        if process.name.upper().endswith("CELLS.COM"):
            memory.append(bytes(box.on.engine.memory.read(0xB800, 0, 160 * rows)))
        ended(process)

    box.on.dos.processes.on_ended = on_ended
    ran = readoff(box, "RUN /L:cells CELLS" + ("" if rows == 25 else " 8"))
    assert box.drive("C").read("CELLS.OUT") == memory[0]
    return [bytes(record.octets) for record in ran.records.values()], memory[0]


@pytest.mark.parametrize(
    ("rows", "where"),
    [
        (25, "svga_s3"),
        (43, "ega"),
        (50, "svga_s3"),
        (25, AT),
        (43, AT),
        (50, LATE),
    ],
    ids=lambda each: each if isinstance(each, str | int) else "box",
)
def test_the_page_shows_the_emulators_own_screen(tmp_path, browse, rows, where):
    folder = tmp_path / "c"
    folder.mkdir()
    records, memory = in_dosbox(folder, rows, where) if isinstance(where, str) else in_box(rows, where)
    assert len(memory) == 160 * rows
    assert {*range(256)} == set(memory[::2])
    path = tmp_path / "bench.db"
    with open_store(path) as store:
        for octets in records:
            store.take(octets, "spool")
    with served(Look(path)) as server:
        page = browse()
        page.goto(server.link + "runs/1")
        told = page.locator("pre.screen").last.evaluate(CELLS)
    assert len(told) == rows
    for number, row in enumerate(told):
        cells = memory[160 * number : 160 * number + 160]
        assert "".join(cell[0] for cell in row) == "".join(GLYPHS[code] for code in cells[::2])
        width = row[-1][3] / 79
        for column, ((_, colour, ground, left), attribute) in enumerate(zip(row, cells[1::2], strict=True)):
            assert colour == "rgb({}, {}, {})".format(*COLOURS[attribute & 15])
            assert ground == "rgb({}, {}, {})".format(*COLOURS[attribute >> 4 & 7])
            assert abs(left - column * width) < 1, "the cells are not in columns"


@pytest.mark.parametrize("mode", ["13", "12", "06"])
def test_the_frame_of_a_graphics_mode_is_shown_point_for_point(tmp_path, mode):
    """Against the test machine's own video memory at the program's end."""
    box = agent_box(LATE, "GRAPHICS.COM")
    frames = watch_frames(box)
    ran = readoff(box, f"RUN /L:frames GRAPHICS {mode}")
    with open_store(tmp_path / "bench.db") as store:
        for record in ran.records.values():
            store.take(bytes(record.octets), "spool")
    with served(Look(tmp_path / "bench.db")) as server:
        view = get(server, "/runs/1").octets.decode()
        (address,) = set(re.findall(r'src="(/runs/1/pictures/\d+\.png)"', view))
        answer = get(server, address)
        assert get(server, "/runs/1/pictures/99.png").status == 404
    assert (answer.headers["content-type"], answer.headers["x-content-type-options"]) == (
        "image/png",
        "nosniff",
    )
    shown = Image.open(io.BytesIO(answer.octets))
    ((number, octets),) = frames
    there = picture_of(f"{number:02X}h", octets)
    assert shown.size == (there.width, there.height)
    assert shown.tobytes() == there.pixels
    assert sum(map(bool, there.pixels)) == 100  # the diagonal that GRAPHICS.COM draws
