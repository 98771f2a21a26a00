"""What the views are made of: screens, octets, charts, the answer about the power, one answer for many viewers."""

import asyncio
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.arrivals.told import About, Note, Status
from readoff.contract.cp437 import glyphs
from readoff.errors import StoreError
from readoff.judge import Metric, Sample, compare
from readoff.judge.evidence import Better
from readoff.page import charts
from readoff.page.bench import NOTES_KEPT, Bench, power_of
from readoff.page.octets import A_PAGE, octet_page, page_start
from readoff.page.readers import Readers
from readoff.page.screens import Mark, look_of, screen_rows
from readoff.reports.charts.sheet import round_steps
from readoff.store import find


@given(st.integers(1, 132), st.integers(0, 60), st.data())
def test_a_screens_pieces_are_its_cells(columns, rows, data):
    cells = data.draw(st.binary(min_size=2 * columns * rows, max_size=2 * columns * rows))
    made = screen_rows(cells, columns)
    assert len(made) == rows
    for number, row in enumerate(made):
        span = cells[2 * columns * number : 2 * columns * (number + 1)]
        assert "".join(piece.text for piece in row) == glyphs(span[::2])
        looks = [piece.look for piece in row for _ in piece.text]
        assert looks == [look_of(attribute) for attribute in span[1::2]]


def test_marks_lie_on_the_octets_of_their_reading():
    (row,) = screen_rows(b"a\x07b\x07c\x07d\x07", 4, marks=[Mark(2, 6, "reading-0")])
    assert [(piece.text, piece.mark) for piece in row] == [("a", ""), ("bc", "reading-0"), ("d", "")]


# From memory, as the manual of the Monochrome Display and Printer Adapter tells it.
@pytest.mark.parametrize(
    ("attribute", "look"),
    [
        (7, "f7 g0"),
        (15, "f15 g0"),
        (1, "f7 g0 under"),
        (9, "f15 g0 under"),
        (112, "f0 g7"),
        (0, "f0 g0"),
        (135, "f7 g0 blink"),
        (240, "f0 g7 blink"),
    ],
)
def test_a_monochrome_screens_attributes(attribute, look):
    assert look_of(attribute, mode=7) == look


@given(st.binary(max_size=1500), st.integers(0, 1600))
def test_pages_of_octets_tell_every_octet(octets, at):
    begin = min(at - at % 16, len(octets))
    page = octet_page(octets, begin, (3, 9))
    told = [octet for row in page.rows for octet in row.octets]
    assert bytes.fromhex("".join(octet.digits for octet in told)) == octets[begin : begin + A_PAGE]
    assert [begin + i for i, octet in enumerate(told) if octet.marked] == [
        i for i in range(3, 9) if begin <= i < min(len(octets), begin + A_PAGE)
    ]
    assert page.after is None or page.after < len(octets)


@given(st.integers(0, 1 << 20))
def test_the_page_of_an_offset_shows_it(offset):
    assert page_start(offset) <= offset < page_start(offset) + A_PAGE
    assert page_start(offset) % 16 == 0


def _finding(base, other, margin=0.02):
    sides = [
        [Sample(boot=f"{label}{i}", value=value, quantum=0.1, run=i) for i, value in enumerate(values)]
        for label, values in (("b", base), ("o", other))
    ]
    return compare(
        Metric("rate", "frames/s", Better.HIGHER), *sides, margin=margin, base_label="one", other_label="two"
    )


def test_the_interval_chart_lies_as_the_finding_does():
    finding = _finding([70.0, 70.4, 69.8], [75.0, 75.2, 74.9])
    chart = charts.interval_chart(finding)
    assert chart.band_low < chart.zero < chart.band_high < chart.low < chart.point < chart.high
    # Places are as far apart as the ratios are: two ratios and their places give the scale for a third.
    scale = (chart.high - chart.low) / (finding.interval95.high - finding.interval95.low)
    assert chart.point == pytest.approx(chart.low + scale * (finding.ratio - finding.interval95.low), abs=0.2)
    assert chart.zero == pytest.approx(chart.low + scale * (1 - finding.interval95.low), abs=0.2)
    assert charts.per_cent(finding.ratio) in chart.words
    zero = next(tick for tick in chart.ticks if tick.text == "0")
    assert zero.x == pytest.approx(chart.zero, abs=0.2)


def _evidence(boot, value, unit="frames/s"):
    return SimpleNamespace(
        run=SimpleNamespace(boot=boot), reading=SimpleNamespace(approximate=value, unit=unit)
    )


