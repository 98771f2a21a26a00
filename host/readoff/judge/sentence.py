"""A finding in words: what it means first, the figures after. Words only; nothing is reckoned here."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from readoff.judge.evidence import Better

if TYPE_CHECKING:
    from readoff.judge.finding import Finding


def per_cent(ratio: float, *, signed: bool = True) -> str:
    """A ratio as a per cent change: 1.0322 -> "+3.2 %", 1.0028 -> "+0.28 %"; far off, how many times: "×250"."""
    if not 1 / _FAR < ratio < _FAR:
        return f"×{plain_number(ratio)}"
    change = (ratio - 1) * 100
    digits = 2 if abs(change) < 0.995 else 1 if abs(change) < 99.5 else 0
    text = f"{change:+.{digits}f}" if signed else f"{abs(change):.{digits}f}"
    return f"{text} %"


# Beyond so many times, per cent say less than the ratio does.
_FAR = 100


def plain_number(value: float) -> str:
    """A reading for people: four significant digits at least, no exponent for what programs print."""
    return f"{value:.1f}" if 1000 <= abs(value) < 1e7 else f"{value:.4g}"


def probability(p: float) -> str:
    """A p value as people write it."""
    return "p < 0.0001" if p < 0.0001 else f"p = {p:.2g}" if p < 0.1 else f"p = {p:.2f}"


def in_words(finding: Finding) -> str:
    """The whole sentence: verdict, what rounding does to it, boots that stand out, notes, figures."""
    parts = [_verdict(finding), *_cautions(finding), *finding.notes, _figures(finding)]
    return " ".join(parts)


def _verdict(finding: Finding) -> str:
    # Imported here because the finding imports its words.
    from readoff.judge.finding import Verdict  # noqa: PLC0415

    base, other, name = finding.base_label, finding.other_label, finding.metric.name
    if finding.verdict is Verdict.NO_DIFFERENCE:
        if finding.margin > finding.margin_declared:
            return (
                f"No difference that the display can show between {base} and {other} in {name}: if there is one, "
                f"it is under {_share(finding.margin)}."
            )
        return (
            f"No difference that matters between {base} and {other} in {name}: if there is one, it is under "
            f"{_share(finding.margin)}."
        )
    if finding.verdict is Verdict.UNDECIDED:
        return f"Undecided whether {other} differs from {base} in {name}: {_why_undecided(finding)}"
    verb = "reads" if finding.metric.better is Better.NEITHER else "is"
    return f"{other} {verb} {finding.verdict} than {base}: {_change(finding)}{_extent(finding)}."


def _change(finding: Finding) -> str:
    way = "higher" if finding.ratio > 1 else "lower"
    better = finding.metric.better
    hint = "" if better is Better.NEITHER else f", and {better} is better"
    if 1 / _FAR < finding.ratio < _FAR:
        said = f"{per_cent(finding.ratio, signed=False)} {way}"
    else:
        said = f"{plain_number(finding.ratio)} times as high"
    return (
        f"its {finding.metric.name} is {said} ({plain_number(finding.base_value)} to "
        f"{plain_number(finding.other_value)} {finding.metric.unit}{hint})"
    )


def _extent(finding: Finding) -> str:
    from readoff.judge.finding import Extent  # noqa: PLC0415

    share = _share(finding.margin_declared)
    if finding.extent is Extent.WITHIN:
        return f"; real, but too small to matter (under {share})"
    if finding.extent is Extent.BEYOND:
        return f"; that is beyond the {share} that matters"
    return f"; it is not certain that this is more than the {share} that matters"


def _why_undecided(finding: Finding) -> str:
    low, high = per_cent(finding.interval95.low), per_cent(finding.interval95.high)
    reason = f"anything from {low} to {high} fits what was read."
    if finding.below_resolution:
        return f"{reason} Rounding alone could make what was seen; a longer run or a finer display is needed."
    if finding.further_boots is None:
        return f"{reason} More boots are not the way: steadier runs, or a larger difference to look for, are."
    boots = "boot" if finding.further_boots == 1 else "boots"
    advice = f"About {finding.further_boots} more {boots} of each would decide, four times in five."
    if min(finding.base_boots, finding.other_boots) < 3:
        advice += ' Two boots never show "no difference".'
    return f"{reason} {advice}"


def _cautions(finding: Finding) -> list[str]:
    said = []
    if finding.margin > finding.margin_declared and not finding.changed:
        said.append(
            f"The readings' steps are too coarse for the {_share(finding.margin_declared)} asked for: below the "
            f"resolution of {_share(finding.margin)}, nothing can be said."
        )
    # Worth words only where rounding takes a fair part of what matters.
    if finding.rounding is not None and finding.resolution > finding.margin_declared / 4:
        said.append(
            f"Rounding alone allows {per_cent(finding.rounding.low)} to {per_cent(finding.rounding.high)}."
        )
    said += [
        f"Boot {boot} stands out among those of {label}: look at what happened in it. It counts, unless it is "
        "excluded for a recorded cause."
        for label, boot in finding.standing_out
    ]
    return said


def _figures(finding: Finding) -> str:
    low, high = finding.interval95.low, finding.interval95.high
    freedom = f"df {finding.freedom:.1f}, " if math.isfinite(finding.freedom) else ""
    asked = ([f"among {finding.family}"] if finding.family > 1 else []) + (
        [f"at one of {finding.looks} looks"] if finding.looks > 1 else []
    )
    adjusted = f" ({probability(finding.p_adjusted)} {', '.join(asked)})" if asked else ""
    method = "pooled" if finding.pooled else "Welch"
    return (
        f"[{finding.other_label} ÷ {finding.base_label} = {finding.ratio:.5g}, 95 % interval {low:.5g} to {high:.5g} "
        f"({per_cent(low)} to {per_cent(high)}), {probability(finding.p)}{adjusted}, {freedom}{method}; "
        f"{finding.base_boots} boots of {finding.base_label} ({len(finding.base_runs)} runs), "
        f"{finding.other_boots} of {finding.other_label} ({len(finding.other_runs)} runs)]"
    )


def _share(margin: float) -> str:
    return f"{margin * 100:.3g} %" if margin * 100 < 9.95 else f"{margin * 100:.1f} %"
