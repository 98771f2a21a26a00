"""An invented bench with something of everything the page shows, and pictures of all its views for docs/page.

python tests/support/page_views.py FOLDER [--every]    takes the pictures (PYTHONPATH: host and tests)
"""

from __future__ import annotations

import io
import sys
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw

from readoff import resources
from readoff.arrivals.told import About, Note, Status
from readoff.contract.record import RecordId, build_record
from readoff.page.app import Look
from readoff.page.bench import Bench
from readoff.readings import load_schemas
from readoff.store import Store, find, open_store
from readoff.store.attachments import Entry, attach
from readoff.store.notes import add_note
from readoff.store.photographs import clean
from readoff.studies import load_study
from support import store_samples as samples
from support import study_records as records

NOW = datetime(1994, 5, 31, 6, 22, tzinfo=UTC)
RATES = {
    "as-found": (("72.9", "73.0"), ("72.8", "72.9"), ("73.0", "73.1")),
    "zero-ws": (("76.1", "76.2"), ("76.3", "76.2")),
}
NOTE = "Invented figures, from no real machine."
STUDY = (
    records.STUDY.replace("shown_rate", "rate")
    + "\n[[targets]]\nprogram = 'replay'\nmetric = 'rate'\nat = 75\n"
)
VIEWS = {
    "now": "/",
    "far": "/far",
    "runs": "/runs",
    "run": "/runs/1",
    "screen": "/runs/12",
    "picture": "/runs/13",
    "staircase": "/runs/15",
    "octets": "/runs/1/octets/0?reading=1",
    "held": "/held",
    "typing": "/held/{hold}",
    "configurations": "/configurations",
    "findings": "/findings?base=as-found&other=zero-ws",
    "finding": "/finding?base=as-found&other=zero-ws&program=replay&arguments=&metric=rate&unit=frames/s",
}
PROBES = resources.protocols() / "readings" / "probe_memory.toml"
SCHEMAS = (
    ("probe_memory.toml", PROBES.read_text("utf-8")),
    ("replay.toml", samples.SCHEMA.replace("[0-9.]+) frames/s", "\\S+) frames/s")),
)


PASSES = ("minimum", "lower", "median", "upper", "maximum")
LOADED = """() => Promise.all([...document.images].map(each => { each.loading = 'eager';
  return each.decode().catch(() => 0); }))"""


def schemas() -> object:
    """What reads REPLAY, also where its rate is no number."""
    return load_schemas(list(SCHEMAS))


