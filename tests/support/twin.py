"""A twin of an agent that stands by, over a real connection. What it measures is invented."""

from __future__ import annotations

import random

from readoff.contract.record import parse_record
from readoff.link import Asker, Sender, Spooled, Verdict
from readoff.link.events import Asked
from support import store_samples as samples
from support import study_records as records
from support.agent_twin import play


class Twin:
    """An old machine that forgets everything but its spool: only what the steps say is done."""

    def __init__(self):
        self.draw = random.Random(3)
        self.number, self.ordinal, self.minute = 1, 0, 0
        self.warm, self.token, self.spool = False, 0, []

    def boots(self, *, warm):
        self.number, self.ordinal, self.token, self.warm = self.number + 1, 0, 0, warm

    def offer(self, port):
        spool = [Spooled(parse_record(octets).id, octets) for octets in self.spool]
        sender = Sender(records.SERIAL, self.number, spool, patience=0.5)
        play(sender, port)
        self.spool = [e.octets for e in spool if sender.verdicts[e.id] is not Verdict.KEPT]

    def asks(self, port, *, told=False):
        fresh = self.ordinal == 0
        asked = Asked(records.SERIAL, self.number, fresh, self.warm, self.token, told)
        asker = Asker(asked, patience=0.5)
        play(asker, port)
        assert asker.step is not None, "no step came"
        self.token = asker.step["token"]
        return asker.step

    def does(self, step, *, hangs=False):
        """Records of a step go to the spool."""
        self.minute += 1
        self.ordinal += 1
        if step["what"] == "snapshot":
            warm = self.warm
            self.spool.append(records.snapshot(self.number, step["label"], minute=self.minute, warm=warm))
        elif step["what"] == "run":
            rate = (72.9 if step["label"] == "as-found" else 76.5) * self.draw.gauss(1, 0.001)
            self.spool.append(
                records.run(
                    self.number,
                    step["label"],
                    self.ordinal,
                    samples.printed(f"{rate:.1f}"),
                    program=step["program"],
                    path=step["path"],
                    arguments=step["arguments"],
                    minute=self.minute,
                    ends=not hangs,
                )
            )
