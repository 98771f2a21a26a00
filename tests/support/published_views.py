"""The pictures of docs/published: what readoff demo and readoff report really write, as a reader sees it.

python tests/support/published_views.py docs/published    takes them anew (PYTHONPATH: host and tests)
"""

from __future__ import annotations

import io
import sys
import tempfile
from dataclasses import replace
from functools import partial
from pathlib import Path

from PIL import Image

from readoff.box import LATE, CacheLevel
from readoff.reports import charts
from readoff.reports.stairs import stairs_of
from readoff.store import open_store
from support.agent_box import agent_box, readoff
from support.commands import run

SIZE = (960, 540)
PAGE = (1100, 1500)
PAGE_SHOWN = (880, 1200)
INNER, OUTER = CacheLevel(8192), CacheLevel(65536, ways=1, clocks=6)
CACHES = {"as-found": (INNER, OUTER), "outer-off": (INNER,), "all-off": ()}
GROUNDS = ((255, 255, 255), (16, 16, 16), (122, 140, 90), (196, 64, 48))
"""What the transparent twin is laid over: white, black, and two colours that nothing is chosen for."""


def stairs(place: Path) -> Image.Image:
    """The chart of a memory that the agent measured in the test machine, twice in each configuration."""
    with open_store(place / "stairs.db") as store:
        for label, caches in CACHES.items():
            box = agent_box(replace(LATE, caches=caches, memory_clocks=24))
            for boot in (1, 2):
                box.boot(boot)
                for record in readoff(box, f"PROBE memory /L:{label}").records.values():
                    store.take(bytes(record.octets), "spool")
        (what, measured), *_ = stairs_of(store, list(CACHES))
    data = charts.Staircase("an invented machine", measured, what, "Invented data")
    chart = charts.drawn("staircase", what, what, partial(charts.staircase_chart, data))
    return Image.open(io.BytesIO(chart.png)).convert("RGB")


def over_grounds(path: Path) -> Image.Image:
    """A transparent chart over four grounds side by side."""
    chart = Image.open(path).convert("RGBA")
    ground = Image.new("RGBA", chart.size)
    width = chart.width // len(GROUNDS)
    for at, colour in enumerate(GROUNDS):
        ground.paste((*colour, 255), (at * width, 0, (at + 1) * width, chart.height))
    return Image.alpha_composite(ground, chart).convert("RGB")


def top_of(page: Path) -> Image.Image:
    """The top of the published page in a browser."""
    from playwright.sync_api import sync_playwright

    from support.page_bench import CHROMIUM, QUIET

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        view = browser.new_page(viewport={"width": PAGE[0], "height": PAGE[1]}, color_scheme="light")
        view.goto(page.as_uri())
        shown = Image.open(io.BytesIO(view.screenshot())).convert("RGB")
        browser.close()
    return shown.resize(PAGE_SHOWN, Image.Resampling.LANCZOS)


def main(folder: Path) -> None:
    """Makes them."""
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        run("demo", "--folder", str(place / "demo"))
        report = place / "demo" / "report"
        files = {each: next((report / "charts").glob(f"{each}-*[!r].png")) for each in ("ratio", "worth")}
        for each in ("boots", "target"):
            files[each] = report / "charts" / f"{each}-shown-rate-of-replay.png"
        pictures = {each: Image.open(path).convert("RGB") for each, path in files.items()}
        pictures["staircase"] = stairs(place)
        pictures["clear"] = over_grounds(report / "charts" / "boots-shown-rate-of-replay-clear.png")
        for each, picture in pictures.items():
            few = picture.resize(SIZE, Image.Resampling.LANCZOS).quantize(
                255, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE
            )
            few.save(folder / f"{each}.png", optimize=True)
        page = top_of(report / "report.html").quantize(255, dither=Image.Dither.NONE)
        page.save(folder / "report.png", optimize=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
