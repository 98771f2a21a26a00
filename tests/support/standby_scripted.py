"""STANDBY in the test machine, with a host that gives the steps that a test wants."""

from __future__ import annotations

from dataclasses import dataclass, field

from readoff.box import AT
from readoff.contract.record import parse_record
from readoff.link.events import Asked
from readoff.link.steps import GivenStep
from support.agent_box import agent_box
from support.box_host import BoxHost


@dataclass
class Scripted(BoxHost):
    """Keeps all records, and answers questions from a list; then there is nothing to do. silent: does not answer."""

    steps: list[GivenStep] = field(default_factory=list)
    asked: list[Asked] = field(default_factory=list)
    silent: bool = False

    def exchange(self, now: int, octets: bytes) -> bytes:
        before = len(self.events)
        out = b"" if self.silent else super().exchange(now, octets)
        for event in self.events[before:]:
            if isinstance(event, Asked):
                self.asked.append(event)
                self.receiver.answer_step(self.steps.pop(0) if self.steps else GivenStep("nothing", "Done."))
        return out + self.receiver.to_send()

    @property
    def runs(self):
        """What was run: the start section of each record of a run."""
        records = [parse_record(octets) for octets in self.store.values()]
        return [record.values("run_start") for record in records if record.kind == "run"]


def stand_by(*steps: GivenStep, spec=AT, options="/S:COM1,38400", before=None):
    """(box, host, exit) of one STANDBY."""
    box, host = agent_box(spec, "WAYS.COM", "EXITCODE.COM"), Scripted(steps=list(steps))
    box.line(1).attach(host)
    if before is not None:
        before(box, host)
    return box, host, box.run("C:\\READOFF.COM", f"STANDBY {options}")
