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


def _title(number):
    return f"{WORDS[number % len(WORDS)]} {number // len(WORDS)}"


def _schema(number):
    name = f"s{number}"
    return f"""
schema = "{name}"
title = "Number {number}"
headline = ["pace"]
[recognise]
all = ['^{_title(number)}: \\S+ sacks in \\S+ seconds', '^Pace: \\S+ sacks/s']
none = ['^{_title(number)}: stopped']
[metrics.pace]
pattern = '^Pace: (?P<number>\\S+) sacks/s'
unit = "points"
better = "higher"
"""


def _capture(draw):
    """One in ten is nobody's; the rest are one program's output after some lines of other text."""
    number = draw.randrange(SCHEMAS)
    lines = [
        f"Line {draw.randrange(10**6)} of whatever stood there before." for _ in range(draw.randrange(9))
    ]
    if draw.random() < 0.9:
        lines.append(f"{_title(number)}: {draw.randrange(10**5)} sacks in {draw.random() * 99:.2f} seconds")
    lines.append(f"Pace: {draw.random() * 999:.1f} sacks/s")
    if draw.random() < 0.3:
        rows = "".join(line.ljust(80) for line in lines).ljust(2000).encode()
        return number, Capture(CaptureKind.SCREEN, bytes(o for code in rows for o in (code, 7)), 80)
    return number, Capture(CaptureKind.CONSOLE, "\r\n".join(lines).encode())


def _seconds(work):
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def measure():
    """(ratio to one search, ratio with laying out on both sides, captures recognised): the least of some rounds."""
    schemas = load_schemas([(f"s{n}.toml", _schema(n)) for n in range(SCHEMAS)])
    known = Recogniser(schemas)
    draw = random.Random(1993)
    drawn = [_capture(draw) for _ in range(CAPTURES)]
    patterns = [schemas[number].recognise.all[0].compiled for number, _ in drawn]
    views = [View(capture) for _, capture in drawn]
    texts = [view.shown.utf8 for view in views]
    claims = [known.claims(view) for view in views]
    for (number, _), pattern, text, claim in zip(drawn, patterns, texts, claims, strict=True):
        assert [schema.name for schema in claim] == ([f"s{number}"] if pattern.search(text) else [])

    def one_search():
        for pattern, text in zip(patterns, texts, strict=True):
            pattern.search(text)

    def one_search_laid_out():
        for pattern, (_, capture) in zip(patterns, drawn, strict=True):
            pattern.search(View(capture).shown.utf8)

    def all_schemas():
        for view in views:
            known.claims(view)

    def all_schemas_laid_out():
        for _, capture in drawn:
            known.claims(View(capture))

    pairs = [(one_search, all_schemas), (one_search_laid_out, all_schemas_laid_out)]
    ratios = []
    for base, whole in pairs:
        times = [(_seconds(base), _seconds(whole)) for _ in range(ROUNDS)]
        ratios.append(min(each[1] for each in times) / min(each[0] for each in times))
    return (*ratios, sum(map(bool, claims)))


def test_200_schemas_cost_at_most_three_searches_a_capture():
    alone, laid_out, recognised = measure()
    print(
        f"\n{SCHEMAS} schemas, {CAPTURES} captures: {alone:.2f} searches a capture; {laid_out:.2f} with laying out"
    )
    assert 0.85 * CAPTURES < recognised < 0.95 * CAPTURES
    assert alone <= MOST
    assert laid_out <= MOST


if __name__ == "__main__":
    figures = measure()
    print(f"{figures[0]:.2f} searches a capture; {figures[1]:.2f} with laying out; {figures[2]} recognised")
