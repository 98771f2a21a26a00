"""How answers look: tables on terminals of any width break no number and lose none; nothing ends without a word."""

import pytest

from readoff.cli import looks
from readoff.cli.compare import show_comparison
from readoff.reports.comparison import Comparison

COLUMNS = ("run", "metric", "value", "unit", "read from")
ROWS = [
    (
        "1",
        "frames_per_second",
        "1234567.890",
        "frames/s",
        "Rate: 1234567.890 frames/s in the second pass of three",
    ),
    ("12", "elapsed", "0.0007501", "s", "agent's timer: 0 ticks and 895 counts, in steps of 0.0000008 s"),
]


def shown(width, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(width))
    looks.print_table(COLUMNS, ROWS, right=("run", "value"))
    return capsys.readouterr().out


@pytest.mark.parametrize("width", [40, 50, 60, 70, 80, 100, 200])
def test_no_word_of_a_table_is_broken_or_lost(width, capsys, monkeypatch):
    told = shown(width, capsys, monkeypatch)
    assert max(map(len, told.splitlines())) <= width
    for row in ROWS:
        for word in " ".join(row).split():
            assert word in told.split()


def test_a_table_stands_in_lines_where_its_columns_have_no_room(capsys, monkeypatch):
    assert shown(40, capsys, monkeypatch).startswith(
        "run: 1\n  metric: frames_per_second\n  value: 1234567.890\n"
    )
    assert shown(80, capsys, monkeypatch).startswith("run  metric ")


def test_a_cell_without_text_is_left_out_in_lines(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    looks.print_table(("number", ""), [("1" * 24, ""), ("2" * 24, "typed-again-since-then")])
    assert capsys.readouterr().out == f"number: {'1' * 24}\nnumber: {'2' * 24}\n  typed-again-since-then\n"


def test_a_comparison_says_where_there_is_nothing_to_compare(capsys):
    show_comparison(Comparison("old", "new", 0.02, (), (), (), (), (), (), ("only old has rate of mill",)))
    told = capsys.readouterr().out
    assert "Nothing can be compared: no metric was read on both sides" in told
    assert "only old has rate of mill" in told
