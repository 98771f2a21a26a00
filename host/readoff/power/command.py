"""One command: started as it stands, with a time limit, and its end told. Never through a shell."""

from __future__ import annotations

import contextlib
import os
import shlex
import signal
import subprocess
import tempfile
import time
from dataclasses import dataclass

from readoff.power.declared import Command

OUTPUT_TOLD = 200
"""Octets of what a command prints that are told."""
_KILL_SECONDS = 2.0


@dataclass(frozen=True)
class Ended:
    """How a command ended. seconds: it took. why_not: why it is no success, or "". printed: the end of its output."""

    command: Command
    seconds: float
    why_not: str = ""
    printed: str = ""

    @property
    def sentence(self) -> str:
        """In one line."""
        how = f"did not do it: {self.why_not}" if self.why_not else "done"
        printed = f" [{self.printed}]" if self.printed else ""
        return f"{shlex.join(self.command)}: {how}, after {self.seconds:.1f} s{printed}"


def run_command(command: Command, seconds: float) -> Ended:
    """Starts a command and waits for its end, ``seconds`` at most; then it is killed with all that it started.

    Status 0 is success. Never raises for what a command does or is.
    """
    begun = time.monotonic()
    with tempfile.TemporaryFile() as output:
        try:
            process = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=os.name == "posix",
            )
        except (OSError, ValueError) as error:
            reason = error.strerror if isinstance(error, OSError) else str(error)
            return Ended(command, time.monotonic() - begun, f"it cannot be started ({reason})")
        try:
            status = process.wait(seconds)
            why_not = "" if status == 0 else f"it ended with status {status}"
        except subprocess.TimeoutExpired:
            _kill(process)
            why_not = f"it had not ended after {seconds:g} s, and was killed"
        return Ended(command, time.monotonic() - begun, why_not, _end_of(output.fileno()))


def _kill(process: subprocess.Popen[bytes]) -> None:
    """Kills a command of ours, and in its session whatever it has started."""
    with contextlib.suppress(OSError):
        if os.name == "posix":
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(_KILL_SECONDS)


def _end_of(output: int) -> str:
    size = os.fstat(output).st_size
    os.lseek(output, max(0, size - OUTPUT_TOLD), os.SEEK_SET)
    text = os.read(output, OUTPUT_TOLD).decode("utf-8", "replace")
    return " ".join("".join(each if each.isprintable() else " " for each in text).split())
