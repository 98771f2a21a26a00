"""Long answers in JSON: written piece by piece, and the same as in one piece."""

from __future__ import annotations

import json

from readoff.cli.common import Streamed, echo_json
from support import commands
from support import store_samples as samples


def test_a_streamed_answer_is_the_same_as_a_whole_one(capsys):
    whole = {"runs": [{"a": 1, "b": [b"\x01", "ü"]}, {"a": None}], "none": [], "held": 3}
    echo_json(whole)
    expected = capsys.readouterr().out
    echo_json({"runs": Streamed(iter(whole["runs"])), "none": Streamed(iter(())), "held": 3})
    assert capsys.readouterr().out == expected
    assert json.loads(expected)["none"] == []


def test_members_are_made_when_they_are_written(capsys, monkeypatch):
    """However many there are, few are there at once."""
    monkeypatch.setattr("readoff.cli.common._CHUNKS", 10)
    made, written = [], []

    def members():
        for number in range(500):
            made.append(number)
            yield {"number": number}

    monkeypatch.setattr(
        "readoff.cli.common.click.echo", lambda text="", **_: written.append((len(made), text))
    )
    echo_json({"all": Streamed(members())})
    assert written[0][0] < 10  # the first piece is out before most are made
    assert len(json.loads("".join(text for _, text in written))["all"]) == 500


def test_runs_in_json(tmp_path):
    (tmp_path / "a.rdo").write_bytes(samples.run_record() + samples.snapshot_record(7))
    store = tmp_path / "s.db"
    commands.run("take", tmp_path / "a.rdo", "--store", store)
    told = commands.answer("runs", "--store", store)
    assert [run["label"] for run in told["runs"]] == ["zero-ws"]
    assert [shot["label"] for shot in told["snapshots"]] == ["zero-ws"]
    assert told["held"] == 0
