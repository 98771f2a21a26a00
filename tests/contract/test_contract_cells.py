"""Packed cells as protocols/README.md describes them: unpacked again, and octets that lie."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.contract.cells import unpack_cells
from readoff.errors import MalformedError
from support.packing import packed

CELLS = st.lists(st.tuples(st.integers(0, 2), st.integers(1, 400)), max_size=6)


@given(CELLS, st.integers(1, 128), st.integers(3, 130))
def test_every_packing_that_is_allowed_is_unpacked(
    pieces: list[tuple[int, int]], literal: int, run: int
) -> None:
    cells = [bytes([65 + which, 7]) for which, times in pieces for _ in range(times)]
    assert unpack_cells(packed(cells, literal, run), len(cells)) == b"".join(cells)


@given(st.binary(max_size=300), st.integers(0, 400))
def test_any_octets_give_so_many_cells_or_are_refused(octets: bytes, cells: int) -> None:
    with suppress(MalformedError):
        assert len(unpack_cells(octets, cells)) == 2 * cells


@pytest.mark.parametrize(
    ("octets", "cells", "says"),
    [
        ("FF 20 07", 131, "not 131"),
        ("FF 20 07", 129, "not 129"),
        ("FF 20", 130, "within a piece"),
        ("01 41 07 42", 2, "within a piece"),
        ("", 1, "not 1"),
    ],
)
def test_what_does_not_fit_is_refused(octets: str, cells: int, says: str) -> None:
    with pytest.raises(MalformedError, match=says):
        unpack_cells(bytes.fromhex(octets), cells)


def test_the_contracts_own_example() -> None:
    assert unpack_cells(bytes.fromhex("FF2007EB2007"), 240) == b" \x07" * 240
