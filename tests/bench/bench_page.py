"""The page: first views of a large store, *kept* beside fifty viewers, from the last octet on the line to the row."""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from bench.rows import Row
from readoff.page.app import Look
from readoff.studies import Study, load_study
from support import store_samples as samples
from support.agent_twin import a_pty
from support.page_bench import CHROMIUM, QUIET, get, running, served
from support.page_load import STUDY, many_runs, send, viewers

FEW, VIEWERS, ARRIVALS, RATE = 100, 50, 200, 115_200
VIEWS = ("/", "/runs", "/held", "/configurations", "/findings", "/runs/1")
OF_A_STUDY = ("/", "/findings")
ROUNDS, RECORDS = 5, 40  # with and without viewers by turns, so many records each


def of_the_page(folder: Path, runs: int) -> Iterator[Row]:
    """Rows of the table. runs: of the large store."""
    yield from _kept_rows(folder)
    took = to_the_row(folder, ARRIVALS)
    middle, worst = statistics.median(took), max(took)
    yield Row(
        f"last octet on the line to the row in a browser, {ARRIVALS} arrivals",
        f"{middle:.0f} ms median",
        f"worst {worst:.0f} ms",
    )
    many_runs(folder / "few.db", FEW)
    many_runs(folder / "many.db", runs)
    told = first_views(folder / "few.db", folder / "many.db", VIEWS)
    study = first_views(
        folder / "few.db", folder / "many.db", OF_A_STUDY, lambda: load_study("many.toml", STUDY)
    )
    told |= {f"{view} beside a study": times for view, times in study.items()}
    for view, (few, many) in told.items():
        ratio = many / few
        yield Row(
            f"page, first view of {view} with {runs:,} runs",
            f"{many * 1e3:.0f} ms",
            f"with {FEW} runs: {few * 1e3:.0f} ms",
            f"{ratio:.2f}",
            "at most 3",
            ratio <= 3,
        )


def _kept_rows(folder: Path) -> Iterator[Row]:
    single, whole = kept_beside(folder, (0, VIEWERS), ROUNDS, RECORDS)
    alone, beside = (statistics.median(single[count]) for count in (0, VIEWERS))
    yield Row(
        f"from a record's last octet to *kept* beside {VIEWERS} viewers, median of {len(single[0])}",
        f"{beside * 1e3:.1f} ms",
        f"without: {alone * 1e3:.1f} ms",
        f"{beside / alone:.2f}",
        "at most 1.1",
        beside / alone <= 1.1,
    )
    alone, beside = (statistics.median(whole[count]) / RECORDS for count in (0, VIEWERS))
    yield Row(
        f"a record over a line at {RATE:,} beside {VIEWERS} viewers",
        f"{beside * 1e3:.0f} ms",
        f"without: {alone * 1e3:.0f} ms",
        f"{beside / alone:.2f}",
    )


def first_view(path: Path, view: str, study: Callable[[], Study] | None) -> float:
    """Seconds of the first answer of a page that has just started."""
    with served(Look(path, study=study)) as server:
        begin = time.perf_counter()
        answer = get(server, view)
        took = time.perf_counter() - begin
    assert answer.status == 200
    return took


def first_views(
    few: Path, many: Path, views: Sequence[str], study: Callable[[], Study] | None = None, rounds: int = 9
) -> dict[str, tuple[float, float]]:
    """View -> (seconds with few runs, with many): the median of some rounds, taken in turn."""
    told: dict[str, tuple[float, float]] = {}
    for view in views:
        times = [(first_view(few, view, study), first_view(many, view, study)) for _ in range(rounds)]
        told[view] = (statistics.median(a for a, _ in times), statistics.median(b for _, b in times))
    return told


def records_of(nonce: int, count: int, octets: int = 1500) -> Iterator[bytes]:
    """Invented records of about a kilobyte and a half."""
    draw = random.Random(nonce)
    for at in range(count):
        noise = bytes(draw.randrange(32, 127) for _ in range(octets))
        yield samples.run_record(2 + at, nonce, console=samples.printed() + noise, start={"label": "line"})


def kept_beside(
    folder: Path, counts: Sequence[int], rounds: int, records: int, rate: int = RATE
) -> tuple[dict[int, list[float]], dict[int, list[float]]]:
    """Viewers -> seconds of each record from its last octet to *kept*; all in one watch, taken in turn.

    Also viewers -> seconds of whole rounds.
    """
    pty = a_pty()
    single: dict[int, list[float]] = {count: [] for count in counts}
    whole: dict[int, list[float]] = {count: [] for count in counts}
    way = ["watch", "--port", pty.path, "--page", "127.0.0.1:0", "--store", str(folder / "line.db")]
    with running(*way) as (_, port):
        send(list(records_of(1, 2)), pty.port, 1)
        for turn in range(rounds):
            for count in counts:
                nonce = 16 + turn * len(counts) + counts.index(count)
                spool = list(records_of(nonce, records))
                with viewers(port, count):
                    begin = time.monotonic()
                    sent = send(spool, pty.port, nonce, rate)
                    whole[count].append(time.monotonic() - begin)
                assert len(sent) == records
                single[count] += [each.took for each in sent]
    pty.port.close()
    return single, whole


WATCH_ROWS = """() => { window.seen = {};
  const look = () => { const first = document.querySelector('#latest tbody a');
    const at = performance.timeOrigin + performance.now();
    if (first && !window.seen[first.textContent]) window.seen[first.textContent] = at; };
  new MutationObserver(look).observe(document.querySelector('main'), {childList: true, subtree: true}); look(); }"""


def to_the_row(folder: Path, arrivals: int) -> list[float]:
    """Milliseconds from a record's last octet on the line to its row in a browser, for each."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        took = to_the_row_in(browser, folder, arrivals)
        browser.close()
    return took


def to_the_row_in(browser: Any, folder: Path, arrivals: int) -> list[float]:
    """The same in a browser that runs already."""
    pty = a_pty()
    took = []
    way = ["watch", "--port", pty.path, "--page", "127.0.0.1:0", "--store", str(folder / "rows.db")]
    with running(*way) as (_, port):
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{port}/")
        page.get_by_text("live", exact=True).wait_for()
        page.evaluate(WATCH_ROWS)
        ahead = time.time() - time.monotonic()
        for at, octets in enumerate(records_of(7, arrivals), 1):
            (sent,) = send([octets], pty.port, 7)
            page.locator("#latest tbody a").get_by_text(str(at), exact=True).wait_for()
            took.append(page.evaluate(f"window.seen['{at}']") - (sent.sent + ahead) * 1000)
        page.close()
    pty.port.close()
    return took
