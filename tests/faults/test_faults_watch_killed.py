"""The host killed outright (SIGKILL) at any moment: what an agent was told kept is in the store, whole and once."""

import pytest

from support.killed_watch import killed_run


@pytest.mark.parametrize("seed", range(4))
def test_killed_at_any_moment(tmp_path, seed):
    assert killed_run(seed, tmp_path) == 30


@pytest.mark.parametrize("seed", range(3))
def test_two_watchers_on_one_store_and_one_is_killed(tmp_path, seed):
    """The same folder, the same records over two lines at once: each is there once."""
    assert killed_run(seed, tmp_path, watchers=2) == 30
