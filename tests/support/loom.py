"""LOOM, a program invented for the walk of docs/teaching.md: what it printed in three runs, as records."""

from __future__ import annotations

from pathlib import Path

from support import store_samples as samples


def printed(metres: str, seconds: str, pace: str) -> bytes:
    """What LOOM prints."""
    return (
        "Loom 2.1 - a weaver's trial\r\n"
        "\r\n"
        f"Woven:  {metres} metres in {seconds} seconds\r\n"
        f"Pace:   {pace} metres/s\r\n"
    ).encode("cp437")


RUNS = (("240", "16.50", "14.5"), ("240", "16.42", "14.6"), ("240", "9.75", "24.6"))


def floppy(folder: Path) -> None:
    """Puts the records of three runs into a folder."""
    folder.mkdir()
    for ordinal, numbers in enumerate(RUNS, 2):
        octets = samples.run_record(
            ordinal,
            console=printed(*numbers),
            start={"label": "as-found", "program": "loom", "path": "A:\\LOOM.COM"},
        )
        (folder / f"R{ordinal}.RDO").write_bytes(octets)
