"""The study as the tester declared it: the question, before any number is looked at.

What the keys mean is told in docs/studies.md. Nothing here was read from a machine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from fnmatch import fnmatchcase

PER_CENT = 0.01


class ChangeBack(StrEnum):
    """What it takes to change a configuration back: a setting, or a part that has to be fitted."""

    SETTING = "setting"
    FITTING = "fitting"


@dataclass(frozen=True)
class Configuration:
    """One configuration under test.

    changes: what is different, in words. may_differ: patterns of the facts in which it may differ from the
    first. price: what it costs above leaving all as it is, None where nobody said. minutes: what making it
    takes. specimen: which one was fitted, in words. machine: another machine than the study's, or "". caches: how many
    levels of cache its memory staircase has to show; None where nobody said.
    """

    label: str
    changes: str
    how: ChangeBack = ChangeBack.SETTING
    may_differ: tuple[str, ...] = ()
    price: float | None = None
    minutes: float = 0.0
    specimen: str = ""
    machine: str = ""
    caches: int | None = None

    def allows(self, fact: str) -> bool:
        """Whether the study lets this fact differ."""
        return any(fnmatchcase(fact.upper(), pattern.upper()) for pattern in self.may_differ)


@dataclass(frozen=True)
class Program:
    """What is run. name: as the agent is told (/P:). path: on the old machine. minutes: one run takes.

    keys: typed for it (/K:). files: that it writes, whole paths with ';' between them (/F:).
    """

    name: str
    path: str
    arguments: str = ""
    minutes: float = 1.0
    keys: str = ""
    files: str = ""

    @property
    def line(self) -> str:
        """As a person would type it."""
        return f"{self.path} {self.arguments}".rstrip()


@dataclass(frozen=True)
class Wanted:
    """A metric that the study asks for. margin: the smallest difference that matters (0.02 is 2 %)."""

    program: str
    metric: str
    margin: float

    @property
    def title(self) -> str:
        """In words: "rate of replay"."""
        return f"{self.metric} of {self.program}"


@dataclass(frozen=True)
class Target:
    """A line that the tester drew. at: in the unit of the readings. words: what it means."""

    program: str
    metric: str
    at: float
    words: str = ""


@dataclass(frozen=True)
class Earlier:
    """Runs from before the study that join a configuration: all of a label, or records by their ids.

    ids: record ids, or beginnings of them (a boot's, say).
    """

    joins: str
    label: str = ""
    ids: tuple[str, ...] = ()
    why: str = ""

    def names(self, label: str, ident: str) -> bool:
        """Whether a run with this label and record id is meant."""
        if self.ids:
            return any(ident.upper().startswith(each.upper()) for each in self.ids)
        return label == self.label


@dataclass(frozen=True)
class Explanation:
    """Why something that the guard found does not stand against a finding. about: pattern of its short name."""

    about: str
    why: str

    def covers(self, name: str) -> bool:
        """Whether it speaks of the guard's finding of this name."""
        return fnmatchcase(name.upper(), self.about.upper())


@dataclass(frozen=True)
class Excluded:
    """A boot that is left out for a recorded cause; what it would change is shown all the same."""

    boot: str
    why: str


PROBES = ("memory", "display", "disk", "integer", "float")
"""The agent's own probes, as its command line names them."""
SECOND_PARTS = {"extended": "memory", "graphics": "display", "sectors": "disk"}
"""What a probe's second record is called -> the probe."""


@dataclass(frozen=True)
class Study:
    """The whole declaration.

    agents: serials of the agents of the study's machine, () for any. begun: ISO time in UTC; what came to the
    host before it joins by name only; "" for no such border. with_typed: whether numbers that a person typed count.
    invented: whether its data stands for no real machine. noise: standard deviation of boots, taken for
    planning as long as no run tells (0.01 is 1 %). looks: how often the study will be judged. probes: the agent's own
    measurements that each boot begins with, or with probe_once the first of each configuration. send_programs: whether
    the programs' files come home in each boot, so that one that was changed is noticed.
    """

    title: str
    machine: str
    configurations: tuple[Configuration, ...]
    programs: tuple[Program, ...]
    wanted: tuple[Wanted, ...]
    boots: int = 3
    repeats: int = 2
    cold: bool = True
    with_typed: bool = False
    invented: bool = False
    seed: int = 1
    looks: int = 1
    noise: float = 0.01
    minutes_a_boot: float = 3.0
    currency: str = ""
    begun: str = ""
    agents: tuple[str, ...] = ()
    probes: tuple[str, ...] = ()
    probe_once: bool = False
    send_programs: bool = False
    targets: tuple[Target, ...] = ()
    earlier: tuple[Earlier, ...] = ()
    explanations: tuple[Explanation, ...] = ()
    excluded: tuple[Excluded, ...] = ()

    @property
    def base(self) -> Configuration:
        """The configuration that all others are held against."""
        return self.configurations[0]

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of all configurations, the base first."""
        return tuple(each.label for each in self.configurations)

    @property
    def machines(self) -> dict[str, str]:
        """Label -> the machine that it is of."""
        return {each.label: each.machine or self.machine for each in self.configurations}

    @property
    def taken_here(self) -> tuple[Configuration, ...]:
        """The configurations that boots are planned for: those of the study's own machine."""
        return tuple(each for each in self.configurations if not each.machine)

    def configuration(self, label: str) -> Configuration:
        """A configuration by its label. Raises KeyError."""
        return {each.label: each for each in self.configurations}[label]

    def program(self, name: str) -> Program:
        """A program by its name, in any case. Raises KeyError."""
        return {each.name.lower(): each for each in self.programs}[name.lower()]

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Who is held against whom: each against the base, and against the one before it."""
        names = self.labels
        return tuple((names[0], each) for each in names[1:]) + tuple(
            (names[at], names[at + 1]) for at in range(1, len(names) - 1)
        )

    @property
    def comparisons(self) -> int:
        """How many comparisons share the study's 5 %."""
        return len(self.pairs) * len(self.wanted)

    def why(self, name: str) -> str:
        """Why the guard's finding of this name is let pass, or ""."""
        return next((each.why for each in self.explanations if each.covers(name)), "")

    def exclusion(self, boot: str) -> str:
        """Why a boot is left out, or ""."""
        return next((each.why for each in self.excluded if boot.upper() == each.boot.upper()), "")


def margin_share(per_cent: float) -> float:
    """Per cent as the study file has them to a share; never a rounding crumb (2 -> 0.02)."""
    return float(f"{per_cent * PER_CENT:.12g}") if math.isfinite(per_cent) else per_cent
