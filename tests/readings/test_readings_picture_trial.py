"""Digits drawn, pixels flipped, read again: never a wrong one. A bounded part of the trial in docs/pictures.md."""

import random

from readoff.readings.picture.trial import FLIPPED, main, strings_of, trial
from support.drawn_pictures import CHAMFER, GLYPH_FILE

LEVELS = (0, 1, 2, 3, 5, 8, 13, 24)


def test_no_digit_is_ever_read_wrong():
    tallies = list(trial(tuple(CHAMFER.values()), 120, 20, LEVELS))
    assert len(tallies) == 3 * 3 * len(LEVELS)
    for each in tallies:
        assert each.strings == 120
        assert each.wrong == 0, each
        if each.flipped <= each.allow:
            assert each.right == 120, each  # so many are allowed in one cell, so no cell can have too many
        if each.allow == 0 and each.flipped:
            assert each.held == 120, each
    assert any(0 < each.held < 120 for each in tallies)


def test_the_strings_are_of_all_forms_and_digits():
    strings = strings_of(1000, random.Random(0))
    assert {len(string) for string in strings} == {8}
    assert set("".join(strings)) == set("0123456789.,-:+E ")


def test_the_command_prints_its_table(capsys):
    assert main([str(GLYPH_FILE), "3", "5"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "3 strings of 8 characters for each line, seed 5"
    assert len(lines) == 3 + 3 * 3 * len(FLIPPED)
    assert "| 8×8 | 0 | 0 | 3 | 0.00% | 0 |" in lines
    assert main([str(GLYPH_FILE.parent / "none")]) == 2
    assert "FileNotFoundError" in capsys.readouterr().err
    assert main([]) == 2
