"""readoff attach: brought, listed, saved, taken back; refused in a sentence."""

import io

import pytest
from PIL import Image

from readoff.store import open_store
from support import store_samples as samples
from support.commands import answer, run
from support.photographs import photograph


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with open_store(tmp_path / "readoff.db") as store:
        store.take(samples.run_record(2, start={"label": "zero-ws"}), "a")
    (tmp_path / "jumpers.jpg").write_bytes(photograph())
    return tmp_path


def test_a_photograph_goes_in_and_comes_out_without_its_place(bench):
    assert "Nothing is attached" in run("attach").output
    told = run(
        "attach", "--label", "zero-ws", "--photo", "jumpers.jpg", "J7 closed", "--by", "A. Tester"
    ).output
    assert told.startswith("Attached: 1. zero-ws: J7 closed; photograph ")
    run("attach", "--run", 1, "fan off", "--by", "A. Tester")
    listed = run("attach").output
    assert "zero-ws: J7 closed" in listed and "run 1: fan off" in listed
    (one,) = answer("attach", "--label", "zero-ws", "--save", "out")["attachments"]
    (file,) = (bench / "out").iterdir()
    assert file.name == one["sha256"][:16] + ".jpg"
    assert not Image.open(io.BytesIO(file.read_bytes())).getexif()


def test_it_can_be_taken_back(bench):
    run("attach", "--label", "zero-ws", "wrong", "--by", "A. Tester")
    assert (
        "Taken back: attachment 1"
        in run("attach", "--take-back", 1, "of another", "--by", "A. Tester").output
    )
    assert answer("attach")["attachments"] == []


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (("--label", "zreo", "x"), "nothing carries the label"),
        (("x",), "one configuration or one run"),
        (("--label", "zero-ws", "--photo", "readoff.db"), "no whole photograph"),
        (("--label", "zero-ws", "--photo", "nowhere.jpg"), "cannot be read"),
        (("--run", "9", "x"), "9"),
    ],
)
def test_what_does_not_fit_is_refused(bench, arguments, reason):
    assert reason in run("attach", *arguments, "--by", "A. Tester", status=2).output
    assert answer("attach")["attachments"] == []
