"""A study without a hand: the agent stands by in the test machine, a host answers, a person does what the screen says.

Everything about the machine and the study is invented.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any, cast

from readoff.arrivals.clerk import Clerk
from readoff.arrivals.desk import Desk
from readoff.arrivals.told import Note, Status, Took
from readoff.box import Box, Drive, Exit
from readoff.box.boot import PowerCut
from readoff.box.scenario import MACHINE
from readoff.cli.common import load_all_schemas
from readoff.contract.record import RecordId
from readoff.link.events import Asked
from readoff.link.steps import GivenStep
from readoff.power import Keeper
from readoff.reports.steps import given_step
from readoff.store import Store, open_store
from readoff.studies import Study
from support.agent_box import AGENT, PROGRAMS
from support.box_programs import assemble

WAITS = r"""
study = "waits"
machine = "an invented board"
boots = 3
seed = 4
repeats = 2
cold = false

[[configurations]]
label = "two-waits"
changes = "two wait states, as it was found"

[[configurations]]
label = "one-wait"
changes = "one wait state, in the setup"
may_differ = ["cmos.*", "processor.*", "cpu.*", "speed.*"]

[[configurations]]
label = "no-wait"
changes = "no wait states, in the setup"
may_differ = ["cmos.*", "processor.*", "cpu.*", "speed.*"]

[[programs]]
name = "replay"
path = 'C:\REPLAY.COM'
arguments = "100"

[[programs]]
name = "loop"
path = 'C:\INTLOOP.COM'
arguments = "3000"

[[metrics]]
metric = "passes_per_second"
program = "loop"
"""

SECOND = 10**12
HANGS = assemble("main: sti\n.again: hlt\n jmp .again\n")


class StudyHost:
    """The host at the far end of the line: the real desk, store and planner, without threads.

    on_step: called with each question and its answer before the answer goes out.
    """

    def __init__(self, path: Path, study: Study, keeper: Keeper | None = None) -> None:
        self.path, self.study, self.keeper = path, study, keeper
        self.on_step: Callable[[Asked, GivenStep], None] = lambda asked, step: None
        self.told: list[Took | Note] = []
        self.there = True
        self.start()

    def start(self) -> None:
        """Starts the host, or starts it again: nothing is left of it but the store."""
        if hasattr(self, "store"):
            self.store.close()
        self.store: Store = open_store(self.path, load_all_schemas(None))
        # In the place of the clerk, which only hands over between threads.
        self.desk = Desk(cast(Clerk, self), Status("the line", "line"))
        self.there = True

    def exchange(self, now: int, octets: bytes) -> bytes:
        """As the test machine's lines ask their peers."""
        if not self.there:
            return b""
        out = bytearray()
        desk = self.desk
        desk.attend(desk.receiver.receive(octets), out.extend)
        return bytes(out)

    def take(self, octets: bytes, came_from: str) -> Any:
        return self.store.take(octets, came_from)

    def known(self, id: RecordId, length: int, check: int) -> bool:
        return self.store.known(id, length, check)

    def step(self, asked: Asked) -> GivenStep:
        if self.keeper is not None:
            self.keeper.heard(asked)
        step = given_step(self.store, self.study, asked, self.keeper and self.keeper.answer)
        self.on_step(asked, step)
        return step

    def tell(self, what: Took | Note) -> None:
        self.told.append(what)


