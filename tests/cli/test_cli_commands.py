"""The commands as one meets them first: help, docs, the store that they work on, and READOFF.COM for a floppy."""

import os
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

import readoff
from readoff.cli import main
from support.commands import run

HOST = Path(readoff.__file__).resolve().parents[1]
DOCS = HOST.parent / "docs" / "commands.md"
COMMANDS = sorted(main.commands)


def test_the_commands_of_the_job_are_there():
    assert {"watch", "take", "runs", "show", "held", "compare", "reread", "agent"} <= set(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_an_example_and_a_place_in_the_docs(name):
    command = main.commands[name]
    text = run(name, "--help").output
    assert command.help and len(command.help.split("\n")[0]) > 10
    assert re.search(rf"Examples?:\n\s+readoff {name}\b", text), text
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help or parameter.is_eager, f"{name}: {parameter.name} has no help"
    docs = DOCS.read_text(encoding="utf-8")
    section = re.search(rf"^## readoff {name}\n(.*?)(?=^## |\Z)", docs, re.M | re.S)
    assert section, f"docs/commands.md has no section on {name}"
    for parameter in command.params:
        for option in parameter.opts if isinstance(parameter, click.Option) else ():
            shared = option in ("--store", "--schemas", "--json", "--help")
            assert option in (docs if shared else section[1]), (
                f"docs/commands.md does not tell {name} {option}"
            )


def test_docs_name_no_command_that_is_not_there():
    docs = DOCS.read_text(encoding="utf-8")
    assert set(re.findall(r"^## readoff (\w+)$", docs, re.M)) - {"demo"} <= set(COMMANDS)


def test_help_imports_nothing_heavy():
    code = (
        "import sys\nsys.argv = ['readoff', '--help']\nfrom readoff.cli import main\n"
        "try: main()\nexcept SystemExit: pass\n"
        "heavy = {'pandas', 'scipy', 'numpy', 'sqlite_utils', 'rich', 'construct', 're2', 'unicorn', 'serial',"
        " 'watchdog', 'matplotlib', 'starlette', 'uvicorn', 'jinja2'}\n"
        "print('heavy:', sorted(heavy & set(sys.modules)), len(sys.modules))\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(HOST)}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True, timeout=60
    )
    last = done.stdout.splitlines()[-1]
    assert last.startswith("heavy: [] ")
    assert int(last.split()[-1]) < 400


def test_version():
    assert run("--version").output == f"readoff {readoff.__version__}\n"


@pytest.mark.parametrize("command", [("runs",), ("show", "1"), ("held",), ("compare", "a", "b")])
def test_the_first_start_says_how_to_begin(bench, command):
    result = run(*command, status=1)
    assert result.stdout == ""
    for way in ("readoff demo", "readoff take", "readoff watch"):
        assert way in result.stderr
    assert not (bench / "readoff.db").exists()


def test_a_file_that_is_no_store(bench):
    (bench / "readoff.db").write_text("notes")
    result = run("runs", status=3)
    assert result.stderr.startswith("readoff: readoff.db: this is not a store of Readoff.")
    assert (bench / "readoff.db").read_text() == "notes"


def test_the_store_by_option_and_environment(bench, monkeypatch):
    run("take", "inbox", "--store", "one.db")
    monkeypatch.setenv("READOFF_STORE", "two.db")
    run("take", "inbox")
    assert {each.name for each in bench.iterdir()} == {"inbox", "one.db", "two.db"}


def test_agent(bench, monkeypatch):
    source = bench / "AGENT"
    source.write_bytes(b"\xcd\x20")
    monkeypatch.setattr("readoff.resources.agent", lambda: source)
    assert "READOFF.COM: 2 octets" in run("agent", "inbox").output
    assert (bench / "inbox" / "READOFF.COM").read_bytes() == b"\xcd\x20"
    assert "no such folder" in run("agent", "nowhere", status=2).stderr
