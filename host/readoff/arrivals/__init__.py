"""The edges: watched folders, serial ports; what comes in goes to the store before anything else."""

from readoff.arrivals.intake import Held, Intake, TakenResult

__all__ = ["Held", "Intake", "TakenResult"]
