"""Caches of the test machine: real tags, by the addresses that are read."""

from __future__ import annotations

import pytest

from readoff.box import CacheLevel
from readoff.box.hierarchy import Hierarchy
from readoff.errors import BoxError


def served(levels, addresses, rounds=1):
    """Who served the last round: one number a level, then memory."""
    hierarchy = Hierarchy(levels, 100, lambda picoseconds: None)
    for _ in range(rounds):
        hierarchy.served = [0] * (len(levels) + 1)
        for address in addresses:
            hierarchy.read(address)
    return hierarchy.served


def test_what_fits_is_served_and_what_does_not_never_is():
    level = CacheLevel(8192, line=16, ways=4)
    assert served([level], range(0, 8192, 64), 2) == [128, 0]
    # A loop over a little more than fits throws out, set by set, what it is about to read.
    assert served([level], range(0, 16384, 64), 2) == [0, 256]


def test_a_direct_mapped_cache_misses_where_lines_share_a_place():
    level = CacheLevel(8192, ways=1)
    assert served([level], range(0, 8192 + 1024, 64), 2) == [128 - 16, 32]


def test_a_line_is_had_whole():
    assert served([CacheLevel(1024, line=16)], range(0, 64, 4)) == [12, 4]


def test_levels_one_after_the_other():
    levels = [CacheLevel(1024), CacheLevel(8192)]
    assert served(levels, range(0, 4096, 64), 2) == [0, 64, 0]


def test_time_is_that_of_who_served():
    gone = []
    hierarchy = Hierarchy([CacheLevel(1024, clocks=3)], 50, gone.append)
    for address in (0, 0, 4, 4096):
        hierarchy.read(address)
    assert gone == [50, 3, 3, 50]


def test_a_cache_of_broken_sets_is_refused():
    with pytest.raises(BoxError, match="whole sets"):
        Hierarchy([CacheLevel(1000)], 1, lambda picoseconds: None)
