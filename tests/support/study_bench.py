"""A folder with a study, and the commands run in it: for the tests of studies."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from click.testing import CliRunner, Result

from readoff.cli import main
from support import study_records as records


def prepare(folder: Path, monkeypatch: Any) -> Path:
    """A folder to work in, with the study of REPLAY, and schemas that read the gauge."""
    monkeypatch.chdir(folder)
    monkeypatch.delenv("READOFF_STORE", raising=False)
    monkeypatch.setenv("COLUMNS", "4000")  # no sentence is broken at a hyphen
    (folder / "own").mkdir()
    for name, text in records.GAUGE_SCHEMAS.items():
        (folder / "own" / name).write_text(text)
    monkeypatch.setenv("READOFF_SCHEMAS", str(folder / "own"))
    (folder / "s.toml").write_text(records.STUDY)
    return folder


def run(*arguments: object, status: int | None = 0, stdin: str | None = None) -> Result:
    """A command that ends with a status, without a traceback, and says nothing that is no number."""
    result = CliRunner().invoke(main, [str(each) for each in arguments], input=stdin, prog_name="readoff")
    if not isinstance(result.exception, SystemExit | None):
        raise result.exception
    assert status is None or result.exit_code == status, result.output
    assert not re.search(r"\bnan\b|\binf\b|Traceback", result.output), result.output
    return result


def answer(*arguments: object, status: int = 0) -> Any:
    """The same, in JSON that any reader takes."""

    def refuse(name: str) -> None:
        raise AssertionError(f"{name} in JSON")

    return json.loads(run(*arguments, "--json", status=status).stdout, parse_constant=refuse)


def bring(folder: Path, octets: list[bytes]) -> None:
    """Takes records."""
    inbox = folder / "inbox"
    inbox.mkdir(exist_ok=True)
    start = len(list(inbox.iterdir()))
    for at, each in enumerate(octets, start):
        (inbox / f"{at:05}.RDO").write_bytes(each)
    run("take", "inbox")


def judged(folder: Path, octets: list[bytes], study: str | None = None, status: int = 0) -> tuple[Any, str]:
    """(verdicts in JSON, what is printed) of a study of the gauge."""
    (folder / "g.toml").write_text(study or records.gauge_study())
    bring(folder, octets)
    text = " ".join(run("study", "judge", "g.toml", status=status).output.split())
    return answer("study", "judge", "g.toml", status=status), text
