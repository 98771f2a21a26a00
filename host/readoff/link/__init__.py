"""The line as pure state machines: octets in, events and octets out. No clock, no port, no store."""

from readoff.link.framing import Deframer, Frame, Skipped, frame
from readoff.link.receiver import Receiver
from readoff.link.sender import Sender, Spooled, Verdict

__all__ = ["Deframer", "Frame", "Receiver", "Sender", "Skipped", "Spooled", "Verdict", "frame"]
