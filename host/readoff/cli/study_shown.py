"""How the plan and the state of a study look, in words and for programs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from readoff.reports.study import StudyInStore
    from readoff.studies import Detectable, Plan, Step


# -- plan --------------------------------------------------------------------------------------------------------


def plan_values(plan: Plan) -> dict[str, Any]:
    """A plan for programs. Shares: 0.031 is 3.1 %."""
    return {
        "study": plan.study.title,
        "cold": plan.study.cold,
        "order": plan.boots,
        "runs": plan.runs,
        "minutes": plan.minutes,
        "detectable": [
            {
                "metric": each.wanted.metric,
                "program": each.wanted.program,
                "margin": each.wanted.margin,
                "noise": each.noise,
                "alone": each.alone,
                "together": each.together,
                "boots_needed": each.boots_needed,
                "boots_to_clear": each.boots_to_clear,
            }
            for each in plan.detectable
        ],
        "cannot": plan.cannot,
    }


def show_plan(plan: Plan) -> None:
    """Prints a plan: order, time, what it can show, what it cannot."""
    from readoff.cli import looks
    from readoff.studies import in_short

    study = plan.study
    looks.heading(f"{study.title} ({study.machine})")
    looks.say(f"Order: {in_short([boot.label for boot in plan.boots])}", indent=2)
    changes = sum(boot.changes for boot in plan.boots) - 1
    looks.say(
        f"{looks.counted(len(plan.boots), 'boot')} with {looks.counted(changes, 'change')} between them, "
        f"{looks.counted(plan.runs, 'run')}; about {hours(plan.minutes)} in all.",
        indent=2,
    )
    looks.say(_kind_of_boot(study.cold), indent=2)
    looks.heading("What it can show")
    looks.say(
        f"{looks.counted(study.comparisons, 'comparison')} in all. The smallest changes that would be found four times "
        "in five:",
        indent=2,
    )
    for each in plan.detectable:
        looks.say()
        looks.say(each.wanted.title, indent=2)
        for line in _detectable(each, study.comparisons):
            looks.say(line, indent=4)
    if plan.cannot:
        looks.heading("What it could not conclude")
        for line in plan.cannot:
            looks.say(line, indent=2)


def _kind_of_boot(cold: bool) -> str:
    if cold:
        return "Cold boots: before each the power goes off, long enough for the drives to stop, and on."
    return (
        "Warm boots, each by a reset: what comes from switching on is reset once more before anything runs."
    )


def _detectable(each: Detectable, comparisons: int) -> Sequence[str]:
    from readoff.cli import looks
    from readoff.studies import share

    lines = []
    if each.alone is not None and each.together is not None:
        among = f"; {share(each.together)} as one of {comparisons}" if comparisons > 1 else ""
        lines.append(f"{share(each.alone)} if it were alone{among}")
    lines.append(f"{share(each.wanted.margin)} matters" + _needed(each))
    lines.append(f"noise: boots differ by {share(each.noise.sd)} (standard deviation), {each.noise.words}")
    if each.noise.within is not None:
        lines.append(f"runs within a boot differ by {share(each.noise.within)}")
    if each.noise.best_repeats is not None:
        runs = looks.counted(each.noise.best_repeats, "run")
        lines.append(f"{runs} of it in a boot would make the most of the time")
    return lines


def _needed(each: Detectable) -> str:
    if each.boots_needed is None:
        return "; no number of boots within reason finds that"
    clear = "" if each.boots_to_clear is None else f", {each.boots_to_clear} to show that there is none"
    return f"; {each.boots_needed} boots of each find that{clear}"


def hours(minutes: float) -> str:
    """Minutes as people say them."""
    whole = round(minutes)
    return f"{whole // 60} h {whole % 60:02} min" if whole >= 60 else f"{whole} min"


# -- status ------------------------------------------------------------------------------------------------------


def status_values(seen: StudyInStore) -> dict[str, Any]:
    """The state of a study for programs."""
    from readoff.studies import missing, next_step, progress_of

    study, done = seen.study, seen.done
    progress = progress_of(study, done)
    return {
        "study": study.title,
        "planned": len(progress.standings),
        "open": [each.planned for each in progress.open],
        "boots": done.boots,
        "order_from": done.order_from,
        "incomplete": [
            {"boot": each.boot, "label": each.label, "missing": missing(study, done, each)}
            for each in progress.incomplete
        ],
        "notes": done.notes,
        "notices": seen.notices,
        "strangers": seen.strangers,
        "unfound": seen.unfound,
        "next": next_step(study, done),
    }


def show_status(seen: StudyInStore, asked: str) -> None:
    """Prints what is done, what is missing, and the next step.

    asked: the study's file and where its store is, as a further command names them.
    """
    from readoff.cli import looks
    from readoff.cli.compare import grouped
    from readoff.studies import missing, next_step, progress_of

    study, done = seen.study, seen.done
    progress = progress_of(study, done)
    settled = len(progress.standings) - len(progress.open)
    looks.heading(f"{study.title} ({study.machine}): {settled} of {len(progress.standings)} boots done")
    looks.print_table(
        ("configuration", "boots", "runs", "left out", "remains"), _rows(seen), right=("boots", "runs")
    )
    if progress.incomplete:
        looks.heading("Boots that lack runs")
        for boot in progress.incomplete:
            lacking = ", ".join(f"{name} {count}" for name, count in missing(study, done, boot).items())
            looks.say(f"{boot.boot}, {boot.label}: {lacking or 'nothing'}", indent=2)
    lines("Noted", [f"{each.number}. {each.sentence()}" for each in done.notes])
    lines("Named in the study file, and not found", seen.unfound)
    lines(
        "Under labels that the study does not have",
        [
            f"{label!r}: {looks.counted(count, 'run')} of its programs"
            for label, count in seen.strangers.items()
        ],
    )
    lines(
        "The guard stands against a finding", [f"{n.about}: {n.sentence}" for n in seen.notices if not n.why]
    )
    lines("Left out", list(grouped(seen.left_out)))
    _show_step(next_step(study, done), asked)


def _rows(seen: StudyInStore) -> Sequence[Sequence[str]]:
    from readoff.studies import progress_of

    progress = progress_of(seen.study, seen.done)
    rows = []
    for configuration in seen.study.configurations:
        label = configuration.label
        own = [each for each in seen.done.boots if each.label == label]
        planned = [each for each in progress.standings if each.planned.label == label]
        filled = sum(each.boot is not None for each in planned)
        joined = sum(each.joined for each in own)
        failed = any(each.note for each in planned)
        open_ = sum(not each.settled for each in planned)
        remains = "failed, as noted" if failed else f"{open_} to go" if open_ else "done"
        if configuration.machine:
            remains = f"beside it: {configuration.machine}"
        rows.append(
            (
                label,
                f"{filled}/{len(planned)}" + (f" + {joined} earlier" if joined else ""),
                str(sum(run.good for boot in own for run in boot.runs)),
                str(sum(not run.good for boot in own for run in boot.runs) or ""),
                remains,
            )
        )
    return rows


def _show_step(step: Step, asked: str) -> None:
    from readoff.cli import looks

    looks.heading(f"Next: {step.kind}")
    looks.say(step.words.replace(" FILE", f" {asked}"), indent=2)
    for caution in step.cautions:
        looks.say(f"Caution: {caution}", indent=4)


def lines(title: str, told: Sequence[str]) -> None:
    """A heading with its lines; nothing where there are none."""
    from readoff.cli import looks

    if told:
        looks.heading(title)
        for line in told:
            looks.say(line, indent=2)
