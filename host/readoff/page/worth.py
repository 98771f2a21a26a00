"""What a study says beyond a finding: what a configuration is worth for its price, and the targets it reaches."""

from __future__ import annotations

from dataclasses import dataclass

from readoff.page.ruling import Studied


@dataclass(frozen=True)
class Beyond:
    """Sentences of a study about one configuration. price: with the currency, "" where nobody said."""

    price: str
    worth: tuple[str, ...]
    targets: tuple[str, ...]


def beyond(found: Studied, label: str, wanted: tuple[str, str] | None = None) -> Beyond | None:
    """What the study says of a configuration; of one (program, metric) only, if given. None where it has no such one.

    It is judged by the study's own margins.
    """
    study, verdicts = found.study, found.verdicts
    if label not in study.labels:
        return None
    configuration = study.configuration(label)
    price = "" if configuration.price is None else f"{configuration.price:g} {study.currency}".rstrip()
    worth = tuple(
        each.sentence
        for each in verdicts.weighings
        if each.label in ("", label) and wanted in (None, (each.wanted.program, each.wanted.metric))
    )
    targets = tuple(
        each.sentence
        for each in verdicts.aims
        if each.label == label and wanted in (None, (each.target.program, each.target.metric))
    )
    return Beyond(price, worth, targets)
