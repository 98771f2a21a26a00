"""Commands that ask, with their answers; what a person would see, answers and all."""

from __future__ import annotations

from collections.abc import Sequence

import click
from click.testing import CliRunner


def dialogue(
    command: click.Command, arguments: Sequence[str], answers: Sequence[str], status: int = 0
) -> str:
    """What stands on the terminal after a command that asked and got these answers; it must end with this status."""
    result = CliRunner().invoke(
        command, arguments, input="".join(f"{each}\n" for each in answers), prog_name="readoff"
    )
    assert result.exit_code == status, (result.output, result.exception)
    assert "Traceback" not in result.output
    return result.output
