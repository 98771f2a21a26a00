"""The newcomer's walk of docs/teaching.md, run as it is written: from unknown output to first readings."""

import re

import pytest

from readoff.cli import main
from support import loom
from support.commands import answer
from support.docs import DOCS
from support.walks import dialogue

PAGE = (DOCS / "teaching.md").read_text(encoding="utf-8")
STEPS = re.findall(r"```\n\$ readoff (.*?)\n(.*?)```", PAGE, re.DOTALL)
SCHEMA = re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL)[1]
# A question that got an answer: what stands behind it on its line.
QUESTION = re.compile(
    r"^(?:Metric|Unit \(.*?\)(?: \[.*?\])?|Better when it is \(.*?\)|.*\? \[[yY]/[nN]\]|"
    r"What is .*?\?(?: \[.*?\])?|Its title, in words \[.*?\]|Which are .*?\[.*?\]): ?(.*)$",
    re.M,
)


def stripped(text):
    return [line.rstrip() for line in text.strip("\n").splitlines()]


def test_it_takes_four_commands():
    assert [command.split(" run:")[0] for command, _ in STEPS] == [
        "take floppy",
        "schema start",
        "schema try my-schemas/loom.toml",
        "reread --schemas my-schemas",
    ]


def test_the_walk_goes_as_it_is_written(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("READOFF_STORE", "READOFF_SCHEMAS", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    loom.floppy(tmp_path / "floppy")
    for number, (command, output) in enumerate(STEPS):
        told = dialogue(main, command.split(), QUESTION.findall(output), 0 if number else 1)
        assert stripped(told) == stripped(output)
    assert (tmp_path / "my-schemas" / "loom.toml").read_text(encoding="utf-8") == SCHEMA
    readings = answer("show", "1")["readings"]
    assert [(each["metric"], each["value"]) for each in readings if each["schema"] == "loom"] == [
        ("metres", "240"),
        ("time", "16.50"),
        ("pace", "14.5"),
    ]


@pytest.mark.parametrize("said", re.findall(r"^\| \*(.*?)\* \|", PAGE, re.M))
def test_what_the_page_says_is_said_is_said_somewhere(said):
    sources = "".join(
        path.read_text("utf-8") for path in (DOCS.parent / "host" / "readoff" / "cli").glob("*.py")
    )
    for part in said.split(" … "):
        assert part in sources, said
