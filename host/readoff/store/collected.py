"""What a run's record says of the files that it was to keep: which were there before, and how many came after. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from readoff.contract.record import Record

_FLAGS = {
    "list_cut": "more were there before than the agent's list holds, so some that are new here may be old",
    "list_lost": "the list of those before could not be read back, so nothing could be compared",
    "file_cut": "at least one is longer than what was to be kept, and cut (/F:pattern,KB keeps so many KB)",
    "unreadable": "at least one could not be read",
    "spool_failed": "the spool took no more",
}


@dataclass(frozen=True)
class Collected:
    """Files asked for in a run. found, changed, kept: after it; None where the record does not tell."""

    patterns: tuple[str, ...]
    before: int
    found: int | None
    changed: int | None
    kept: int | None
    missing: tuple[str, ...]
    """What is missing, a clause each; empty when all that changed is here."""

    def sentence(self) -> str:
        """For people."""
        asked = ", ".join(self.patterns)
        if self.found is None:
            return f"{asked}: {self.before} before the run; {'; '.join(self.missing)}"
        told = f"{asked}: {self.before} before the run, {self.found} after it, {self.changed} new or changed"
        return "; ".join([f"{told}, {self.kept} of them kept", *self.missing])


def collected(record: Record) -> Collected | None:
    """What the record says of files; None where none were asked for."""
    before, after = record.values("files_before"), record.values("files_after")
    if before is None:
        return None
    patterns = tuple(str(before["patterns"]).split(";"))
    known = len(before["entries"])
    if after is None:
        why = "they were not looked for afterwards (the agent could not be read again, or the record is cut short)"
        return Collected(patterns, known, None, None, None, (why,))
    missing = tuple(clause for flag, clause in _FLAGS.items() if after["flags"].get(flag))
    return Collected(patterns, known, after["found"], after["changed"], after["kept"], missing)
