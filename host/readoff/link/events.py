"""What the receiver tells the edge. Each event is a fact about the line; the edge decides what to do."""

from __future__ import annotations

from dataclasses import dataclass, field

from readoff.contract.record import RecordId


@dataclass(frozen=True)
class AgentSeen:
    """An agent said hello, and was welcomed. agent_serial, boot_nonce: as in its records."""

    agent_serial: int
    boot_nonce: int
    xon_xoff: bool


@dataclass(frozen=True)
class OtherVersion:
    """The agent speaks another version of the link. What can be read of it is still taken."""

    version: int
    ours: int


@dataclass(frozen=True)
class Offered:
    """A record is waiting at the agent. The edge answers with answer_known or answer_new."""

    id: RecordId
    length: int
    check: int


@dataclass(frozen=True)
class Arrived:
    """All octets of a record are here. The edge commits them, then calls kept; or it calls refuse."""

    id: RecordId
    octets: bytes
    check: int


@dataclass(frozen=True)
class StartedAgain:
    """What had come of a record was thrown away, and it is asked for from its beginning."""

    id: RecordId
    lost: int
    why: str


@dataclass(frozen=True)
class LetGo:
    """An unfinished record was let go to bound memory; nothing of it was told kept."""

    id: RecordId
    received: int
    length: int


@dataclass(frozen=True)
class Refused:
    """The receiver itself refused a record; it stays in the agent's spool."""

    id: RecordId
    length: int
    why: str


@dataclass(frozen=True)
class Stray:
    """A sound frame that does not belong here. what: for a person."""

    what: str


@dataclass(frozen=True)
class Noise:
    """Octets that were no frame. octets: how many; sample: the first few, as they came."""

    octets: int
    sample: bytes
    why: str


@dataclass(frozen=True)
class Bye:
    """The agent has nothing more for now. left: records that stay in its spool."""

    left: int


@dataclass(frozen=True)
class RateHolds:
    """The agent goes on at the rate that was tried. rate: bits a second."""

    rate: int


@dataclass(frozen=True)
class RateGivenUp:
    """Nothing sound came for long: back at the start rate. rate: the one that was left, in bits a second."""

    rate: int


@dataclass(frozen=True)
class Asked:
    """An agent that stands by asks for a step; the edge answers with answer_step.

    fresh: it found no boot mark. warm: the machine was reset without switching on. token: of the step that it was
    given last, 0 for none. told: the person has said that this step is done; of a power step the agent itself.
    at_rest: no record is on its way on this line, and by the agent's last word none is left in its spool.
    """

    agent_serial: int
    boot_nonce: int
    fresh: bool = False
    warm: bool = False
    token: int = 0
    told: bool = False
    at_rest: bool = field(default=False, compare=False)

    @property
    def boot(self) -> str:
        """The boot that asks, as record ids begin."""
        return f"{self.agent_serial:08X}-{self.boot_nonce:08X}"


Event = (
    AgentSeen
    | OtherVersion
    | Offered
    | Arrived
    | StartedAgain
    | LetGo
    | Refused
    | Stray
    | Noise
    | Bye
    | Asked
    | RateHolds
    | RateGivenUp
)
