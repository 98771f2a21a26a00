"""What a tester may write down about a study: of which configuration and program, and the usual failures in words."""

from __future__ import annotations

from readoff.errors import UsageError
from readoff.studies.study import Study

FAILURES = ("does not start", "fails self-test", "crashes", "left out")
"""Failures that one touch reports. A failure is a result: the plan goes on without it."""
LONGEST = 1000


def check_note(study: Study, label: str, program: str, text: str) -> None:
    """Raises UsageError for a note that is empty, too long, or about something that the study does not have."""
    if not text.strip():
        raise UsageError("the note is empty", next_step="Say what happened.")
    if len(text) > LONGEST:
        raise UsageError(f"a note may have {LONGEST} characters, and this has {len(text)}")
    if label not in study.labels:
        told = ", ".join(map(repr, study.labels))
        raise UsageError(
            f"the study has no configuration {label!r}", next_step=f"Give --label one of: {told}."
        )
    if program and program not in {each.name for each in study.programs}:
        told = ", ".join(repr(each.name) for each in study.programs)
        raise UsageError(f"the study has no program {program!r}", next_step=f"Its programs: {told}.")
