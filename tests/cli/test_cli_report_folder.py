"""The folder that readoff report writes: whole or not at all, and never over what it did not write itself."""

import json
from pathlib import Path

import pytest

from readoff.reports import folder as folders
from readoff.reports import writing
from support import study_records as records
from support.study_bench import bring, prepare, run


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A study with its runs; no charts are drawn, which take seconds."""
    bench = prepare(tmp_path, monkeypatch)
    bring(bench, records.boots(records.TURNS))
    monkeypatch.setattr(writing, "figures_of", lambda publication: iter(()))
    return bench


@pytest.fixture
def own(bench):
    """A report that a test may change."""
    run("report", "out", "--study", "s.toml", "--bundle")
    return bench / "out"


def files(folder):
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_the_same_report_twice_is_the_same_to_the_octet(bench, own):
    before = files(own)
    run("report", "out", "--study", "s.toml", "--bundle")
    assert files(own) == before
    assert sorted(each.name for each in bench.iterdir() if each.name.startswith(".")) == []


def test_a_folder_that_is_not_ours_is_never_overwritten(bench):
    (bench / "mine").mkdir()
    (bench / "mine" / "letter.txt").write_text("dear")
    assert "was not written by readoff report" in run("report", "mine", "--study", "s.toml", status=2).stderr
    assert files(bench / "mine") == {"letter.txt": b"dear"}
    (bench / "file").write_text("x")
    assert run("report", "file", "--study", "s.toml", status=2).stderr


def test_an_own_file_or_a_changed_one_in_a_report_is_not_lost(bench, own):
    (own / "notes.txt").write_text("mine")
    assert "notes.txt is not of the report" in run("report", "out", "--study", "s.toml", status=2).stderr
    (own / "notes.txt").unlink()
    (own / "report.md").write_text("edited")
    assert "report.md was changed since" in run("report", "out", "--study", "s.toml", status=2).stderr
    assert (own / "report.md").read_text() == "edited"


def test_what_was_begun_and_not_ended_is_never_taken_for_a_report(bench, monkeypatch):
    written = []

    def fails(path, files):
        folders_write(path, dict(list(files.items())[:3]))
        written.append(path)
        raise OSError(28, "No space left on device")

    folders_write = folders._write
    monkeypatch.setattr(folders, "_write", fails)
    told = run("report", "out", "--study", "s.toml", status=2).stderr
    assert "cannot be written (No space left on device)" in told
    assert written and not (bench / "out").exists() and not written[0].exists()


def test_a_failure_leaves_the_earlier_report_as_it_was(bench, own, monkeypatch):
    before = files(own)
    real = Path.rename

    def fails(self, target):
        if self.name.endswith(".part"):
            raise OSError(5, "Input/output error")
        return real(self, target)

    monkeypatch.setattr(Path, "rename", fails)
    run("report", "out", "--study", "s.toml", status=2)
    assert files(own) == before
    assert sorted(each.name for each in bench.iterdir() if each.name.startswith(".")) == []


def test_the_list_of_contents_names_every_file(own):
    listed = json.loads((own / "contents.json").read_bytes())["files"]
    assert set(listed) == set(files(own)) - {"contents.json"}
