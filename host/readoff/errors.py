"""The one root of all errors that Readoff raises on purpose.

Each says what happened, where, and what to do next; nobody instantiates the root.
"""

from __future__ import annotations

from collections.abc import Sequence

from readoff.names import printable


class ReadoffError(Exception):
    """Root of all our errors.

    what: one sentence without a full stop. where: the place (file, field path, octet offset,
    line and key), or "" where there is none. next_step: what the person can do now, or "".
    """

    def __init__(self, what: str, *, where: str = "", next_step: str = "") -> None:
        self.what = what
        self.where = where
        self.next_step = next_step
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """All of it in one line: ``where: what. next_step.``"""
        place = f"{printable(self.where)}: " if self.where else ""
        advice = f" {self.next_step}" if self.next_step else ""
        stop = "" if self.what.endswith("?") else "."
        return f"{place}{self.what}{stop}{advice}"


class ContractError(ReadoffError):
    """A declaration in protocols/*.toml or a user's layout is wrong (our side or the schema's)."""


class MalformedError(ReadoffError):
    """Octets that came from outside do not fit the contract (their side)."""


class SchemaError(ReadoffError):
    """A reading schema is wrong; where = file, line and key.

    faults: every fault of every schema looked at, one sentence each, where they were gathered.
    """

    def __init__(
        self, what: str, *, where: str = "", next_step: str = "", faults: Sequence[str] = ()
    ) -> None:
        self.faults = tuple(faults)
        super().__init__(what, where=where, next_step=next_step)

    @classmethod
    def of(cls, faults: Sequence[str]) -> SchemaError:
        """All faults of some schemas as one error."""
        count = "one fault" if len(faults) == 1 else f"{len(faults)} faults"
        return cls(f"{count} in the schemas:\n  " + "\n  ".join(faults), faults=faults)


class StudyError(ReadoffError):
    """A study file is wrong; faults: every one of them, one sentence each with its place."""

    def __init__(
        self, what: str, *, where: str = "", next_step: str = "", faults: Sequence[str] = ()
    ) -> None:
        self.faults = tuple(faults)
        super().__init__(what, where=where, next_step=next_step)


class StoreError(ReadoffError):
    """The store cannot do what was asked (locked, full, newer than this program, not a store)."""


class NoStoreYetError(ReadoffError):
    """There is no store where one is to be looked at: nothing has been taken yet."""


class LineError(ReadoffError):
    """A serial line cannot be opened or used."""


class JudgeRefusal(ReadoffError):  # noqa: N818 - a refusal is an answer, named so on the screen too
    """The judge declines to give a finding, and says why."""


class UsageError(ReadoffError):
    """A command was asked for something that does not exist or does not fit together."""


class AnswerError(ReadoffError):
    """The answer cannot be written to where it was sent."""


class BoxError(ReadoffError):
    """The test machine was asked for something that it does not imitate, or ran away."""


class PowerError(ReadoffError):
    """A bench file, which names the commands that switch the power, is wrong or not safe to use."""