def test_boots_in_two_units_are_not_put_on_one_axis():
    frames, seconds = [_evidence("a", 70.0), _evidence("b", 71.0)], [_evidence("c", 12.0, "s")]
    labels = ("one", "two")
    assert charts.boot_chart(frames, seconds, labels) is None
    assert charts.boot_chart([], [], labels) is None
    assert charts.boot_chart(frames, [_evidence("c", 0.0)], labels) is None
    alone = charts.boot_chart(frames, [], labels)
    assert (alone.unit, [len(row.boots) for row in alone.rows]) == ("frames/s", [2, 0])


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6))
def test_ticks_are_inside_and_neither_few_nor_many(low, width):
    if low + width == low:
        return
    ticks = round_steps(low, low + width, 7)
    assert 2 <= len(ticks) <= 8
    assert all(low - width * 1e-6 - 1e-9 <= tick <= low + width * (1 + 1e-6) + 1e-9 for tick in ticks)


@pytest.mark.parametrize(
    ("status", "answer"),
    [
        (Status("p", "line", alive=True, left=0), "yes"),
        (Status("p", "line", alive=True, left=2), "no"),
        (Status("p", "line", alive=True, left=0, pending=1), "no"),
        (Status("p", "line", alive=True), ""),
        (Status("p", "line", left=0), ""),
        (Status("p", "folder", alive=True), ""),
        (Status("p", "folder", alive=True, pending=1), "no"),
    ],
)
def test_safe_to_power_off_only_when_the_agent_said_so(status, answer):
    assert power_of(status).answer == answer


def test_notes_are_bounded_and_the_newest_comes_first():
    bench = Bench()
    for number in range(NOTES_KEPT + 5):
        bench.hear(Note("line", About.NOISE, f"note {number}"))
    told = bench.notes()
    assert (len(told), told[0].what, told[-1].what) == (NOTES_KEPT, f"note {NOTES_KEPT + 4}", "note 5")


def _in_a_loop(work):
    """In a thread of its own: the browser's driver keeps a loop in the main one."""
    with ThreadPoolExecutor(1) as threads:
        return threads.submit(asyncio.run, work).result(timeout=30)


def test_fifty_viewers_who_ask_the_same_are_one_question(filled):
    asked = []

    def question(store):
        asked.append(1)
        return str(find.counts(store)["runs"]).encode()

    async def all_ask(readers):
        return await asyncio.gather(*(readers.ask_once(("runs", 1), question) for _ in range(50)))

    readers = Readers(filled)
    try:
        answers = _in_a_loop(all_ask(readers))
    finally:
        readers.close()
    assert set(answers) == {b"12"}
    assert len(asked) == 1


def test_an_error_is_not_remembered(filled):
    asked = []

    def question(store):
        asked.append(1)
        if len(asked) == 1:
            raise LookupError
        return b"there"

    async def twice(readers):
        with pytest.raises(LookupError):
            await readers.ask_once("key", question)
        return await readers.ask_once("key", question)

    readers = Readers(filled)
    try:
        assert _in_a_loop(twice(readers)) == b"there"
    finally:
        readers.close()


def test_the_means_of_the_boots_are_the_judges(filled):
    """The chart's mean of a boot, in logarithms, against the definition of the geometric mean."""

    class Each:
        def __init__(self, value):
            self.reading = type("R", (), {"approximate": value})

    values = [Decimal(72), Decimal(81)]
    mean = charts.mean_of([Each(float(value)) for value in values])
    assert mean == pytest.approx(float((values[0] * values[1]).sqrt()))


def test_a_damaged_file_is_told_and_the_next_question_is_answered(filled, tmp_path):
    path = tmp_path / "damaged.db"
    with sqlite3.connect(filled) as db, sqlite3.connect(path) as copy:
        db.backup(copy)
        (page,) = copy.execute("SELECT rootpage FROM sqlite_master WHERE name = 'facts'").fetchone()
        (size,) = copy.execute("PRAGMA page_size").fetchone()
    db.close()
    copy.close()
    with path.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(bytes(size))

    async def ask():
        readers = Readers(path)
        try:
            for _ in range(4):  # both connections, twice
                with pytest.raises(StoreError, match="the store's file is damaged"):
                    await readers.ask(lambda store: store.db.execute("SELECT * FROM facts").fetchall())
                with pytest.raises(StoreError, match=r"damaged.*store check"):
                    await readers.ask(lambda store: "".join(None))
                assert await readers.ask(lambda store: find.counts(store)["runs"]) > 0
        finally:
            readers.close()

    _in_a_loop(ask())
