"""Charts: three files each, the same each time, readable by everybody, with units and the number of boots."""

import io
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET

import pytest
from PIL import Image

from readoff.reports import charts
from readoff.reports.charts import CLEAR, PAPER, contrast, drawn
from readoff.reports.charts.sheet import marks, round_steps
from readoff.reports.charts.staircase import size_words, span_words
from support import chart_samples as samples

UNITS = {
    "ratios": "per cent",
    "boots": "frames/s",
    "targets": "frames/s",
    "worth": "EUR",
    "staircase": "ns per access",
}
FIGURES = {
    "ratios": (charts.ratio_chart, samples.RATIOS),
    "boots": (charts.boots_chart, samples.BOOTS),
    "targets": (charts.target_chart, samples.TARGETS),
    "worth": (charts.worth_chart, samples.WORTH),
    "staircase": (charts.staircase_chart, samples.STAIRCASE),
}


@pytest.fixture(scope="module")
def every():
    return {name: draw() for name, draw in samples.EVERY.items()}


def words_of(svg):
    return " ".join(text for text in ET.fromstring(svg).itertext() if text.strip())


@pytest.mark.parametrize("name", samples.EVERY)
def test_svg_is_well_formed_and_says_units_boots_and_what_is_invented(every, name):
    words = words_of(every[name].svg)
    assert UNITS[name] in words
    assert re.search(r"n = \d+( \+ \d+)* boots", words)
    assert "Invented data" in words
    assert samples.MACHINE in words


@pytest.mark.parametrize("name", samples.EVERY)
def test_svg_asks_for_nothing_outside(every, name):
    svg = every[name].svg
    spaces = re.findall(r'xmlns(?::\w+)?="([^"]*)"', svg)
    assert sorted(spaces) == ["http://www.w3.org/1999/xlink", "http://www.w3.org/2000/svg"]
    assert svg.count("http") == len(spaces)
    assert "http" not in every[name].inline and "<style" not in svg and "<script" not in svg
    assert set(re.findall(r'href="(.)', svg)) <= {"#"}
    assert every[name].inline.startswith("<svg ") and 'aria-label="in words"' in every[name].inline


@pytest.mark.parametrize("name", samples.EVERY)
def test_pictures_are_of_1920_by_1080_and_the_twin_is_transparent(every, name):
    paper, clear = (Image.open(io.BytesIO(each)) for each in (every[name].png, every[name].clear))
    assert paper.size == clear.size == (1920, 1080)
    solid, twin = paper.convert("RGBA"), clear.convert("RGBA")
    assert solid.getchannel("A").getextrema() == (255, 255)
    assert twin.getpixel((5, 5))[3] == 0
    assert twin.getchannel("A").getextrema() == (0, 255)


@pytest.mark.parametrize("name", samples.EVERY)
def test_the_same_values_give_the_same_octets(every, name):
    again = samples.EVERY[name]()
    assert (again.svg, again.png, again.clear) == (every[name].svg, every[name].png, every[name].clear)


@pytest.mark.parametrize("look", [PAPER, CLEAR], ids=["paper", "clear"])
@pytest.mark.parametrize("name", FIGURES)
def test_nothing_is_written_outside_the_sheet_nor_in_small_letters(name, look):
    make, data = FIGURES[name]
    figure = make(data, look)
    renderer = figure.canvas.get_renderer()
    texts = [each for each in figure.findobj(lambda a: hasattr(a, "get_fontsize")) if each.get_text().strip()]
    assert len(texts) > 8
    for text in texts:
        box = text.get_window_extent(renderer)
        assert box.x0 >= 0 and box.x1 <= 1920 and box.y0 >= 0 and box.y1 <= 1080, text.get_text()
        assert text.get_fontsize() >= 15, text.get_text()


@pytest.mark.parametrize("name", FIGURES)
def test_no_two_texts_lie_on_each_other(name):
    make, data = FIGURES[name]
    figure = make(data, PAPER)
    renderer = figure.canvas.get_renderer()
    figure.draw(renderer)
    texts = [each for each in figure.findobj(lambda a: hasattr(a, "get_fontsize")) if each.get_text().strip()]
    boxes = [(each.get_text(), each.get_window_extent(renderer)) for each in texts if each.get_visible()]
    for at, (one, box) in enumerate(boxes):
        for two, other in boxes[at + 1 :]:
            apart = (
                box.x1 <= other.x0 or other.x1 <= box.x0 or box.y1 <= other.y0 + 1 or other.y1 <= box.y0 + 1
            )
            assert apart, (one, two)