@dataclass
class Room:
    """A machine that can be made into each configuration, and the person in front of it.

    options: more of STANDBY's. tampered: the configuration in which a resident program gets loaded at every boot.
    """

    host: StudyHost
    tampered: str = ""
    options: str = ""
    label: str = ""
    warm: bool = False
    next_label: str = ""
    instead: tuple[str, bytes] | None = None
    clock: datetime = field(default_factory=lambda: MACHINE.started_at)
    starts: int = 0
    deeds: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.drive = Drive()
        self.drive.write("READOFF.COM", AGENT.read_bytes())
        for name in ("REPLAY.COM", "INTLOOP.COM", "STAYS.COM"):
            self.drive.write(name, (PROGRAMS / name).read_bytes())
        self.drive.write(r"SPOOL\README.TXT", b"")
        self.label = self.label or self.host.study.labels[0]
        self.boxes = {
            label: Box(replace(MACHINE, clocks_per_octet=4.0 - at / 4, cmos=((0x34, at),)), {"C": self.drive})
            for at, label in enumerate(self.host.study.labels)
        }

    @property
    def box(self) -> Box:
        """The machine as it is now."""
        return self.boxes[self.label]

    def start(self, cut_at: float | None = None) -> Exit:
        """From power-up or reset to the prompt, the next reset, or until the power goes: as AUTOEXEC.BAT has it.

        cut_at: virtual seconds after which the power goes.
        """
        self.starts += 1
        box = self.box
        box.boot(self.starts, cold=not self.warm, at=self.clock)
        box.line(1).attach(self.host)
        self.warm = False
        if cut_at is not None:
            box.cut_power_at(cut_at)
        if self.label == self.tampered:
            box.run(r"C:\STAYS.COM")
        ended = box.run(r"C:\READOFF.COM", rf"STANDBY /S:COM1,115200 /D:C:\SPOOL {self.options}")
        if ended.kind == "reset":
            self.deeds.append(ended.how)
            self.warm = True
        if ended.kind != "ended":
            self.clock = box.shown_at
        self.label, self.next_label = self.next_label or self.label, ""
        return ended

    def start_until_done(self, most: int) -> list[Exit]:
        """Starts it again and again, until the agent leaves to the prompt; after its reset in a hang it is mended."""
        ends = [self.start()]
        while ends[-1].kind != "ended":
            if ends[-1].how == "FFFF:0000":
                self.mend()
            assert len(ends) < most
            ends.append(self.start())
        return ends

    def in_a_while(self, seconds: float, what: Callable[[], None]) -> None:
        """Lets something happen, so many virtual seconds from now."""
        boot = self.box.on
        boot.timetable.at(boot.engine.now() + round(seconds * SECOND), what)

    def person(self) -> None:
        """Reads the screen and does what stands there."""
        text = " ".join(" ".join(self.box.screen_rows()).split())
        assert "Boot " in text, text
        words = text[text.rindex("Boot ") :]
        assert "Do not leave an old machine running unwatched." in words, text
        if "Make sure that the machine is now" in words:
            self.deeds.append("looked")
            self.box.type_at(0.1, " ")
            return
        asked = words.split("- ")[0].rstrip()
        assert asked.endswith(("Then reset it.", "and switch on again.")), words
        study = self.host.study
        (label,) = [each.label for each in study.configurations if f": {each.changes}." in words]
        self.deeds.append(f"made it {label}")
        self.reset(label)
        self.warm = asked.endswith("Then reset it.")
        raise PowerCut

    def hang(self, path: str) -> None:
        """Puts a program that hangs in the place of one, for one boot; the person waits, then resets the machine."""
        self.instead = path.removeprefix("C:\\"), self.drive.read(path.removeprefix("C:\\"))
        self.drive.write(self.instead[0], HANGS)
        self.in_a_while(30.0, self.give_up)

    def mend(self) -> None:
        """Puts the program back that hang took away."""
        if self.instead is not None:
            self.drive.write(*self.instead)
            self.instead = None

    def give_up(self) -> None:
        """The person has waited long enough."""
        self.deeds.append("gave up on a hang")
        self.reset()
        raise PowerCut

    def outlet(self) -> None:
        """A switched outlet has taken the power away, and given it back."""
        self.deeds.append("switched by the bench")
        self.warm = False
        raise PowerCut

    def reset(self, label: str = "") -> None:
        """The button on the case, with the machine made into another configuration; PowerCut has to follow."""
        self.next_label = label
        self.mend()
        self.warm = True
