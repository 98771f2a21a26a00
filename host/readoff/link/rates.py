"""Both sides' agreement on the line's rate, as two machines without a clock: time is passed in, in seconds.

A rate is named by its divisor of 115,200 bits a second. Both sides begin at the start rate, where a line always works,
and neither can be left alone at another one: whoever hears nothing sound for long goes back there by itself.

The agent (RateSeeker; fastest: the least divisor it may use, which every failure raises):

    state     what comes or passes                 goes to   what is sent
    --------  -----------------------------------  --------  ----------------------------------------------
    greeting  welcome, and a faster rate is left   asking    rate, each ASK_EVERY
    greeting  welcome, none is left                settled   (at the start rate)
    asking    agreed on the start rate             settled
    asking    agreed on another                    changing  nothing for CHANGE; the port goes to it
    asking    ASKS without an answer               settled   (at the start rate)
    changing  CHANGE                               trying    trial, each TRIAL_WAIT
    trying    TRIALS_HEARD answers                 settled   (at the new rate)
    trying    TRIALS sent, too few answered        greeting  (at the start rate; fastest is the next slower one)
    settled   retreat: too much is lost            leaving   rate with the start divisor, twice, at the old rate
    leaving   both are sent                        greeting  (at the start rate; fastest is the next slower one)

The host (HostRate):

    at the start rate   rate         answers agreed; goes to what it has answered, trying
    trying              data, offer  holds
    not at the start    rate_trying ms without a sound frame since the change; once it holds: rate_silent ms without
                        one, rate_noisy ms when noise came meanwhile; hello, bye: goes back to the start rate
"""

from __future__ import annotations

from readoff.link.frames import Message, build_message, limit_of

START = limit_of("rate_start_divisor")
LADDER = (1, 2, 3, 6, 12, 24, 48, 96, 384)
"""Divisors of the usual rates, 115,200 to 300."""
ASK_EVERY, ASKS = 0.5, 5
"""Together longer than a host whose answer was lost stays away (rate_trying)."""
CHANGE = 0.055
"""Seconds that the host has to let its answer out and set its port."""
TRIAL_WAIT, TRIALS, TRIALS_HEARD = 0.165, 5, 3
PATTERN = bytes.fromhex("55 AA 00 FF 0F F0 33 CC") * (limit_of("trial_size") // 8)


def rate_of(divisor: int) -> int:
    """Bits a second."""
    return limit_of("rate_base") // divisor


def divisor_of(rate: int) -> int:
    """The nearest divisor for a rate in bits a second, at least 1."""
    return max(1, round(limit_of("rate_base") / rate))


def start_for(fastest: int) -> int:
    """The start divisor where a person named the fastest one: a slower rate than the usual start is the start."""
    return max(START, fastest)


def slower(divisor: int) -> int:
    """The next divisor down the ladder."""
    return next((each for each in LADDER if each > divisor), divisor)


class HostRate:
    """The host's side. fastest: the least divisor that its port may use; without one it stays at the start rate.

    divisor: what the port should be at, once all that was answered is out. trying: it has not held yet.
    """

    def __init__(self, fastest: int = START) -> None:
        self.start, self.fastest = start_for(fastest), fastest
        self.divisor = self.start
        self.trying = False
        self._sound_at = 0.0
        self._noisy = False

    def asked(self, divisor: int, now: float) -> int:
        """The agent asks for a divisor; gives the answer, which is where the host goes."""
        self.divisor = self.start if divisor >= self.start else max(divisor, self.fastest)
        self.trying, self._sound_at, self._noisy = self.divisor != self.start, now, False
        return self.divisor

    def sound(self, kind: str, now: float) -> bool:
        """A sound frame came; says whether a rate that was being tried holds from now on."""
        self._sound_at, self._noisy = now, False
        if kind in ("hello", "bye"):
            self.back()
        holds = self.trying and kind not in ("rate", "trial")
        if holds:
            self.trying = False
        return holds

    def noise(self) -> None:
        """Octets came that are no frame."""
        self._noisy = True

    def passed(self, now: float) -> bool:
        """Time has passed; says whether the host went back to the start rate for it."""
        kind = "rate_trying" if self.trying else "rate_noisy" if self._noisy else "rate_silent"
        if self.divisor == self.start or now - self._sound_at < limit_of(kind) / 1000:
            return False
        self.back()
        return True

    def stay(self) -> None:
        """The port can't be set to another rate: from now on the start rate is the only one."""
        self.fastest = self.start
        self.back()

    def back(self) -> None:
        """To the start rate, as when a port is opened."""
        self.divisor, self.trying = self.start, False


class RateSeeker:
    """The agent's side. divisor: what its port should be at, for what is sent next.

    due: when to call to_send again though nothing was heard.
    """

    def __init__(self, fastest: int) -> None:
        self.start, self.fastest = start_for(fastest), fastest
        self.divisor = self.start
        self.state = "greeting"
        self.due = float("-inf")
        self._asks = self._number = 0
        self._answered: set[int] = set()

    @property
    def settled(self) -> bool:
        """Whether records may be offered now."""
        return self.state == "settled"

    def welcomed(self, now: float) -> None:
        """The host answers at the start rate."""
        if self.state == "greeting":
            self.state = "asking" if self.fastest < self.start else "settled"
            self._asks, self.due = ASKS, now

    def retreat(self) -> bool:
        """Too much is lost at this rate: give it up. False at the start rate: there is none to go to."""
        if not self.settled or self.divisor == self.start:
            return False
        self.state, self._asks = "leaving", 2
        return True

    def to_send(self, now: float) -> bytes:
        """The payload of the next frame, or nothing."""
        if self.state == "leaving":
            return self._leave()
        if self.state in ("greeting", "settled") or now < self.due:
            return b""
        if self.state == "asking":
            return self._ask(now)
        if self.state == "changing":
            self.state = "trying"
            self._number = 0
            self._answered.clear()
        if self._number == TRIALS:
            self._give_up()
            return b""
        self._number += 1
        self.due = now + TRIAL_WAIT
        return build_message("trial", number=self._number, octets=PATTERN)

    def hear(self, message: Message, now: float) -> None:
        """Takes a frame of the host."""
        if self.state == "asking" and message.kind == "agreed":
            self._agreed(message.values["divisor"], now)
        elif self.state == "trying" and message.kind == "heard":
            self._heard(message.values["number"], message.values["octets"], now)

    def _ask(self, now: float) -> bytes:
        if not self._asks:
            self.state = "settled"
            return b""
        self._asks -= 1
        self.due = now + ASK_EVERY
        return build_message("rate", divisor=self.fastest)

    def _agreed(self, divisor: int, now: float) -> None:
        if not self.fastest <= divisor < self.start:
            self.state = "settled"
            return
        self.divisor, self.state, self.due = divisor, "changing", now + CHANGE

    def _heard(self, number: int, octets: bytes, now: float) -> None:
        if octets != PATTERN or not 1 <= number <= self._number:
            return
        self._answered.add(number)
        if number == self._number:
            self.due = now
        if len(self._answered) == TRIALS_HEARD:
            self.state = "settled"

    def _leave(self) -> bytes:
        if not self._asks:
            self._give_up()
            return b""
        self._asks -= 1
        return build_message("rate", divisor=self.start)

    def _give_up(self) -> None:
        self.fastest, self.divisor, self.state = slower(self.divisor), self.start, "greeting"
