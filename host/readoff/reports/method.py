"""How a study was done, in sentences that make one paragraph: what was run, in which order, how it was judged, and what
was excluded, left out and refused.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from readoff.studies import in_short

if TYPE_CHECKING:
    from readoff.reports.comparison import Comparison, LeftOut
    from readoff.reports.publication import Described
    from readoff.reports.study import StudyInStore
    from readoff.studies import Verdicts

_CAPTURED = (
    "What the programs printed or showed was captured on the machine itself, with a snapshot of the configuration, and "
    "read by declared schemas; every reading below stands beside the line that it was read from."
)
_JUDGED = (
    "The boot is the unit of evidence: readings of one boot are averaged in logarithms, and the interval of a ratio "
    "comes from how much the boots differ and from the rounding of the numbers shown (t test after Welch, or with the "
    "boots' variance pooled where three configurations or more allow it)."
)


def of_study(seen: StudyInStore, verdicts: Verdicts, file: str) -> Iterable[str]:
    """The sentences, of a study."""
    study, done = seen.study, seen.done
    asked = ", ".join(each.title for each in study.wanted)
    yield (
        f"The study was declared in a file ({file}): {len(study.configurations)} configurations, {asked}, "
        f"{study.boots} {'cold boots (power off and on)' if study.cold else 'warm boots'} of each and "
        f"{counted(study.repeats, 'run')} of each program in a boot."
    )
    taken = {label: [b for b in done.boots if b.label == label] for label in study.labels}
    told = ", ".join(f"{label} {len(boots)}" for label, boots in taken.items())
    runs = sum(len(each) for each in seen.runs.values())
    yield f"Boots taken: {told}, with {counted(runs, 'run')} in all."
    order = [boot.label for boot in done.boots if not boot.joined]
    if order:
        yield f"They were taken in this order, known from {done.order_from}: {in_short(order)}."
    joined = [boot for boot in done.boots if boot.joined]
    if joined:
        yield f"{counted(len(joined), 'boot')} came from before the study and joined by name."
    yield _CAPTURED
    if seen.typed:
        yield seen.typed_told
    yield _JUDGED
    margins = dict.fromkeys(f"{each.margin * 100:g} %" for each in study.wanted)
    yield f"What was declared to matter: {', '.join(margins)}."
    if verdicts.family > 1:
        yield f"{verdicts.family} comparisons share the 5 % of false alarms (Holm)."
    if study.looks > 1:
        yield f"It was declared that the study would be judged {study.looks} times; the limits allow for that."
    excluded = "; ".join(f"{each.boot}: {each.why}" for each in study.excluded)
    yield (
        f"Excluded were these boots (the findings also say what they would be with them): {excluded}."
        if excluded
        else "No boot was excluded."
    )
    yield from _ends(
        seen.left_out,
        sum(not each.finding and not each.failures for each in verdicts.judged),
        sum(bool(each.blocked) for each in verdicts.judged),
    )


def of_labels(
    results: Sequence[Comparison], configurations: Sequence[Described], margin: float
) -> Iterable[str]:
    """The sentences, of labels that were compared without a study."""
    told = ", ".join(
        f"{each.label} {counted(len(each.boots), 'boot')} with {counted(len(each.runs), 'run')}"
        for each in configurations
    )
    yield f"No study was declared beforehand; the runs in the store were compared by their labels: {told}."
    yield _CAPTURED
    yield _JUDGED
    yield f"The smallest difference that matters was set to {margin * 100:g} %."
    family = sum(len(result.findings) for result in results)
    if family > 1:
        yield f"{family} comparisons share the 5 % of false alarms (Holm)."
    left_out = tuple(dict.fromkeys(each for result in results for each in result.left_out))
    yield from _ends(left_out, sum(not each.finding for result in results for each in result.compared), 0)


def _ends(left_out: Sequence[LeftOut], refused: int, withheld: int) -> Iterable[str]:
    runs = len({each.run.number for each in left_out})
    yield (
        f"{counted(runs, 'run')} gave no evidence, or not for every metric; each is listed below with the reason."
        if runs
        else "No run was left out."
    )
    if refused:
        yield f"{counted(refused, 'comparison')} could not be judged; the reason stands in place of the finding."
    if withheld:
        yield (
            f"{counted(withheld, 'finding')} {'is' if withheld == 1 else 'are'} withheld, because the snapshots show "
            "what nobody explained."
        )


def counted(count: int, one: str) -> str:
    """ "1 run", "2 runs"."""
    return f"{count} {one}{'' if count == 1 else 's'}"
