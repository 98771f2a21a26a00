"""Binary schemas: numbers in the fields of a file that a program wrote, by the contract's layout language."""

from readoff.readings.binary.way import BINARY

__all__ = ["BINARY"]
