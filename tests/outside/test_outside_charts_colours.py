"""The charts' colours held against published models: contrast, and colour vision that lacks one kind of cone.

Contrast: WCAG 2.2, "contrast ratio" and "relative luminance". Simulation: G. Machado, M. Oliveira, L. Fernandes, "A
Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE TVCG 15(6), 2009,
doi 10.1109/TVCG.2009.113: matrices for severity 1.0 on linear RGB (protan and deutan as in public copies of its table;
tritan from memory).
Difference: CIE 1976 L*a*b* (ISO/CIE 11664-4), white point D65; about 2.3 is just noticeable (from memory).
"""

import math
from itertools import combinations

import pytest

from readoff.reports.charts import CLEAR, PAPER

CONES = {
    "all": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "protan": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deutan": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritan": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}
# Linear sRGB to XYZ (IEC 61966-2-1), and the white point D65.
TO_XYZ = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
WHITE = (0.9505, 1.0, 1.089)
APART = 15


def times(matrix, vector):
    return [math.fsum(a * b for a, b in zip(row, vector, strict=True)) for row in matrix]


def linear(colour):
    parts = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    return [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]


def lab(colour, cones):
    seen = [min(1.0, max(0.0, part)) for part in times(CONES[cones], linear(colour))]
    ratios = [part / white for part, white in zip(times(TO_XYZ, seen), WHITE, strict=True)]
    x, y, z = (t ** (1 / 3) if t > 216 / 24389 else (24389 / 27 * t + 16) / 116 for t in ratios)
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def test_the_yardstick_itself():
    # L* of white is 100, of black 0, of the middle grey #777777 50.03 (arithmetic from the definition).
    assert lab("#ffffff", "all") == pytest.approx((100, 0, 0), abs=0.02)
    assert lab("#000000", "all") == pytest.approx((0, 0, 0), abs=0.02)
    assert lab("#777777", "all")[0] == pytest.approx(50.03, abs=0.01)
    # A grey stays the grey that it is for everybody: the rows of each matrix add up to one.
    for matrix in CONES.values():
        assert [sum(row) for row in matrix] == pytest.approx([1, 1, 1], abs=2e-6)


@pytest.mark.parametrize("cones", CONES)
@pytest.mark.parametrize("look", [PAPER, CLEAR], ids=["paper", "clear"])
def test_any_two_series_are_told_apart_by_everybody(look, cones):
    for one, two in combinations(look.series, 2):
        assert math.dist(lab(one, cones), lab(two, cones)) > APART, (one, two)


def test_red_and_green_of_one_lightness_would_not_do():
    """The yardstick can fail: two colours that a deutan eye takes for much the same."""
    assert math.dist(lab("#b06000", "deutan"), lab("#7a8000", "deutan")) < APART
    assert math.dist(lab("#b06000", "all"), lab("#7a8000", "all")) > 2 * APART
