"""Every command tells how it is called, and shells complete it."""

import json
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


BLOCKS = [
    (page.name, line)
    for page in sorted([*DOCS.glob("*.md"), DOCS.parent / "README.md"])
    if page.name != "reference-commands.md"
    for block in re.findall(r"^```\w*\n(.*?)^```", page.read_text(encoding="utf-8"), re.M | re.S)
    for line in re.findall(r"^(?:\$ )?readoff (.+)$", block, re.M)
]


@pytest.mark.parametrize(("page", "line"), BLOCKS)
def test_lines_to_type_in_the_docs_are_lines_that_the_command_takes(page, line):
    """Two spaces or more begin what is said of the line."""
    found, words = main, shlex.split(re.split(r"\s{2,}| > |\s#", line)[0])
    while isinstance(found, click.Group) and words and not words[0].startswith("-"):
        assert words[0] in found.commands, line
        found, words = found.commands[words[0]], words[1:]
    if not isinstance(found, click.Group):
        try:
            found.make_context("readoff", list(words), resilient_parsing=False)
        except click.exceptions.Exit:
            pass  # --help
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


# -- a command line that makes no sense ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("show", "readoff show: missing argument 'RUN'. See: readoff show --help\n"),
        ("--nothing", "readoff: no such option '--nothing'. See: readoff --help\n"),
        (
            "runs --labl x",
            "readoff runs: no such option '--labl'. Did you mean '--label'? See: readoff runs --help\n",
        ),
        ("compare a b --margin x", "readoff compare: invalid value for '--margin'"),
        ("study note", "readoff study note: missing argument 'FILE'. See: readoff study note --help\n"),
    ],
)
def test_it_is_told_in_one_sentence_with_the_next_step(words, said):
    result = CliRunner().invoke(main, shlex.split(words), prog_name="readoff")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(said) and result.stderr.count("\n") == 1


def test_a_group_alone_shows_its_help_and_no_sentence_is_cut_off():
    for words in ([], ["study"], ["schema"], ["store"]):
        told = CliRunner().invoke(main, words, prog_name="readoff").output
        assert (
            told.startswith("Usage: ")
            and "\nCommands:\n" in told
            and "..." not in told.partition("Commands:")[2]
        )


# -- for programs ----------------------------------------------------------------------------------------------------

WITHOUT_JSON = {("study",), ("schema",), ("store",), ("completion",), ("demo",), ("study", "start")}
"""Groups; what is a shell's own language; what shows itself to a person, and what asks one."""


def test_every_command_answers_in_json_but_those_that_only_a_person_can_use():
    without = {path for path, command in EVERY if not any("--json" in each.opts for each in command.params)}
    assert without == WITHOUT_JSON


@pytest.mark.parametrize(
    ("words", "status", "what"),
    [
        ("runs", 1, "there is no store yet"),
        ("reread", 1, "there is no store yet"),
        ("gather other.db", 2, "there is no store"),
        ("take nowhere", 2, "there is no such file or folder"),
        ("schema which run:1", 1, "there is no store yet"),
        ("schema list --schemas nowhere", 5, "there is no such folder of schemas"),
        ("frobnicate", 2, "no such command 'frobnicate'"),
        ("show", 2, "missing argument 'RUN'"),
    ],
)
def test_an_error_is_an_object_and_a_sentence_and_leaves_no_store_behind(
    tmp_path, monkeypatch, words, status, what
):
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(main, [*shlex.split(words), "--json"], prog_name="readoff")
    told = json.loads(result.stdout)["error"]
    assert (result.exit_code, told["what"], told["status"]) == (status, what, status)
    assert what in result.stderr and list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("words", ["schema list", "schema list --json", "--help"])
def test_an_answer_that_cannot_be_written_is_told_in_one_sentence(words):
    """/dev/full gives "no space" for every octet written (Linux, full(4))."""
    program = "from readoff.cli import main; main(prog_name='readoff')"
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        done = subprocess.run(
            [sys.executable, "-c", program, *shlex.split(words)],
            check=False,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": str(HOST)},
        )
    assert (done.returncode, done.stderr) == (
        1,
        "readoff: the answer: it cannot be written (No space left on device).\n",
    )


def test_what_needs_no_store_answers_in_json_too(tmp_path):
    def answer(*words):
        result = CliRunner().invoke(main, [*map(str, words), "--json"], prog_name="readoff")
        assert result.exit_code == 0, result.output
        return json.loads(result.stdout)

    image, com = tmp_path / "a.img", tmp_path / "READOFF.COM"
    told = answer("disk", image, "--size", "360")
    assert told == {"path": str(image), "kilobytes": 360, "files": ["READOFF.COM", "START.BAT", "GUIDE.TXT"]}
    assert image.stat().st_size == 360 * 1024
    assert answer("agent", tmp_path) == {"path": str(com), "octets": com.stat().st_size}
    bench = tmp_path / "desk.toml"
    bench.write_text('bench = "desk"\nagents = ["11223344"]\noff = ["/bin/true"]\non = ["/bin/true"]\n')
    told = answer("power", bench)
    assert (told["name"], told["agents"], told["off_seconds"], told["held"]) == (
        "desk",
        ["11223344"],
        45.0,
        False,
    )
