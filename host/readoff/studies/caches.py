"""Caches by measurement, not by label: what the memory staircases of a configuration's boots say of them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

from readoff.snapshots import Snapshot
from readoff.snapshots.difference import more

STAIRCASE = "staircase."
_LEVELS = re.compile(r"staircase\.(\w+)\.levels")


def caches_seen(shot: Snapshot) -> tuple[int, str] | None:
    """(levels of cache that the boot's staircases show, where they end in words); None where none was measured."""
    found: list[tuple[int, str]] = []
    for name, fact in shot.facts.items():
        region = _LEVELS.fullmatch(name)
        if region:
            steps = [f for n, f in shot.facts.items() if n.startswith(f"staircase.{region[1]}.step_")]
            words = "; ".join(
                f"a step between {each.value.replace(' to ', ' and ')} {each.unit}" for each in steps
            )
            found.append((int(fact.value) - 1, words or "no step"))
    return max(found, default=None)


def against_what_was_said(label: str, said: int, shots: Sequence[Snapshot]) -> str:
    """What stands against a configuration of which the study says how many caches it has; "" where nothing does."""
    seen = {shot.boot: found for shot in shots if (found := caches_seen(shot))}
    if not seen:
        return (
            f"The study says that {label} has {_caches(said)}, and no memory staircase of it shows whether that is so: "
            "READOFF PROBE memory, or probes in the study file, measures it."
        )
    wrong = {boot: found for boot, found in seen.items() if found[0] != said}
    if not wrong:
        return ""
    count, words = next(iter(wrong.values()))
    return (
        f"By its memory staircase {label} has {_caches(count)} ({words}), where the study says {_caches(said)}: "
        f"{', '.join(list(wrong)[:3])}{more(len(wrong) - 3)}."
    )


def between(base: str, other: str, shots: Mapping[str, Sequence[Snapshot]]) -> str:
    """Two configurations whose staircases show another number of levels, in words; "" where that is not so."""
    told = []
    for label in (base, other):
        seen = [found for shot in shots[label] if (found := caches_seen(shot))]
        if not seen:
            return ""
        told.append((label, *seen[0]))
    (_, one, its_words), (_, two, other_words) = told
    if one == two:
        return ""
    return (
        f"By their memory staircases {base} has {_caches(one)} ({its_words}) and {other} {_caches(two)} "
        f"({other_words}), and the study does not let {other} differ in that."
    )


def unsteady(label: str, shots: Iterable[Snapshot]) -> str:
    """One configuration whose boots show different caches, in words; "" where they do not."""
    seen: dict[tuple[int, str], dict[str, None]] = {}
    for shot in shots:
        found = caches_seen(shot)
        if found:
            seen.setdefault(found, {})[shot.boot] = None
    if len({count for count, _ in seen}) < 2:
        return ""
    told = "; ".join(
        f"{_caches(count)} in {', '.join(boots)} ({words})" for (count, words), boots in seen.items()
    )
    return f"The memory staircase is not the same in all boots of {label}: {told}."


def _caches(count: int) -> str:
    return {0: "no cache", 1: "one level of cache"}.get(count, f"{count} levels of cache")