def coloured_screen(rows: int) -> dict[str, object]:
    """A framed screen in colours, so many lines high."""
    lines = ["╔" + "═" * 78 + "╗"]
    lines += [
        "║" + f" Line {n:02}  ░▒▓█  ┌─┬─┐  Rate: 72.9 frames/s ".ljust(78) + "║" for n in range(2, rows)
    ]
    lines += ["╚" + "═" * 78 + "╝"]
    codes = "".join(lines).encode("cp437")
    cells = b"".join(bytes([code, 0x1F if at // 80 % 2 else 0x1E]) for at, code in enumerate(codes))
    return samples.screen([], rows=rows) | {"cells": cells}


def drawn_file() -> bytes:
    """A picture as a program would leave it: 320 × 200 points in a PCX."""
    picture = Image.new("P", (320, 200), 1)
    picture.putpalette([0, 0, 0, 0, 0, 170, 255, 255, 85, 170, 0, 0] + [0] * 756)
    pen = ImageDraw.Draw(picture)
    for at in range(0, 320, 16):
        pen.line((at, 199, 319 - at, 60), fill=3)
    pen.ellipse((110, 30, 210, 130), fill=2)
    written = io.BytesIO()
    picture.save(written, "PCX")
    return written.getvalue()


def board() -> bytes:
    """A photograph of a board that was never built: two jumpers, three chips, a label."""
    picture = Image.new("RGB", (1600, 1200), (24, 84, 52))
    pen = ImageDraw.Draw(picture)
    for x in (180, 640, 1100):
        pen.rectangle((x, 240, x + 340, 420), fill=(28, 28, 30))
        pen.text((x + 30, 300), "TESTED PART 70", fill=(210, 210, 210), font_size=36)
    for at, x in enumerate((300, 520)):
        pen.rectangle((x, 700, x + 130, 790), fill=(240, 240, 235) if at else (30, 60, 190))
        pen.text((x + 20, 800), f"J{7 + at}", fill=(240, 240, 240), font_size=48)
    pen.rectangle((900, 680, 1450, 900), fill=(235, 230, 210))
    pen.text((930, 740), "SAMPLE BOARD, REV 0", fill=(20, 20, 20), font_size=46)
    written = io.BytesIO()
    picture.save(written, "JPEG", quality=90)
    return written.getvalue()


def staircase_record(nonce: int, label: str, levels: tuple[tuple[int, float], ...]) -> bytes:
    """A memory staircase that was never measured: (octets up to which, ns an access) of each level."""
    points = []
    for octets in (step << shift << 6 for shift in range(11) for step in (16, 19, 23, 27)):
        ns = next((time for size, time in levels if octets <= size), levels[-1][1])
        counts = round(ns * 4096 * 315 / 264_000)
        points.append(
            {
                "octets": octets,
                "reads": 4096,
                **dict(zip(PASSES, range(counts, counts + 5), strict=True)),
            }
        )
    probe = {
        "region": "conventional",
        "problem": "none",
        "base": 0x20000,
        "stride": 64,
        "read_octets": 2,
        "passes": 5,
        "overhead": 20,
        "smallest": points[0],
        "largest": points[-1],
        "points": points,
    }
    start = samples.run_start(label, "probe memory", path="", repeats=1)
    sections = [("run_start", start), ("probe_memory", probe), ("run_end", samples.run_end())]
    return build_record("run", RecordId(records.SERIAL, nonce, 9), sections)


def fill(path: Path) -> int:
    """Makes the store; gives the number of what is held."""
    with open_store(path, schemas) as store:
        nonce = 0
        for label, boots in RATES.items():
            for rates in boots:
                nonce += 1
                for octets in records.a_boot(nonce, label, rates):
                    store.take(octets, "/dev/ttyUSB0")
        for late in (40, 41):
            store.take(records.snapshot(late, "zero-ws", minute=10 * late), "/dev/ttyUSB0")
        start = records.run(40, "zero-ws", 2, samples.printed("7,,2"))
        store.take(start, "/dev/ttyUSB0")
        content = drawn_file()
        head = {
            "attributes": 0x20,
            "time": 0x32C0,
            "date": 0x1CBF,
            "size": len(content),
            "name": "C:\\LAST.PCX",
        }
        kept = build_record("file", RecordId(records.SERIAL, 41, 3), [("file", head), ("file_data", content)])
        store.take(
            samples.run_record(
                2,
                41,
                console=samples.printed("76.2"),
                screens=(coloured_screen(43),),
                start={"label": "zero-ws"},
            ),
            "/dev/ttyUSB0",
        )
        store.take(kept, "/dev/ttyUSB0")
        store.take(staircase_record(1, "as-found", ((8192, 61.0), (1 << 30, 420.0))), "/dev/ttyUSB0")
        store.take(
            staircase_record(4, "zero-ws", ((8192, 60.0), (262144, 150.0), (1 << 30, 400.0))), "/dev/ttyUSB0"
        )
        store.take(b"no record at all, by its first octets", "NOISE.RDO")
        _tell_more(store)
        return next(row.number for row in find.held(store) if row.run is not None)


def _tell_more(store: Store) -> None:
    """What a person attaches and notes."""
    picture = clean(board())
    attach(store, Entry("A. Tester", "zero-ws", text="J7 closed, J8 open", photograph=picture), NOW)
    attach(store, Entry("A. Tester", "as-found", text="Both jumpers open, as bought."), NOW)
    first = find.run_in_full(store, "1").run.id
    attach(store, Entry("A. Tester", id=first, text="The fan was not running yet."), NOW)
    add_note(
        store,
        machine="desk-486",
        label="zero-ws",
        program="replay",
        what="remark",
        text="the picture flickered once",
        at=NOW,
    )


def statuses() -> list[Status]:
    """A line that has said that its spool is empty, and a folder."""
    now = time.monotonic()
    line = Status("/dev/ttyUSB0", "line", alive=True, octets=48_212, records=17, left=0, bits=115_200)
    line.last_arrival, line.last_activity = now - 42, now - 42
    return [
        line,
        Status("/srv/inbox", "folder", alive=True, last_arrival=now - 3600, octets=5_120, records=2),
    ]


def look(path: Path, *, watching: bool = False) -> Look:
    """The page over it, with its study; watching: as beside a watch with a line and a folder."""
    if watching:
        bench = Bench(statuses)
        bench.hear(Note("/dev/ttyUSB0", About.AGENT, "agent 11223344, boot 00000029, is on the line"))
        return replace(look(path), bench=bench, watching=True)
    return Look(path, note=NOTE, schemas=schemas, study=lambda: load_study("s.toml", STUDY))


def pictures(name: str) -> set[str]:
    """Which pictures of a view stand in docs/page."""
    kept = {f"{name}-desk-light", f"{name}-phone-dark"}
    if name in ("now", "far", "typing"):
        kept.add(f"{name}-tablet-{'dark' if name == 'typing' else 'light'}")
    return kept | ({f"{name}-paper"} if name in ("configurations", "finding") else set())


def main(folder: Path, every: bool) -> None:
    """Takes every view as a telephone, a tablet and a desk show it, in light and dark, and on paper.

    every: all of them, not only those for the docs.
    """
    import tempfile

    from playwright.sync_api import sync_playwright

    from support.page_bench import CHROMIUM, QUIET, served

    sizes = {"phone": (390, 844), "tablet": (820, 1180), "desk": (1280, 900)}
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        path = Path(place) / "bench.db"
        hold = fill(path)
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        with served(look(path, watching=True)) as server:
            for size, (width, height) in sizes.items():
                for scheme in ("light", "dark"):
                    page = browser.new_page(
                        viewport={"width": width, "height": height},
                        color_scheme=scheme,
                        device_scale_factor=1,
                    )
                    for name, address in VIEWS.items():
                        wanted = pictures(name)
                        page.goto(server.link.rstrip("/") + address.format(hold=hold))
                        page.evaluate(LOADED)
                        if every or f"{name}-{size}-{scheme}" in wanted:
                            _take(page, folder / f"{name}-{size}-{scheme}.png")
                        if size == "desk" and scheme == "light" and (every or f"{name}-paper" in wanted):
                            page.emulate_media(media="print")
                            _take(page, folder / f"{name}-paper.png")
                            page.emulate_media(media="screen")
                    page.close()
        browser.close()


def _take(page: Any, path: Path) -> None:
    """A picture of the whole view, in few enough colours to be small."""
    shown = Image.open(io.BytesIO(page.screenshot(full_page=True))).convert("RGB")
    shown.quantize(96, dither=Image.Dither.NONE).save(path, optimize=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), every="--every" in sys.argv)
