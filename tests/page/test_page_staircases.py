"""Staircases on the page: one curve for each configuration, on the same axes, with where its levels end in words."""

import itertools
import math

import pytest

from readoff.page.staircases import HEIGHT, LEFT, RIGHT, TOP, stair_chart
from readoff.snapshots.staircase import staircase
from readoff.store.staircases import Curve
from support.page_bench import served
from support.page_views import VIEWS, fill, look
from support.staircases import AGENTS_SIZES


def curve(label, levels, boots=3):
    ns = tuple(next(time for size, time in levels if octets <= size) for octets in AGENTS_SIZES)
    octets = tuple(map(int, AGENTS_SIZES))
    return Curve(label, "conventional", boots, octets, ns, ns, staircase(octets, ns))


def test_curves_lie_on_the_same_logarithmic_axes():
    one = curve("as-found", ((8192, 60.0), (1 << 40, 420.0)))
    other = curve("zero-ws", ((8192, 60.0), (262144, 150.0), (1 << 40, 420.0)))
    chart = stair_chart([one, other])
    places = [[tuple(map(float, each.split())) for each in c.path[1:].split(" L")] for c in chart.curves]
    assert [len(each) for each in places] == [len(AGENTS_SIZES)] * 2
    assert places[0][0] == places[1][0] and places[0][-1] == places[1][-1]
    for (x, y), octets in zip(places[1], AGENTS_SIZES, strict=True):
        share = math.log2(octets / AGENTS_SIZES[0]) / math.log2(AGENTS_SIZES[-1] / AGENTS_SIZES[0])
        assert x == pytest.approx(LEFT + share * (RIGHT - LEFT), abs=0.06)
        assert TOP <= y <= TOP + HEIGHT
    assert len(chart.curves[0].bars) == 1 and len(chart.curves[1].bars) == 2
    assert "between 8 and 9.5 KiB" in chart.words[0]
    assert "60 ns, then 150 ns, then 420 ns" in chart.words[1]
    assert "between 256 and 304 KiB" in chart.words[1]
    assert [each.text for each in chart.x_ticks][:3] == ["1", "4", "16"]
    assert [each.text for each in chart.y_ticks] == ["100", "200"]


def test_names_of_six_curves_that_end_together_do_not_touch():
    same = [
        curve(f"a configuration with a long name {n}", ((8192, 60.0), (1 << 40, 400.0))) for n in range(6)
    ]
    chart = stair_chart(same)
    heights = sorted(each.name_y for each in chart.curves)
    assert min(two - one for one, two in itertools.pairwise(heights)) >= 20
    assert all(len(each.name) <= 18 for each in chart.curves)
    assert len({each.bar_y for each in chart.curves}) == 6


def test_a_flat_line_is_one_level_without_bars():
    chart = stair_chart([curve("flat", ((1 << 40, 200.0),), boots=1)])
    assert chart.curves[0].bars == ()
    assert chart.words == ("flat (1 boot): 200 ns.",)


def test_the_page_overlays_them_and_says_them_in_words(tmp_path, browse):
    path = tmp_path / "bench.db"
    fill(path)
    with served(look(path)) as server:
        page = browse()
        page.goto(server.link + "configurations")
        chart = page.locator("#stairs svg")
        assert chart.locator("path.stair").count() == 2
        assert chart.locator("rect.bar").count() == 3
        assert chart.locator("text", has_text="zero-ws").count() == 1
        assert "between 256 and 304 KiB" in chart.get_attribute("aria-label")
        dashes = [
            each.evaluate("e => getComputedStyle(e).strokeDasharray")
            for each in chart.locator("path.stair").all()
        ]
        assert len(set(dashes)) == 2  # told apart without colours, too
        page.goto(server.link.rstrip("/") + VIEWS["staircase"])
        assert page.locator("svg path.stair").count() == 1
