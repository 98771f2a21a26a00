"""What the page costs: the first view of a large store, *kept* beside fifty viewers, from the last octet to the row.

Also to be run by itself: `python tests/bench/test_bench_page.py [RUNS]` prints the figures; RUNS of the large store,
100,000 unless told. The tests assert on counts, with smaller numbers.
"""

import random
import statistics
import sys
import tempfile
import time
from pathlib import Path

import pytest

from readoff.page.app import Look
from readoff.page.configurations import configurations_view
from readoff.page.findings import findings_view
from readoff.page.runs import runs_view
from readoff.store import find
from readoff.store.browse import open_to_read, run_page
from support import store_samples as samples
from support.agent_twin import a_pty
from support.page_bench import CHROMIUM, QUIET, get, running, served
from support.page_load import many_runs, send, viewers

FEW, MANY, VIEWERS, ARRIVALS, RATE = 100, 100_000, 50, 200, 115_200
VIEWS = ("/", "/runs", "/held", "/configurations", "/findings", "/runs/1")


# -- the first view ------------------------------------------------------------------------------------------


def first_view(path, view):
    """Seconds of the first answer of a page that has just started."""
    with served(Look(path)) as server:
        begin = time.perf_counter()
        answer = get(server, view)
        took = time.perf_counter() - begin
    assert answer.status == 200
    return took


def first_views(few, many, rounds=9):
    """View -> (seconds with few runs, with many): the median of some rounds, taken in turn."""
    told = {}
    for view in VIEWS:
        times = [(first_view(few, view), first_view(many, view)) for _ in range(rounds)]
        told[view] = tuple(statistics.median(side) for side in zip(*times, strict=True))
    return told


def rows_looked_at(path, view):
    """Steps of SQLite's machine, in tens, for a view."""
    store = open_to_read(path)
    steps = 0

    def step():
        nonlocal steps
        steps += 1
        return 0

    store.db.conn.set_progress_handler(step, 10)
    view(store)
    store.db.conn.set_progress_handler(None, 0)
    store.close()
    return steps


ASKED = {
    "latest": lambda store: run_page(store, limit=8),
    "runs": lambda store: runs_view(store, "", "", "", 0),
    "labels": find.labels,
    "two configurations": lambda store: configurations_view(store, ["label-0000", "label-0001"]),
    "their findings": lambda store: findings_view(store, "label-0000", "label-0001", 0.02),
}


@pytest.fixture(scope="module")
def stores(tmp_path_factory):
    folder = tmp_path_factory.mktemp("many")
    many_runs(folder / "few.db", FEW)
    many_runs(folder / "many.db", 20 * FEW)
    return folder / "few.db", folder / "many.db"


@pytest.mark.parametrize("view", ASKED)
def test_a_view_does_not_look_at_every_run(stores, view):
    """The labels themselves may take a step each: there are twenty times as many."""
    small, large = (rows_looked_at(path, ASKED[view]) for path in stores)
    assert 0 < large <= (20 if view == "labels" else 3) * small


# -- kept beside viewers -------------------------------------------------------------------------------------


def records_of(nonce, count, octets=1500):
    """Invented records of about a kilobyte and a half."""
    draw = random.Random(nonce)
    for at in range(count):
        noise = bytes(draw.randrange(32, 127) for _ in range(octets))
        yield samples.run_record(2 + at, nonce, console=samples.printed() + noise, start={"label": "line"})


def kept_beside(folder, counts, rounds, records, rate=RATE):
    """Viewers -> seconds of each record from its last octet to *kept*; all in one watch, taken in turn.

    Also viewers -> seconds of whole rounds.
    """
    pty = a_pty()
    single, whole = ({count: [] for count in counts} for _ in range(2))
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


def test_every_record_is_kept_beside_viewers(tmp_path):
    single, _ = kept_beside(tmp_path, (0, 5), 1, 3, rate=0)
    assert [len(each) for each in single.values()] == [3, 3]


# -- from the last octet to the row --------------------------------------------------------------------------

WATCH_ROWS = """() => { window.seen = {};
  const look = () => { const first = document.querySelector('#latest tbody a');
    const at = performance.timeOrigin + performance.now();
    if (first && !window.seen[first.textContent]) window.seen[first.textContent] = at; };
  new MutationObserver(look).observe(document.querySelector('main'), {childList: true, subtree: true}); look(); }"""


def to_the_row(folder, arrivals):
    """Milliseconds from a record's last octet on the line to its row in a browser, for each."""
    from playwright.sync_api import sync_playwright

    pty = a_pty()
    took = []
    way = ["watch", "--port", pty.path, "--page", "127.0.0.1:0", "--store", str(folder / "rows.db")]
    with running(*way) as (_, port), sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{port}/")
        page.get_by_text("live", exact=True).wait_for()
        page.evaluate(WATCH_ROWS)
        ahead = time.time() - time.monotonic()
        for at, octets in enumerate(records_of(7, arrivals), 1):
            (sent,) = send([octets], pty.port, 7)
            page.locator("#latest tbody a").get_by_text(str(at), exact=True).wait_for()
            took.append(page.evaluate(f"window.seen['{at}']") - (sent.sent + ahead) * 1000)
        browser.close()
    pty.port.close()
    return took


def test_every_arrival_becomes_a_row(tmp_path):
    took = to_the_row(tmp_path, 3)
    assert len(took) == 3
    assert min(took) > 0


# -- figures -------------------------------------------------------------------------------------------------


def tell_first_views(folder, many=MANY):
    """Prints the first views."""
    many_runs(folder / "few.db", FEW)
    many_runs(folder / "many.db", many)
    for view, (few, large) in first_views(folder / "few.db", folder / "many.db").items():
        times = f"{few * 1e3:.1f} ms with {FEW} runs, {large * 1e3:.1f} ms with {many}"
        print(f"first {view}: {times}: {large / few:.2f} times")


def tell_kept(folder):
    """Prints *kept* beside viewers."""
    single, whole = kept_beside(folder, (0, VIEWERS), 5, 40)
    for count, each in single.items():
        after = (
            f"median {statistics.median(each) * 1e3:.1f} ms after the last octet, worst {max(each) * 1e3:.1f}"
        )
        record = statistics.median(whole[count]) / 40 * 1e3
        print(f"kept with {count} viewers, at {RATE}, of {len(each)}: {after}; a record in {record:.1f} ms")


def tell_rows(folder):
    """Prints from octet to row."""
    took = to_the_row(folder, ARRIVALS)
    print(
        f"last octet to row: median {statistics.median(took):.0f} ms, worst {max(took):.0f}, of {len(took)}"
    )


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        tell_kept(Path(place))
        tell_rows(Path(place))
        tell_first_views(Path(place), int(sys.argv[1]) if len(sys.argv) > 1 else MANY)
