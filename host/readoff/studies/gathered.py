"""The readings of a study as the judge takes them, and the failure that stands where there are none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from readoff.judge import Metric, Sample
from readoff.studies.progress import Note
from readoff.studies.study import Wanted


@dataclass(frozen=True)
class Gathered:
    """The readings of one wanted metric. samples, excluded: label -> samples; the latter of excluded boots.

    metric: its name says of which program ("rate of replay").
    """

    wanted: Wanted
    metric: Metric
    samples: Mapping[str, tuple[Sample, ...]]
    excluded: Mapping[str, tuple[Sample, ...]]

    @property
    def whole(self) -> dict[str, tuple[Sample, ...]]:
        """The samples with those of the excluded boots."""
        labels = dict.fromkeys([*self.samples, *self.excluded])
        return {label: (*self.samples.get(label, ()), *self.excluded.get(label, ())) for label in labels}


def failed(note: Note) -> str:
    """A noted failure as what was found."""
    return f"A failure is the result here: {note.sentence()}."
