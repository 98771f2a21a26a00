"""The line as pure state machines: octets in, events and octets out. No clock, no port, no store."""

from readoff.link.asker import Asker
from readoff.link.framing import Deframer, Frame, Skipped, frame
from readoff.link.receiver import Receiver
from readoff.link.sender import Sender, Spooled, Verdict
from readoff.link.steps import GivenStep

__all__ = [
    "Asker",
    "Deframer",
    "Frame",
    "GivenStep",
    "Receiver",
    "Sender",
    "Skipped",
    "Spooled",
    "Verdict",
    "frame",
]
