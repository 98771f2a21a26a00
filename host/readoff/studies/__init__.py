"""Studies: the plan, the guard, the next step, the verdict. Pure: no clock, no file, no socket, no database.

``load_study`` reads a declaration, ``make_plan`` plans it, ``next_step`` says what to do now, ``guard`` what stands
against a finding, and ``judge`` what may be said. docs/studies.md is the guide.
"""

from readoff.studies.disk import batch_files
from readoff.studies.gathered import Gathered
from readoff.studies.guard import Compared, Notice, compared, guard, standing
from readoff.studies.judging import Judged, Verdicts, finding_name, judge
from readoff.studies.loading import label_fault, load_study
from readoff.studies.order import PlannedBoot, boots_in_order, in_short
from readoff.studies.plan import Detectable, Noise, Plan, make_plan, noise_of, share
from readoff.studies.progress import BootSeen, Done, Note, Progress, RunSeen, Standing, missing, progress_of
from readoff.studies.step import Step, StepKind, next_step
from readoff.studies.study import (
    ChangeBack,
    Configuration,
    Earlier,
    Excluded,
    Explanation,
    Program,
    Study,
    Target,
    Wanted,
)
from readoff.studies.weighing import Aim, Weighing
from readoff.studies.writing import study_text

__all__ = [
    "Aim",
    "BootSeen",
    "ChangeBack",
    "Compared",
    "Configuration",
    "Detectable",
    "Done",
    "Earlier",
    "Excluded",
    "Explanation",
    "Gathered",
    "Judged",
    "Noise",
    "Note",
    "Notice",
    "Plan",
    "PlannedBoot",
    "Program",
    "Progress",
    "RunSeen",
    "Standing",
    "Step",
    "StepKind",
    "Study",
    "Target",
    "Verdicts",
    "Wanted",
    "Weighing",
    "batch_files",
    "boots_in_order",
    "compared",
    "finding_name",
    "guard",
    "in_short",
    "judge",
    "label_fault",
    "load_study",
    "make_plan",
    "missing",
    "next_step",
    "noise_of",
    "progress_of",
    "share",
    "standing",
    "study_text",
]
