"""DOSBox 0.74 without a screen, for tests: a folder as drive C:, batch lines, an end of its own accord.

Each run has a configuration and home folder of its own, so that runs side by side don't meet. A run
ends when its last command has ended (the harness adds EXIT); the time limit is a net for hangs only.
Starting and leaving DOSBox takes about 0.65 s on the machine this was written on, almost all of it
processor time.

What DOSBox 0.74 does not do, as tried with our own programs (tests/dosbox asserts what is marked *):

* nobody presses keys. KEYS.COM types ahead into the BIOS keyboard buffer, which programs then read *;
* Ctrl-C typed so is handed to the program as character 3, the program is not ended *;
* a division by zero hangs (INT 0 has no handler that returns behind it) *;
* INT 29h, INT 10h and direct writes go to the screen, past a redirection; SCREEN.COM shows them *;
* console characters do not nest: INT 21h calls neither INT 29h nor INT 10h through the vectors;
* files that the host puts into the folder later are seen only after the command RESCAN *;
* the BIOS tick count does not start anew at midnight (CLOCKSET.COM makes it) *;
* the shell has no FOR, and takes a redirection for the whole line, also behind IF;
* what is appended to the file that a program redirected to when it stayed by INT 27h is lost;
* COM1 over TCP gathers what it sends for 12 ms: octets sent right before DOSBox ends are lost.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict, Unpack

PROGRAMS = Path(__file__).resolve().parent.parent / "dos_programs"

# The commands become AUTOEXEC.BAT inside DOSBox 0.74, which holds 4096 octets with DOSBox's own lines.
_MOST_COMMAND_OCTETS = 3500

_CONFIGURATION = """\
[sdl]
fullscreen=false
output=surface
priority=normal,normal
[dosbox]
machine={machine}
memsize=16
[cpu]
core={core}
cputype={cputype}
cycles={cycles}
[mixer]
nosound=true
[midi]
mpu401=none
mididevice=none
[sblaster]
sbtype=none
oplmode=none
[speaker]
pcspeaker=false
tandy=off
disney=false
[joystick]
joysticktype=none
[serial]
serial1={serial1}
serial2=disabled
serial3=disabled
serial4=disabled
[autoexec]
@echo off
mount c "{folder}"
c:
cls
{commands}
exit
"""


class DosBoxError(AssertionError):
    """A run of DOSBox could not start, did not end or ended badly; the text says which and shows what is there."""


@dataclass
class RunningDosBox:
    """A DOSBox at work on ``folder``; ``wait`` gives what it left there."""

    folder: Path
    time_limit: float
    process: subprocess.Popen[bytes]
    log: Path

    def wait(self) -> dict[str, bytes]:
        """Wait for DOSBox to end; return the folder's files by their path in it (``OUT.TXT``, ``SUB/A.DAT``).

        Raises DosBoxError when it doesn't end within the time limit (it is killed) or reports a failure.
        """
        try:
            status = self.process.wait(self.time_limit)
        except subprocess.TimeoutExpired:
            self.stop()
            raise DosBoxError(self._account(f"DOSBox did not end within {self.time_limit:g} s")) from None
        if status != 0:
            raise DosBoxError(self._account(f"DOSBox ended with status {status}"))
        return files_of(self.folder)

    def stop(self) -> None:
        """Kill DOSBox if it still runs."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()

    def _account(self, what: str) -> str:
        listing = [f"  {len(octets):8d} {name}" for name, octets in files_of(self.folder).items()]
        tail = self.log.read_text("utf-8", "replace").splitlines()[-15:]
        return "\n".join([f"{what}.", f"Files in {self.folder}:", *listing, "DOSBox said last:", *tail])


def files_of(folder: Path) -> dict[str, bytes]:
    """All files under ``folder``: their octets by their path in it, with ``/``, sorted."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def put_programs(folder: Path, *names: str) -> None:
    """Copy our sample programs (``"WAYS.COM"``; all of them without names) into ``folder``."""
    for path in [PROGRAMS / name for name in names] or sorted(PROGRAMS.glob("*.COM")):
        shutil.copyfile(path, folder / path.name)


class Setup(TypedDict, total=False):
    """What kind of PC DOSBox plays, and how long it may take.

    serial1: what COM1 is, as from ``support.serial_lines``. machine: svga_s3, vgaonly, ega, cga, hercules ...
    cycles: "max", or "fixed N" (N instructions a millisecond). cputype, core: as DOSBox names them.
    time_limit: seconds, for ``wait``.
    """

    serial1: str
    machine: str
    cycles: str
    cputype: str
    core: str
    time_limit: float


_USUAL: Setup = {
    "serial1": "disabled",
    "machine": "svga_s3",
    "cycles": "max",
    "cputype": "auto",
    "core": "auto",
    "time_limit": 120.0,
}


@contextmanager
def dosbox(folder: Path, commands: Sequence[str], **setup: Unpack[Setup]) -> Iterator[RunningDosBox]:
    """DOSBox started on ``commands`` (batch lines on drive C: = ``folder``), stopped at the end of the block.

    The screen is cleared and echo is off when the commands begin.
    Raises DosBoxError when DOSBox isn't there or the commands are too long for it.
    """
    program = shutil.which("dosbox")
    if program is None:
        raise DosBoxError("dosbox is not installed; these tests need it (Debian: apt-get install dosbox)")
    lines = "\n".join(commands)
    if len(lines) > _MOST_COMMAND_OCTETS:
        raise DosBoxError(
            f"{len(lines)} octets of commands; DOSBox takes {_MOST_COMMAND_OCTETS}. Use a .BAT file"
        )
    chosen = _USUAL | setup
    with tempfile.TemporaryDirectory(prefix="readoff-dosbox-") as own:
        configuration = Path(own, "dosbox.conf")
        filled = _CONFIGURATION.format(folder=folder.resolve(), commands=lines, **chosen)
        configuration.write_text(filled, "utf-8")
        log = Path(own, "log.txt")
        environment = os.environ | {"SDL_VIDEODRIVER": "dummy", "SDL_AUDIODRIVER": "dummy", "HOME": own}
        with log.open("wb") as log_file:
            process = subprocess.Popen(
                [program, "-conf", str(configuration)],
                stdin=subprocess.DEVNULL,
                stdout=log_file,
                stderr=subprocess.STDOUT,
                cwd=own,
                env=environment,
            )
        running = RunningDosBox(folder, chosen["time_limit"], process, log)
        try:
            yield running
        finally:
            running.stop()


def run_dosbox(folder: Path, commands: Sequence[str], **setup: Unpack[Setup]) -> dict[str, bytes]:
    """Run ``commands`` to their end; parameters, result and errors as for ``dosbox`` and its ``wait``."""
    with dosbox(folder, commands, **setup) as running:
        return running.wait()
