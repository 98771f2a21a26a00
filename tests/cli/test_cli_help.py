"""Every command tells how it is called, and shells complete it."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import readoff
from readoff.cli import main
from readoff.cli.completion import SHELLS
from support.docs import DOCS

HOST = Path(readoff.__file__).resolve().parents[1]


def walk(command, path=()):
    """(words, command) of every command and every group below one."""
    yield path, command
    for name, each in getattr(command, "commands", {}).items():
        yield from walk(each, (*path, name))


EVERY = [each for each in walk(main) if each[0]]


@pytest.mark.parametrize(("path", "command"), EVERY, ids=[" ".join(path) for path, _ in EVERY])
def test_every_command_shows_an_example_of_itself(path, command):
    result = CliRunner().invoke(main, [*path, "--help"], prog_name="readoff", terminal_width=100)
    assert result.exit_code == 0, result.output
    examples = re.search(r"\n  Examples?:\n((?:    .+\n)+)", result.output)
    assert examples, result.output
    assert re.search(rf"readoff {' '.join(map(re.escape, path))}\b", examples[1]), examples[1]
    assert len(result.output.splitlines()[2].strip()) > 10  # the first sentence under the usage


@pytest.mark.parametrize(("path", "command"), EVERY, ids=[" ".join(path) for path, _ in EVERY])
def test_every_option_says_what_it_is_for(path, command):
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help and parameter.help[0].isupper() and parameter.help.rstrip()[-1] in ".)", (
                parameter.name
            )


@pytest.mark.parametrize(("path", "command"), EVERY, ids=[" ".join(path) for path, _ in EVERY])
def test_examples_are_lines_that_the_command_takes(path, command):
    """Each example is parsed as it stands; nothing is run."""
    text = click.unstyle(command.get_help(click.Context(command, info_name="readoff")))
    for line in re.findall(r"^    readoff (.+)$", text, re.M):
        words = shlex.split(line.split(" > ")[0])
        found, rest = main, words
        while isinstance(found, click.Group) and rest:
            assert rest[0] in found.commands, line
            found, rest = found.commands[rest[0]], rest[1:]
        if not isinstance(found, click.Group):
            try:
                found.make_context(words[0], list(rest), resilient_parsing=False)
            except click.UsageError as error:
                assert "does not exist" in str(error), (line, str(error))  # a file of the example's


# -- completion ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("shell", SHELLS)
def test_a_script_is_printed_for_every_shell(shell):
    result = CliRunner().invoke(main, ["completion", shell], prog_name="readoff")
    assert result.exit_code == 0
    assert "_READOFF_COMPLETE" in result.output and f"{shell}_complete" in result.output
    assert "readoff" in result.output
    if shutil.which(shell):
        flag = "--no-execute" if shell == "fish" else "-n"
        checked = subprocess.run(
            [shell, flag], input=result.output, text=True, capture_output=True, timeout=60, check=False
        )
        assert checked.returncode == 0, checked.stderr


def complete(words):
    """What click answers a shell that asks for the last of some words."""
    code = "from readoff.cli import main; main(prog_name='readoff')"
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env={
            **os.environ,
            "PYTHONPATH": str(HOST),
            "_READOFF_COMPLETE": "bash_complete",
            "COMP_WORDS": " ".join(words),
            "COMP_CWORD": str(len(words) - 1),
        },
    )
    return [line.partition(",")[2] for line in done.stdout.splitlines()]


def test_commands_options_and_choices_are_completed():
    assert {"report", "reread"} <= set(complete(["readoff", "re"]))
    assert complete(["readoff", "study", "ju"]) == ["judge"]
    assert "--bundle" in complete(["readoff", "report", "--b"])
    assert complete(["readoff", "completion", "z"]) == ["zsh"]


def test_the_docs_tell_how_to_turn_it_on():
    text = (DOCS / "commands.md").read_text(encoding="utf-8")
    for shell in SHELLS:
        assert f"readoff completion {shell}" in text