def test_a_bar_begins_at_zero_whatever_the_values():
    figure = charts.target_chart(samples.TARGETS, PAPER)
    assert figure.axes[0].get_xlim()[0] == 0
    assert {round(bar.get_x(), 9) for bar in figure.axes[0].patches} == {0.0}


def test_contrast_is_that_of_the_standard():
    # WCAG 2.2, "contrast ratio": black on white is 21:1, and equal colours 1:1. #767676 is the lightest grey that
    # passes 4.5:1 on white (common practice; computed from the standard's formula).
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#123456", "#123456") == 1
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") < 4.5


def test_the_palette_is_the_published_one():
    # M. Okabe, K. Ito, "Color Universal Design", 2002, revised 2008; RGB from memory: 0/114/178, 213/94/0, 0/158/115,
    # 204/121/167.
    assert PAPER.series[:4] == ("#0072B2", "#D55E00", "#009E73", "#CC79A7")


def test_everything_stands_off_its_ground():
    for colour in (PAPER.ink, PAPER.weak, PAPER.accent):
        assert contrast(colour, PAPER.ground) >= 4.5
    for colour in PAPER.series:
        assert contrast(colour, PAPER.ground) >= 3  # WCAG 2.2, 1.4.11
    for colour in (CLEAR.ink, CLEAR.weak, *CLEAR.series):
        assert contrast(colour, CLEAR.casing) >= 4.5
    # The casing carries it on light video, the colour itself on dark.
    assert contrast(CLEAR.casing, "#ffffff") >= 7


def test_series_that_share_a_colour_differ_in_their_markers():
    pairs = [(PAPER.colour(at), PAPER.marker(at)) for at in range(12)]
    assert len(set(pairs)) == 12


def test_long_and_hostile_names_stay_on_the_sheet():
    row = charts.Ratio(
        "<script>$x^2$\x1b[31m" + "w" * 80, "higher is better", 1.1, 1.05, 1.2, 0.02, "faster", 1, 2, 3
    )
    data = charts.Ratios("t" * 90, "b" * 31, "m" * 200, [row])
    one = drawn("x", "X", 'a "quoted" <word>', lambda look: charts.ratio_chart(data, look))
    words = words_of(one.svg)
    assert "<script>$x^2$·[31m" in words and "…" in words
    assert "<script" not in one.svg
    assert ET.fromstring(one.svg).get("aria-label") == 'a "quoted" <word>'


@pytest.mark.parametrize(("low", "high"), [(0, 1), (-3, 7), (72.8, 76.3), (0.99991, 1.00012), (0, 1e6)])
def test_steps_are_round_and_within(low, high):
    steps = round_steps(low, high)
    assert 2 <= len(steps) <= 7
    assert all(low <= each <= high for each in steps)


@pytest.mark.parametrize(
    ("low", "high", "texts"),
    [
        (0, 100, ["0", "20", "40", "60", "80", "100"]),
        (72.93, 72.96, ["72.930", "72.935", "72.940", "72.945", "72.950", "72.955", "72.960"]),
        (-1.2, 1.2, ["−1.0", "−0.5", "0.0", "0.5", "1.0"]),
        (1e6, 1.4e6, ["1000000", "1100000", "1200000", "1300000", "1400000"]),
    ],
)
def test_marks_have_the_decimals_that_tell_them_apart(low, high, texts):
    assert [text for _, text in marks(low, high)] == texts


def test_boots_that_are_all_the_same_have_room_and_a_scale():
    same = charts.BootsOf("a", [charts.Boot(72.93945312, (72.93945312,))] * 100, 72.939453120001)
    figure = charts.boots_chart(charts.Boots("rate", "frames/s", "", "m", [same, same]), PAPER)
    low, high = figure.axes[0].get_xlim()
    assert high - low == pytest.approx(0.02 * 72.939, rel=0.01)
    texts = [each.get_text() for each in figure.axes[0].get_xticklabels()]
    assert len(texts) == len(set(texts)) >= 3


def test_sizes_are_told_in_kib():
    # IEC 80000-13: 1 KiB = 1024 octets, 1 MiB = 1024 KiB.
    assert [size_words(each) for each in (1024, 8192, 2**20, 3 * 2**19)] == [
        "1 KiB",
        "8 KiB",
        "1 MiB",
        "1.5 MiB",
    ]
    assert span_words(8192, 16384) == "8–16 KiB"
    assert span_words(2**19, 2**20) == "512 KiB to 1 MiB"


def test_a_chart_leaves_no_settings_behind_and_needs_no_window():
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    samples.EVERY["ratios"]()
    assert dict(mpl.rcParams) == before
    code = (
        "import sys\nfrom support import chart_samples as s\n"
        "for draw in s.EVERY.values(): draw()\nprint('matplotlib.pyplot' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    assert done.stdout.strip() == "False"
