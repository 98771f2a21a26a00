"""Many schemas tried at once give the same answer as each tried alone."""

from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.readings import explain, read_run
from readoff.readings.recogniser import Recogniser
from readoff.readings.recognising import recognise
from readoff.readings.view import View
from support.reading_texts import console, file, load, schema_text, screen, shipped

# Pieces that overlap, contain one another, or match nearly everywhere.
PIECES = [
    "^Mill",
    "ill",
    r"Mill \S+",
    r"\S+ill$",
    "[0-9]+",
    r"^\S",
    "(?i)mill",
    "M|x",
    "x{3,9}",
    "Score: 5",
    "♥",
]
LINES = ["Mill", "Mill 1.2", "mill", "A Mill", "Score: 5", "Score: 50", "xxxx", "♥", "", " ", "7"]
KINDS = [
    "",
    'captures = ["console"]',
    'captures = ["file", "screen"]',
    'programs = ["MI*"]',
    'files = ["*.OUT"]',
]


@st.composite
def rules(draw):
    wanted = draw(st.lists(st.sampled_from(PIECES), min_size=1, max_size=3))
    barred = draw(st.lists(st.sampled_from(PIECES), max_size=2))
    return f"all = {wanted!r}\nnone = {barred!r}\n{draw(st.sampled_from(KINDS))}"


@st.composite
def captures(draw):
    octets = "\r\n".join(draw(st.lists(st.sampled_from(LINES), max_size=6)))
    octets = octets.replace("♥", "\x03").encode("cp437")
    make = draw(st.sampled_from([console, file, lambda o: file(o, "MILL.TXT"), _as_screen, _as_odd_screen]))
    return make(octets)


def binary(name, rule):
    return f"""
schema = "{name}"
kind = "binary"
title = "A file"
headline = ["score"]
layout = "file"
[recognise]
{rule[0]}
[layouts.file]
fields = [{rule[1]}]
[metrics.score]
field = "score"
unit = "points"
better = "higher"
"""


def on_screen(name, text):
    return f"""
schema = "{name}"
kind = "screen"
title = "A screen"
headline = ["score"]
[recognise]
texts = [{text}]
[metrics.score]
row = 1
column = 1
unit = "points"
better = "higher"
"""


FILES = [
    "",
    'files = ["MILL.OUT"]',
    'files = ["MILL.OUT", "MILL.OUT"]',
    'files = ["*.OUT"]',
    "lengths = [3, 5]",
]
FIELDS = [
    '{ name = "m", type = "octets", size = 2, equals = "4D 69" }, { name = "score", type = "text", size = "rest" }',
    '{ name = "s", type = "u8" }, { name = "m", type = "u8", equals = 105 }, { name = "score", type = "u8" }',
]
OPEN = '{ name = "score", type = "text", size = "rest" }'
BINARIES = [(rule, fields) for rule in FILES for fields in FIELDS] + [(rule, OPEN) for rule in FILES[1:4]]
TEXTS = [
    '{ text = "Mill" }',
    '{ text = "Mill", row = 2 }',
    '{ text = "Mill", column = 3 }',
    '{ text = "♥" }',
    '{ text = "Score" }, { text = "5" }',
]


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.one_of(rules(), st.sampled_from(BINARIES), st.sampled_from(TEXTS)), min_size=1, max_size=9),
    st.lists(captures(), min_size=1, max_size=4),
)
def test_schemas_of_several_kinds_at_once_are_each_alone(rules, captures):
    texts = []
    for number, rule in enumerate(rules):
        if isinstance(rule, tuple):
            texts.append(binary(f"s{number}", rule))
        else:
            texts.append(
                on_screen(f"s{number}", rule)
                if rule.startswith("{")
                else schema_text(name=f"s{number}", recognise=rule)
            )
    schemas = load(*texts)
    known = Recogniser(schemas)
    for capture in captures:
        view = View(capture)
        assert [schema.name for schema in known.claims(view)] == alone(view, schemas)


def _as_screen(octets):
    return screen(*octets.split(b"\r\n"), columns=40)


def _as_odd_screen(octets):
    whole = _as_screen(octets)
    return type(whole)(whole.kind, whole.octets[:-1], whole.columns)


def alone(view, schemas):
    return [schema.name for schema in schemas if recognise(view, schema).recognised]


@settings(max_examples=150, deadline=None)
@given(
    st.lists(rules(), min_size=1, max_size=8),
    st.lists(captures(), min_size=1, max_size=4),
    st.sampled_from(["", "MILL.EXE", "OTHER"]),
    st.sampled_from([500, 20_000, 1 << 26]),
)
def test_all_at_once_is_each_alone(rules, captures, program, memory):
    schemas = load(*(schema_text(name=f"s{number}", recognise=text) for number, text in enumerate(rules)))
    known = Recogniser(schemas, memory=memory)
    for index, capture in enumerate(captures):
        view = View(capture, index, program)
        assert [schema.name for schema in known.claims(view)] == alone(view, schemas)
        told = [v.schema for v in explain([capture], schemas, program=program) if v.recognised]
        assert told == alone(view, schemas)


def test_a_set_that_says_nothing_at_all_is_not_believed():
    """RE2's documentation of Set::Match: when the automaton is out of memory, it matches nothing. No text here makes
    it so; so the set is replaced by one that has nothing to say."""
    schemas = load(schema_text(name="one"), schema_text(name="two", recognise="all = ['Score: 5$']"))
    known = Recogniser(schemas)
    view = View(console(b"Mill\r\nScore: 5"))
    assert known.matched(view) == {0, 1, 2}
    known._set = SimpleNamespace(Match=lambda text: [])
    assert known.matched(view) is None
    assert known.claims(view) == schemas


def test_patterns_too_large_for_one_set_are_tried_alone():
    schemas = load(*(schema_text(name=f"s{n}", recognise=f"all = ['a{{{n + 1},90}}b']") for n in range(8)))
    known = Recogniser(schemas, memory=2000)
    view = View(console(b"aaaab"))
    assert known.matched(view) is None
    assert [schema.name for schema in known.claims(view)] == ["s0", "s1", "s2", "s3"]


def test_a_screen_whose_rows_run_together_beyond_a_line_is_judged_schema_by_schema():
    capture = screen(*[b"M" * 132] * 60, columns=132)
    schemas = load(schema_text(name="one"), schema_text(name="two", recognise="all = ['^M']"))
    assert Recogniser(schemas).matched(View(capture)) is None


@pytest.mark.parametrize("at", [0, 5, -1])
def test_verdicts_are_worked_out_when_looked_at(at):
    schemas = shipped()
    octets = b"Ways: score 1234.50 points\r\n"
    verdicts = read_run([console(octets), file(octets, "WAYS.OUT")], schemas).recognised
    assert len(verdicts) == 2 * len(schemas)
    assert verdicts[at] == list(verdicts)[at]
    assert verdicts[1:3] == tuple(verdicts)[1:3]
    assert [v.capture for v in verdicts] == [0] * len(schemas) + [1] * len(schemas)
    with pytest.raises(IndexError):
        verdicts[len(verdicts)]
