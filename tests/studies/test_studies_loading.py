"""Study files: read whole, every fault told at once with its place, and written so that they read back."""

import re
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.errors import StudyError
from readoff.studies import (
    ChangeBack,
    Configuration,
    Earlier,
    Excluded,
    Explanation,
    Program,
    Study,
    Target,
    Wanted,
    label_fault,
    load_study,
    study_text,
)
from readoff.studies.loading import TABLE_KEYS, TOP_KEYS
from readoff.studies.study import PROBES, margin_share
from support.docs import DOCS
from support.study_records import STUDY


def faults(text):
    with pytest.raises(StudyError) as told:
        load_study("s.toml", text)
    return told.value.faults


def test_a_small_study():
    study = load_study("s.toml", STUDY)
    assert study.labels == ("as-found", "zero-ws")
    assert (study.boots, study.repeats, study.cold, study.looks) == (3, 2, True, 1)
    assert study.base.price is None
    assert study.configurations[1].allows("CMOS.sum")
    assert not study.configurations[1].allows("cmos.sum_valid")
    assert study.wanted == (Wanted("replay", "shown_rate", 0.02),)
    assert study.comparisons == 1


def test_the_study_of_the_guide_is_read():
    text = (DOCS / "studies.md").read_text(encoding="utf-8")
    [toml] = re.findall(r"```toml\n(.*?)```", text, re.S)
    study = load_study("guide", toml)
    assert study.labels == ("as-found", "zero-ws", "fast-card")
    assert study.configurations[2].how is ChangeBack.FITTING
    assert study.targets == (Target("replay", "shown_rate", 80.0, "playable"),)


def test_the_guide_tells_every_key():
    text = (DOCS / "studies.md").read_text(encoding="utf-8")
    told = set(re.findall(r"`([a-z_]+)`", text)) | set(re.findall(r"`\[\[([a-z]+)\]\]`", text))
    assert {*TOP_KEYS, *(key for keys in TABLE_KEYS.values() for key in keys)} <= told


def test_every_fault_is_told_at_once_with_line_key_and_remedy():
    text = STUDY.replace("boots = 3", 'boots = "three"').replace('label = "zero-ws"', 'lable = "zero-ws"')
    text = text.replace('machine = "desk-486"', "").replace("minutes = 0.5", "minutes = -1")
    text += 'program = "reply"\nmargin = 100\n[[earlier]]\njoins = "nobody"\n[[excluded]]\nboot = "1"\n'
    told = faults(text)
    lines = text.splitlines()
    expected = {
        "lable": "'label'",
        "boots": "a whole number from 1 to 500",
        "minutes": "0 or above",
        "program": "'replay'",
        "margin": "above 0 and under 100",
        "joins": "as-found",
        "boot =": "11223344-0000A1B2",
    }
    for start, remedy in expected.items():
        number = next(at for at, line in enumerate(lines, 1) if line.startswith(start))
        assert any(f"line {number}," in fault and remedy in fault for fault in told), (start, told)
    assert any("machine: missing" in fault for fault in told)
    assert any("label and ids" in fault for fault in told)
    assert any("why: missing" in fault for fault in told)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda t: "", "no program"),
        (lambda t: "study = ", "not TOML"),
        (lambda t: "#" * 300_000, "at most"),
        (lambda t: t.replace("zero-ws", "as-found"), "there twice"),
        (lambda t: t.replace('"zero-ws"', '"zero:ws"'), "code page 437"),
        (lambda t: t.replace(r"C:\REPLAY.COM", r"C:\A > B"), "what DOS takes"),
        (lambda t: t.replace('metric = "shown_rate"', ""), "metric: missing"),
        (
            lambda t: t.replace('label = "as-found"', 'label = "as-found"\nmachine = "x"'),
            "the study's own first",
        ),
        (lambda t: t.replace("repeats = 2", "repeats = 2\nbegun = 5"), "a date"),
        (lambda t: t.replace("repeats = 2", 'repeats = 2\nagents = ["1"]'), "first 8 digits"),
        (lambda t: t.replace("price = 10", "price = inf"), "0 or above"),
        (lambda t: t.replace("price = 10", "how = 'fit'"), "'fitting'"),
        (lambda t: t + '[[targets]]\nmetric = "shown"\nat = 0\n', "'shown_rate'"),
        (lambda t: t + "[[targets]]\nmetric = 1\n", "at: missing"),
        (
            lambda t: (
                t.replace("[[programs]]", "[[programs]]\nname = 'b'\npath = 'B'\n[[programs]]")
                .replace('"shown_rate"', '"shown_rate"\nprogram = "replay"')
                .__add__("[[targets]]\nmetric = 'm'\nprogram = 'b'\nat = 1\n")
            ),
            "no metric of 'b' is asked for",
        ),
    ],
)
def test_faults(change, said):
    assert any(said in fault for fault in faults(change(STUDY)))


