"""The documentation is true: the reference is current, links lead somewhere, every command that is named is there."""

import re

import click
import pytest

from readoff.cli import main
from support.docs import DOCS
from support.references import references

PAGES = sorted(DOCS.glob("*.md"))
FENCE = re.compile(r"^```[^\n]*\n(.*?)^```\s*$", re.M | re.S)


@pytest.mark.parametrize("path", references(), ids=lambda path: path.name)
def test_the_reference_is_current(path):
    assert path.read_text("utf-8").rstrip("\n") == references()[path].rstrip("\n"), (
        "out of date: PYTHONPATH=host:tests python tests/support/references.py"
    )


def test_the_reference_has_every_command_and_every_layout():
    commands = (DOCS / "reference-commands.md").read_text("utf-8")
    for name in main.commands:
        assert f"\n## readoff {name}\n" in commands
    assert "\n## readoff study judge\n" in commands
    contract = (DOCS / "reference-contract.md").read_text("utf-8")
    for word in (
        "| run_end | 03h |",
        "| hello | 01h |",
        "### memory_point",
        "**outcome**",
        "| record_limit | 1048576 |",
    ):
        assert word in contract


def anchors(text):
    """Names that headings have, as they are made of the words."""
    heads = re.findall(r"^#+ (.*)$", FENCE.sub("", text), re.M)
    return {re.sub(r"[^\w\- ]", "", head.lower()).strip().replace(" ", "-") for head in heads}


@pytest.mark.parametrize("page", [*PAGES, DOCS.parent / "README.md"], ids=lambda path: path.name)
def test_every_link_leads_somewhere(page):
    text = page.read_text("utf-8")
    for target in re.findall(r"\]\(([^)\s]+)\)", FENCE.sub("", text)):
        if target.startswith(("http://", "https://")):
            continue
        name, _, anchor = target.partition("#")
        there = (page.parent / name).resolve() if name else page
        assert there.exists(), target
        if anchor:
            assert anchor in anchors(there.read_text("utf-8")), target


def called(text):
    """Command lines of readoff on the host, in code blocks and in running text."""
    lines = [line for block in FENCE.findall(text) for line in block.splitlines()]
    lines += re.findall(r"`(readoff [^`]+)`", text.replace("\n", " "))
    for line in lines:
        found = re.match(r"(?:\$ )?(readoff [a-z].*)", line)
        if found:
            yield re.split(r"  +|  *#", found[1])[0].split()[1:]


@pytest.mark.parametrize("name", ["guide.md", "troubleshooting.md", "page.md", "first-capture.md"])
def test_every_command_that_is_named_is_there_with_its_options(name):
    lines = list(called((DOCS / name).read_text("utf-8")))
    assert lines
    for words in lines:
        command, rest = main, list(words)
        while isinstance(command, click.Group) and rest and rest[0] in command.commands:
            command = command.commands[rest.pop(0)]
        assert command is not main, words
        assert not isinstance(command, click.Group) or not rest or rest[0].startswith("-"), words
        known = {opt for each in command.params for opt in each.opts} | {"--help"}
        for word in rest:
            if word.startswith("--"):
                assert word.split("=")[0] in known, words
