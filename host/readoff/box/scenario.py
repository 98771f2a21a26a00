"""The demo's scenario: an invented machine in two invented configurations, and what is run on it.

Nothing here stands for a real product, and no figure that comes of it says anything about real hardware.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from readoff import resources
from readoff.box.drives import Drive
from readoff.box.line import Stream
from readoff.box.machine import Box
from readoff.box.spec import MachineSpec, Processor
from readoff.errors import BoxError

MACHINE = MachineSpec(
    name="an invented 286 at 6 MHz",
    processor=Processor.I80286,
    clock_hz=6_000_000,
    clocks_per_octet=4.0,
    extended_kb=384,
    display="ega",
    uart="16550a",
    rom_text="Test machine in software, no real product",
    seed=1987,
    boot_spread=0.004,
    run_spread=0.0015,
)
BASE, OTHER = "one-wait", "zero-wait"
# One clock of waiting the less on a quarter of all fetches: so much faster the invented board gets.
CONFIGURATIONS = {BASE: MACHINE, OTHER: replace(MACHINE, clocks_per_octet=3.75, cmos=((0x34, 1),))}
"""Label -> machine. The second one's setup also holds another value at CMOS 34h: the changed setting."""

BOOTS, REPEATS = 3, 2
STUDY = rf"""# The demo as a study. Everything in it is invented; it is read, judged and published as any other.
study = "One wait state, or none"
machine = "{MACHINE.name}"
invented = true
boots = {BOOTS}
repeats = {REPEATS}
currency = "EUR"

[[configurations]]
label = "{BASE}"
changes = "one wait state, as it was found"

[[configurations]]
label = "{OTHER}"
changes = "no wait state, in the setup"
# A real processor's clock does not change with the wait states of its memory; the test machine waits at every octet.
may_differ = ["cmos.*", "speed.mhz"]
price = 5

[[programs]]
name = "replay"
path = 'C:\REPLAY.COM'
arguments = "800"

[[programs]]
name = "intloop"
path = 'C:\INTLOOP.COM'
arguments = "24000"

[[metrics]]
program = "replay"
metric = "shown_rate"

[[metrics]]
program = "intloop"
metric = "dmips"

[[targets]]
program = "replay"
metric = "shown_rate"
at = 270
words = "fluent"
"""
PROGRAMS = {"REPLAY.COM": "800", "INTLOOP.COM": "24000"}
"""Sample program -> its arguments."""

SPOOL = r"C:\SPOOL"
# The line's virtual time may run so much faster than the wall clock while it waits for the host.
LINE_SPEED = 24.0


@dataclass(frozen=True)
class Step:
    """One start of the agent. number: from 1, of ``steps`` in all."""

    number: int
    steps: int
    label: str
    boot: int
    program: str
    arguments: str

    @property
    def command(self) -> str:
        """What stands on the old machine's command line after READOFF."""
        name = self.program.partition(".")[0].lower()
        return (
            f"RUN /L:{self.label} /P:{name} /N:{REPEATS} /D:{SPOOL} /S:COM1,115200 /KEEP "
            f"C:\\{self.program} {self.arguments}"
        )


def plan() -> list[Step]:
    """All steps in order: the configurations take turns boot by boot, so that a drift falls on both."""
    turns = [
        (label, boot, program, arguments)
        for boot in range(1, BOOTS + 1)
        for label in CONFIGURATIONS
        for program, arguments in PROGRAMS.items()
    ]
    return [Step(number, len(turns), *turn) for number, turn in enumerate(turns, 1)]


def play(address: tuple[str, int], spool: Path, before: Callable[[Step], None]) -> Iterator[tuple[Step, str]]:
    """Does the whole plan on the box, with its line at a TCP port where the host listens.

    spool: a folder into which the old machine's spool is copied at the end. before: called before each step.
    Yields each step with what the agent said. Raises BoxError when the machine, or the agent, fails.
    """
    drive = _drive()  # one machine, one disk: only the setting changes
    boxes = {label: Box(spec, {"C": drive}) for label, spec in CONFIGURATIONS.items()}
    booted = ("", 0)
    for step in plan():
        before(step)
        box = boxes[step.label]
        if (step.label, step.boot) != booted:
            if booted[0]:
                boxes[booted[0]].power_off()
            box.boot(_chance(step))
            booted = (step.label, step.boot)
        with socket.create_connection(address) as line:
            line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            box.line(1).attach(Stream(line.fileno(), speed=LINE_SPEED))
            ended = box.run(r"C:\READOFF.COM", step.command)
            box.line(1).detach()
        said = ended.console.decode("cp437")
        if (ended.kind, ended.code) != ("ended", 0):
            how = f"exit code {ended.code}" if ended.kind == "ended" else f"{ended.kind} {ended.code}"
            raise BoxError(
                f"the agent ended with {how}: {said.strip()}",
                where=f"READOFF {step.command}",
            )
        yield step, said
    _copy_spool(drive, spool)


def _chance(step: Step) -> int:
    """Boot 1 of one configuration is not dealt the same luck as boot 1 of the other."""
    return step.boot + 100 * list(CONFIGURATIONS).index(step.label)


def _drive() -> Drive:
    drive = Drive()
    drive.write("READOFF.COM", resources.agent().read_bytes())
    for name in PROGRAMS:
        drive.write(name, resources.sample_program(name).read_bytes())
    drive.write(r"SPOOL\README.TXT", b"Records wait here until the host has kept them.\r\n")
    return drive


def _copy_spool(drive: Drive, folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name in drive.list(r"SPOOL\*.RDO"):
        base = name.rpartition("\\")[2]
        (folder / os.path.basename(base)).write_bytes(drive.read(name))  # noqa: PTH119 - a DOS name, cut to its base
