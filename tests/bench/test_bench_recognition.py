"""What it costs to find the schema among 200, measured against one search of one pattern a capture.

Also to be run by itself: `python tests/bench/test_bench_recognition.py` prints the figures.
"""

import random
import time

from readoff.readings import Capture, CaptureKind, load_schemas
from readoff.readings.recogniser import Recogniser
from readoff.readings.view import View

SCHEMAS, CAPTURES, ROUNDS, MOST = 200, 10_000, 5, 3.0
WORDS = ("Mill", "Weir", "Loom", "Forge", "Kiln", "Quarry", "Bakery", "Press")

TEXT = """
schema = "s{number}"
title = "Number {number}"
headline = ["pace"]
[recognise]
all = ['^{title}: \\S+ sacks in \\S+ seconds', '^Pace: \\S+ sacks/s']
none = ['^{title}: stopped']
[metrics.pace]
pattern = '^Pace: (?P<number>\\S+) sacks/s'
unit = "points"
better = "higher"
"""
SCREEN = """
schema = "s{number}"
kind = "screen"
title = "Number {number}"
headline = ["pace"]
[recognise]
sizes = ["80x25"]
texts = [{{ text = "{title}:" }}, {{ text = "sacks/s" }}]
[metrics.pace]
label = "Pace"
unit = "points"
better = "higher"
"""
BINARY = """
schema = "s{number}"
kind = "binary"
title = "Number {number}"
headline = ["pace"]
layout = "file"
[recognise]
files = ["S{number}.DAT"]
[layouts.file]
fields = [
  {{ name = "mark", type = "octets", size = 4, equals = "{mark}" }},
  {{ name = "pace", type = "u32" }},
]
[metrics.pace]
field = "pace"
unit = "points"
better = "higher"
"""


def _title(number):
    return f"{WORDS[number % len(WORDS)]} {number // len(WORDS)}"


def _mark(number):
    return b"SK" + number.to_bytes(2, "little")


def _form(number, mixed):
    """Of four schemas of several kinds two are for text, one for screens, one for binary files."""
    return (TEXT, TEXT, SCREEN, BINARY)[number % 4] if mixed else TEXT


def _schema(number, mixed):
    form = _form(number, mixed)
    return form.format(number=number, title=_title(number), mark=_mark(number).hex(" "))


def _capture(draw, mixed):
    """(schema, capture, whether it is the schema's): one in ten is nobody's, though it looks much like it."""
    number, own = draw.randrange(SCHEMAS), draw.random() < 0.9
    form = _form(number, mixed)
    if form is BINARY:
        octets = (_mark(number) if own else b"SKXX") + draw.randbytes(4)
        return number, Capture(CaptureKind.FILE, octets, name=f"S{number}.DAT"), own
    lines = [
        f"Line {draw.randrange(10**6)} of whatever stood there before." for _ in range(draw.randrange(9))
    ]
    if own:
        lines.append(f"{_title(number)}: {draw.randrange(10**5)} sacks in {draw.random() * 99:.2f} seconds")
    lines.append(f"Pace: {draw.random() * 999:.1f} sacks/s")
    if form is SCREEN or (not mixed and draw.random() < 0.3):
        rows = "".join(line.ljust(80) for line in lines).ljust(2000).encode()
        return number, Capture(CaptureKind.SCREEN, bytes(o for code in rows for o in (code, 7)), 80), own
    return number, Capture(CaptureKind.CONSOLE, "\r\n".join(lines).encode()), own


def _seconds(work):
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def measure(mixed):
    """(ratio to one search, ratio with laying out on both sides, captures recognised): the least of some rounds.

    mixed: schemas of several kinds instead of text alone. The one search is for what one text schema of the same
    number must have.
    """
    schemas = load_schemas([(f"s{number}.toml", _schema(number, mixed)) for number in range(SCHEMAS)])
    texts = load_schemas([(f"s{number}.toml", _schema(number, False)) for number in range(SCHEMAS)])
    known = Recogniser(schemas)
    draw = random.Random(1993)
    drawn = [_capture(draw, mixed) for _ in range(CAPTURES)]
    patterns = [texts[number].recognise.all[0].compiled for number, _, _ in drawn]
    views = [View(capture) for _, capture, _ in drawn]
    shown = [view.shown.utf8 for view in views]
    claims = [known.claims(view) for view in views]
    for (number, _, own), claim in zip(drawn, claims, strict=True):
        assert [schema.name for schema in claim] == [f"s{number}"] * own

    def one_search():
        for pattern, text in zip(patterns, shown, strict=True):
            pattern.search(text)

    def one_search_laid_out():
        for pattern, (_, capture, _) in zip(patterns, drawn, strict=True):
            pattern.search(View(capture).shown.utf8)

    def all_schemas():
        for view in views:
            known.claims(view)

    def all_schemas_laid_out():
        for _, capture, _ in drawn:
            known.claims(View(capture))

    ratios = []
    for base, whole in ((one_search, all_schemas), (one_search_laid_out, all_schemas_laid_out)):
        times = [(_seconds(base), _seconds(whole)) for _ in range(ROUNDS)]
        ratios.append(min(each[1] for each in times) / min(each[0] for each in times))
    return (*ratios, sum(map(bool, claims)))


def _told(mixed):
    alone, laid_out, recognised = measure(mixed)
    sort = "of several kinds" if mixed else "for text"
    print(
        f"\n{SCHEMAS} schemas {sort}, {CAPTURES} captures, {recognised} recognised: "
        f"{alone:.2f} searches a capture; {laid_out:.2f} with laying out"
    )
    return alone, laid_out, recognised


def test_200_schemas_cost_at_most_three_searches_a_capture():
    alone, laid_out, recognised = _told(mixed=False)
    assert 0.85 * CAPTURES < recognised < 0.95 * CAPTURES
    assert alone <= MOST
    assert laid_out <= MOST


def test_schemas_of_several_kinds_cost_no_more_with_laying_out():
    """Texts on a screen and fields of a file are looked at beside the search, and so cost more than it alone."""
    _, laid_out, recognised = _told(mixed=True)
    assert 0.85 * CAPTURES < recognised < 0.95 * CAPTURES
    assert laid_out <= MOST


if __name__ == "__main__":
    for each in (False, True):
        _told(each)
