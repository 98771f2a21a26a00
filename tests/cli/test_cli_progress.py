"""Progress: on a terminal, after a second, in one line that goes away; in a pipe not a word."""

import io

import pytest

from readoff.cli.progress import Progress
from readoff.errors import MalformedError
from readoff.reports.bundle import read_bundle
from readoff.store import open_store
from readoff.store.export import export
from support import store_samples as samples
from support.page_bench import open_sample_store


class Terminal(io.StringIO):
    def isatty(self):
        return True


class Clock:
    now = 100.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


def test_what_takes_less_than_a_second_says_nothing(clock):
    stream = Terminal()
    tell = Progress(stream, clock=clock)
    for _ in range(9):
        clock.now += 0.1
        tell("chart 1")
    tell.clear()
    assert stream.getvalue() == ""


def test_after_a_second_one_line_is_written_and_taken_away(clock):
    stream = Terminal()
    tell = Progress(stream, clock=clock).count("arrivals")
    for done in range(100):
        clock.now += 0.0625  # a number that adds up exactly
        tell(done, 100)
    tell(100, 100)
    said = stream.getvalue()
    assert said.startswith("\r\x1b[K15 of 100 arrivals …") and said.endswith("\r\x1b[K")
    assert "\n" not in said
    assert 15 <= said.count("…") <= 27  # five times a second at most, over five seconds


@pytest.mark.parametrize(("stream", "quiet"), [(io.StringIO(), False), (Terminal(), True)])
def test_in_a_pipe_and_where_programs_read_nothing_is_said(clock, stream, quiet):
    tell = Progress(stream, quiet=quiet, clock=clock)
    clock.now += 10
    tell("chart 1")
    tell.clear()
    assert stream.getvalue() == ""


def test_a_store_tells_how_far_it_is(tmp_path):
    with open_sample_store(tmp_path / "s.db") as store:
        for nonce in range(1, 6):
            store.take(samples.run_record(2, nonce, console=samples.printed("72.9")), "x")
        told = []
        store.step = lambda done, of: told.append((done, of))
        store.reread()
        assert told == [(0, 5), (1, 5), (2, 5), (3, 5), (4, 5), (5, 5)]
    with open_store(tmp_path / "s.db", []) as store:
        store.step(1, 2)  # says nothing unless told otherwise


def test_an_export_and_a_bundle_tell_how_far_they_are(tmp_path):
    told = []
    with open_sample_store(tmp_path / "s.db") as store:
        for nonce in range(1, 4):
            store.take(samples.run_record(2, nonce, console=samples.printed("72.9")), "x")
        rows = export(store, tmp_path / "tables", parquet=False, step=told.append)
        assert told == [f"{rows[name]} {name} written" for name in ("readings", "typed", "runs", "facts")]
    bundle = tmp_path / "bundle"
    bundle.mkdir()
    (bundle / "bundle.json").write_text("{}")
    (bundle / "store.json").write_text("{}")
    files = []
    with pytest.raises(MalformedError, match="no bundle of Readoff"):
        read_bundle(bundle, lambda done, of: files.append((done, of)))
    assert files == [(1, 2), (2, 2)]
