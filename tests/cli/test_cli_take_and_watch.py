"""readoff take and readoff watch on folders and files."""

import json
from pathlib import Path

from support.commands import answer, run


def test_take_a_folder(bench):
    result = run("take", "inbox")
    assert result.output == "18 files taken: 18 records new, 1 file without a record ignored.\n"
    assert "18 known already" in run("take", "inbox").output


def test_take_in_json(bench):
    got = answer("take", "inbox/R11.RDO", "inbox/AUTOEXEC.BAT", status=1)
    assert [each["new"] for each in got["taken"]] == [["11223344-00000001-0002"], []]
    assert "no record" in got["taken"][1]["held"][0]["reason"]


def test_take_what_is_not_there(bench):
    assert "there is no such file or folder" in run("take", "nowhere", status=2).stderr


def test_take_what_cannot_be_read(bench, monkeypatch):
    """By a fault put in: the tests may run as root, who reads everything."""
    right = Path.open

    def bad_sector(self, *how, **more):
        if self.name == "R11.RDO":
            raise OSError(5, "Input/output error")
        return right(self, *how, **more)

    monkeypatch.setattr(Path, "open", bad_sector)
    output = run("take", "inbox", status=1).output
    assert "R11.RDO: cannot be read (Input/output error)" in output
    assert "17 records new" in output


def test_watch_a_folder_until_idle(bench):
    result = run("watch", "--folder", "inbox", "--until-idle", "0.3")
    assert "zero-ws · replay 1/2, complete, " in result.output
    assert "+ inbox/S1.RDO: snapshot 11223344-00000001-0001 of as-found\n" in result.output
    assert "Done: 18 new." in result.output
    again = run("watch", "--folder", "inbox", "--until-idle", "0.3").output
    assert again.count("known already") == 18 and "Done: 0 new." in again
    lines = run("watch", "--folder", "inbox", "--until-idle", "0.3", "--json").output.splitlines()
    assert all(json.loads(line) for line in lines)


def test_watch_nothing(bench):
    assert "nothing to watch" in run("watch", status=2).stderr
    assert "no such folder" in run("watch", "--folder", "nowhere", status=2).stderr
    assert run("watch", "--port", "COM1,7", status=4).stderr
    assert "no line is written nonsense://" in run("watch", "--port", "nonsense://x", status=4).stderr
