"""Commands called as a person calls them, in this process."""

from __future__ import annotations

import json
from typing import Any

from click.testing import CliRunner, Result

from readoff.cli import main


def run(*arguments: object, status: int = 0) -> Result:
    """Runs a command; it must end with this status, and without a traceback."""
    result = CliRunner().invoke(main, [str(each) for each in arguments], prog_name="readoff")
    assert result.exit_code == status, (result.output, result.exception)
    assert "Traceback" not in result.output
    return result


def answer(*arguments: object, status: int = 0) -> Any:
    """What it answers in JSON."""
    return json.loads(run(*arguments, "--json", status=status).stdout)