def test_times_are_taken_as_utc_unless_they_say():
    for text, begun in (
        ("2026-01-31T09:00:00+02:00", "2026-01-31T07:00:00+00:00"),
        ("2026-01-31T09:00:00", "2026-01-31T09:00:00+00:00"),
        ("2026-01-31", "2026-01-31T00:00:00+00:00"),
    ):
        assert load_study("s", STUDY.replace("boots = 3", f"begun = {text}")).begun == begun


_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text("aA1.\n", max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(TOP_KEYS + TABLE_KEYS["configurations"]), inner, max_size=4)
    ),
    max_leaves=15,
)


@given(st.dictionaries(st.sampled_from(TOP_KEYS), _json, max_size=8))
def test_any_values_end_in_faults_or_a_study(data):
    from readoff.readings.faults import Faults
    from readoff.readings.table import Table
    from readoff.studies.loading import _study

    told = Faults("s.toml")
    _study(Table(data, "", told))
    assert told.told  # no such table is a whole study


words = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12)
labels = words.filter(lambda text: not label_fault(text))
names = st.from_regex(r"[a-z][a-z0-9_]{0,8}", fullmatch=True)
numbers = st.floats(0, 1e9).map(lambda value: float(f"{value:.6g}"))
shares = st.floats(0.001, 99).map(lambda value: margin_share(float(f"{value:.4g}")))


@st.composite
def studies(draw):
    """Any study that a file can hold."""
    used = draw(st.lists(labels, min_size=2, max_size=5, unique=True))
    configurations = [
        Configuration(
            label,
            draw(words),
            draw(st.sampled_from(ChangeBack)),
            tuple(draw(st.lists(words, max_size=2))),
            draw(st.none() | numbers),
            draw(numbers),
            draw(st.just("") | words),
            draw(st.just("") | words) if at else "",
            draw(st.none() | st.integers(0, 4)),
        )
        for at, label in enumerate(used)
    ]
    programs = [
        Program(name, rf"C:\{name.upper()}.COM", draw(st.sampled_from(["", "-d 2"])), draw(numbers))
        for name in draw(st.lists(names, min_size=1, max_size=3, unique=True))
    ]
    pairs = st.tuples(st.sampled_from([each.name for each in programs]), names)
    wanted = [
        Wanted(*pair, draw(shares)) for pair in draw(st.lists(pairs, min_size=1, max_size=3, unique=True))
    ]
    target = draw(st.sampled_from(wanted))
    return Study(
        title=draw(words),
        machine=draw(words),
        configurations=tuple(configurations),
        programs=tuple(programs),
        wanted=tuple(wanted),
        boots=draw(st.integers(1, 500)),
        repeats=draw(st.integers(1, 999)),
        cold=draw(st.booleans()),
        with_typed=draw(st.booleans()),
        invented=draw(st.booleans()),
        seed=draw(st.integers(0, 1000)),
        looks=draw(st.integers(1, 20)),
        probes=draw(st.sampled_from([(), ("memory",), PROBES])),
        probe_once=draw(st.booleans()),
        noise=draw(shares),
        minutes_a_boot=draw(numbers),
        currency=draw(st.just("") | words),
        begun=draw(st.sampled_from(["", "2026-01-31T07:00:00+00:00"])),
        agents=tuple(draw(st.lists(st.sampled_from(["11223344", "AABBCCDD"]), unique=True))),
        targets=(
            Target(target.program, target.metric, draw(numbers.filter(bool)), draw(st.just("") | words)),
        ),
        earlier=(Earlier(used[0], "old", (), draw(words)), Earlier(used[1], "", ("11223344-0000",), "")),
        explanations=(Explanation(draw(words), draw(words)),),
        excluded=(Excluded("11223344-0000A1B2", draw(words)),),
    )


@given(studies())
def test_a_study_that_is_written_reads_back_the_same(study):
    text = study_text(study)
    tomllib.loads(text)
    assert load_study("s.toml", text) == study
