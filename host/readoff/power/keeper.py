"""When the power may be switched: asked for each question of an agent, it answers with what the agent is told.

    state      what comes                                            becomes
    ---------  ----------------------------------------------------  ------------------------------------------
    idle       a question whose step is to switch off and on          told "power": get ready
    idle       the agent's word that it is ready, and nothing on the  switching, in a thread; told "wait"
               way, nobody holds, the last switching long enough ago
    switching  any question                                           told "wait"
    switching  the commands are done                                  back is waited for, or failed
    back       a question from another boot                           idle
    back       a question from the same boot: it kept its power       failed
    back       no question in boot_seconds                            told to people; it goes on waiting
    failed     a question whose step is the same                      a person is asked, and told why
    failed     the plan has gone on                                   idle

Nothing that an agent says names a command; all that it can bring about is what the plan asks for anyway.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from readoff.link.events import Asked
from readoff.link.steps import GivenStep
from readoff.power.cycle import Cycled, cycle, dry, held
from readoff.power.declared import Bench

MOST_TRIES = 2
"""Times that the power is switched for one and the same boot of the plan; then a person is asked."""
MOST_RESTLESS = 6
"""Times that the agent's word is not believed, because records are on the way, before a person is asked."""
SETTLE_SECONDS = 2.0
"""Between the last word to the agent and switching off: its words are on the screen then."""
_READY = "The bench is about to switch this machine off and on by itself. Hands off; ESC keeps it on."


@dataclass
class _Machine:
    """What is remembered of one machine.

    step: token of the plan's step that the power was last to be switched for. boot: nonce of the boot that it was
    switched off in, None once the machine was heard again. dry_told: step that a dry run was told for.
    """

    step: int = 0
    tries: int = 0
    restless: int = 0
    boot: int | None = None
    failed: str = ""
    dry_told: int = 0


class Keeper:
    """Keeps the power of one bench. tell: hears what is done, a line each, from any thread.

    switch: what switches off and on (power.cycle). now: seconds that only go on. pause: waits for seconds.
    """

    def __init__(
        self,
        bench: Bench,
        tell: Callable[[str], None],
        *,
        switch: Callable[[Bench, Callable[[str], None]], Cycled] = cycle,
        now: Callable[[], float] = time.monotonic,
        pause: Callable[[float], None] = time.sleep,
    ) -> None:
        self.bench = bench
        self._tell, self._switch, self._now, self._pause = tell, switch, now, pause
        self._machines: dict[str, _Machine] = {}
        self._lock = threading.Lock()
        self._back = threading.Event()
        self._worker: threading.Thread | None = None
        self._switching = False
        self._on_at = float("-inf")

    def answer(self, asked: Asked, person: GivenStep) -> GivenStep:
        """What an agent is told in the place of a step for a person that is to switch off and on and nothing else."""
        serial = f"{asked.agent_serial:08X}"
        if serial not in self.bench.agents:
            return person
        with self._lock:
            machine = self._machines.setdefault(serial, _Machine())
            if self._switching:
                return self._wait()
            if person.token != machine.step:
                machine.step, machine.tries, machine.restless, machine.failed = person.token, 0, 0, ""
            reason = machine.failed or self._why_not(machine)
            if reason:
                return replace(person, words=f"{person.words} (The bench does not do it: {reason}.)")
            return self._go(machine, asked, person)

    def heard(self, asked: Asked) -> None:
        """Any question, whatever its step, before it is answered: the machine is back, or was never off."""
        with self._lock:
            machine = self._machines.get(f"{asked.agent_serial:08X}")
            if machine is None or self._switching or machine.boot is None:
                return
            if machine.boot == asked.boot_nonce:
                machine.failed = "the commands said that they did it, and the machine kept its power"
                self._tell(machine.failed)
            machine.boot = None
            self._back.set()

    @property
    def switching(self) -> bool:
        """Whether the power is being switched at this moment."""
        return self._switching

    def finish(self) -> None:
        """Waits until nothing is being switched: a machine is not left half-way."""
        while self._switching and self._worker is not None:
            self._worker.join(0.2)

    # -- one question ----------------------------------------------------------------------------------------

    def _why_not(self, machine: _Machine) -> str:
        if held(self.bench):
            return f"somebody holds the power ({self.bench.hold})"
        if self.bench.dry_run:
            if machine.dry_told != machine.step:
                machine.dry_told = machine.step
                for line in dry(self.bench):
                    self._tell(f"dry run: {line}")
            return "this is a dry run"
        if machine.tries >= MOST_TRIES:
            return f"it was switched {MOST_TRIES} times for this boot, and the plan has not gone on"
        if machine.restless >= MOST_RESTLESS:
            return "records of this machine are not at rest"
        return ""

    def _go(self, machine: _Machine, asked: Asked, person: GivenStep) -> GivenStep:
        ready = GivenStep("power", f"{person.words} {_READY}", person.cautions)
        if not (asked.told and asked.token == ready.token):
            return ready
        if not asked.at_rest:
            machine.restless += 1
            return ready
        if self._now() - self._on_at < self.bench.rest_seconds:
            return GivenStep("wait", "The machine was switched on a short while ago: it rests.", seconds=10)
        machine.tries += 1
        machine.boot = asked.boot_nonce
        self._back.clear()
        self._switching = True
        self._worker = threading.Thread(target=self._work, args=(machine,), name="power", daemon=True)
        self._worker.start()
        return self._wait()

    def _wait(self) -> GivenStep:
        return GivenStep("wait", "The power goes off now, and on again by itself. Hands off.", seconds=60)

    # -- the thread that switches ------------------------------------------------------------------------------

    def _work(self, machine: _Machine) -> None:
        try:
            self._pause(SETTLE_SECONDS)
            cycled = self._switch(self.bench, self._tell)
        except Exception as error:
            cycled = Cycled(f"a mistake of this program ({type(error).__name__}: {error})", off=True)
            raise
        finally:
            with self._lock:
                self._switching = False
                self._on_at = self._now()
                if cycled.why_not:
                    machine.failed, machine.boot = cycled.why_not, None
        if cycled.why_not:
            after = (
                ". The machine may be without power: a person is needed"
                if cycled.off
                else ": a person is needed"
            )
            self._tell(f"{cycled.why_not}{after}")
        elif not self._back.wait(self.bench.boot_seconds):
            self._tell(f"the machine has not come back in {self.bench.boot_seconds:g} s: a person is needed")
