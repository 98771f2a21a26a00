"""Fixtures of the agent's bench tests."""

from __future__ import annotations

import pytest

from support.agent_bench import Bench
from support.fake_dos import FakeBios, FakeDos


@pytest.fixture
def bench() -> Bench:
    """A bare machine with the agent in it."""
    return Bench()


@pytest.fixture
def dos(bench: Bench) -> FakeDos:
    """DOS 5.0 on the bench."""
    return FakeDos(bench)


@pytest.fixture
def bios(bench: Bench) -> FakeBios:
    """An AT's BIOS with a VGA on the bench."""
    return FakeBios(bench)
