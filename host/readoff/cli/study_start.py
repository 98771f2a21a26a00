"""The questions of readoff study start."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, TypeVar

import click

from readoff.studies import ChangeBack, Configuration, Program, Study, Target, Wanted, label_fault
from readoff.studies.loading import MOST_CACHES
from readoff.studies.study import PROBES, margin_share

Part = TypeVar("Part")


def ask(now: datetime) -> Study:
    """Asks on the terminal, or reads the answers from a pipe, and gives the study. now: when it begins."""
    title = _text("What is the study called?")
    machine = _text("Which machine?")
    click.echo("\nThe first configuration is the base: what the others are held against.")
    base = Configuration(
        _label("Its label"), _text("What it is, in words", "as it was found"), caches=_caches()
    )
    others = _several("One more configuration? Its label, or nothing", _configuration, least=1)
    currency = _text("Prices are in", "") if any(each.price is not None for each in others) else ""
    click.echo("\nWhat is run in each boot.")
    programs = _several("A program? Its name, or nothing", _program, least=1)
    click.echo("\nWhat is asked for.")
    wanted = _several("A metric? Its name, or nothing", lambda name: _wanted(name, programs), least=1)
    targets = [each for each in (_target(one) for one in wanted) if each is not None]
    probes = _probes(needed=any(each.caches is not None for each in (base, *others)))
    once = bool(probes) and click.confirm("Only in the first boot of each configuration?", default=False)
    question = "Bring the programs' files home in each boot, so that a changed one is noticed?"
    sends = click.confirm(question, default=True)
    click.echo("\nHow much work it may be.")
    return Study(
        title=title,
        machine=machine,
        configurations=(base, *others),
        programs=tuple(programs),
        wanted=tuple(wanted),
        boots=_whole("Boots of each configuration (3 or more say most)", 3, 500),
        repeats=_whole("Runs of each program in a boot", 2, 999),
        cold=click.confirm("Cold boots (power off and on)?", default=True),
        looks=_whole("How often will it be judged in all, added boots counted", 1, 20),
        minutes_a_boot=_number("Minutes that a boot takes, without the runs", 3.0),
        currency=currency,
        begun=now.astimezone(UTC).isoformat(timespec="seconds"),
        probes=probes,
        probe_once=once,
        send_programs=sends,
        targets=tuple(targets),
    )


def _several(question: str, part: Callable[[str], Part], *, least: int) -> list[Part]:
    """Parts until an empty answer; it is asked again while there are fewer than least."""
    parts: list[Part] = []
    while True:
        name = _text(question, "")
        if name:
            parts.append(part(name))
        elif len(parts) >= least:
            return parts
        else:
            click.echo("There must be one.")


def _configuration(label: str) -> Configuration:
    while label_fault(label):
        click.echo(f"That is no label; right would be {label_fault(label)}.")
        label = _text("Its label")
    changes = _text("What is changed, in words")
    fitted = click.confirm("Must a part be fitted for it?", default=False)
    differs = _text("Facts that may differ (patterns such as cmos.*, with commas between)", "")
    price = _text("Its price, or nothing", "")
    return Configuration(
        label,
        changes,
        ChangeBack.FITTING if fitted else ChangeBack.SETTING,
        tuple(each.strip() for each in differs.split(",") if each.strip()),
        _price(price),
        minutes=_number("Minutes that fitting it takes", 10.0) if fitted else 0.0,
        specimen=_text("Which specimen is it", "") if fitted else "",
        caches=_caches(),
    )


def _caches() -> int | None:
    """How many levels of cache it should have; None where nobody knows."""
    question = f"Levels of cache that it should have, 0 to {MOST_CACHES}, or nothing where you do not know"
    while text := _text(question, ""):
        if text in map(str, range(MOST_CACHES + 1)):
            return int(text)
        click.echo("That is no number of levels.")
    return None


def _probes(*, needed: bool) -> tuple[str, ...]:
    """The agent's own probes that boots begin with. needed: only the memory staircase shows the caches."""
    click.echo(f"\nThe agent can measure by itself before anything runs: {', '.join(PROBES)}, or all.")
    while True:
        text = _text("Its probes in each boot, with commas between, or none", "memory" if needed else "none")
        names = tuple(each.strip().lower() for each in text.split(",") if each.strip())
        if names in ((), ("none",)):
            names = ()
        elif "all" in names:
            names = PROBES
        strange = [each for each in names if each not in PROBES]
        if strange:
            click.echo(f"There is no probe {strange[0]!r}.")
        elif needed and "memory" not in names:
            click.echo("Whether the caches are as you said, only the memory probe shows.")
        else:
            return tuple(dict.fromkeys(names))


def _price(text: str) -> float | None:
    while text:
        try:
            value = float(text)
        except ValueError:
            value = -1.0
        if 0 <= value < 1e12:
            return value
        click.echo("That is no price.")
        text = _text("Its price, or nothing", "")
    return None


def _program(name: str) -> Program:
    path = _text(r"Its file on the old machine (such as C:\BENCH\REPLAY.COM)")
    return Program(name, path, _text("Its arguments", ""), _number("Minutes that one run takes", 1.0))


def _wanted(name: str, programs: list[Program]) -> Wanted:
    of = programs[0].name
    if len(programs) > 1:
        of = _prompt("Of which program?", type=click.Choice([each.name for each in programs]))
    margin = _prompt(
        "The smallest difference that matters, in per cent",
        default=2.0,
        type=click.FloatRange(0, 100, min_open=True, max_open=True),
    )
    return Wanted(of, name, margin_share(margin))


def _target(wanted: Wanted) -> Target | None:
    at = _number(f"A target for {wanted.title}, or 0", 0.0)
    return Target(wanted.program, wanted.metric, at, _text("What it means", "")) if at else None


def _label(question: str) -> str:
    while fault := label_fault(label := _text(question)):
        click.echo(f"That is no label; right would be {fault}.")
    return label


def _text(question: str, default: str | None = None) -> str:
    return str(_prompt(question, default=default, show_default=bool(default), type=str)).strip()


def _whole(question: str, default: int, most: int) -> int:
    return int(_prompt(question, default=default, type=click.IntRange(1, most)))


def _number(question: str, default: float) -> float:
    return float(_prompt(question, default=default, type=click.FloatRange(0, 1e6)))


def _prompt(question: str, **how: Any) -> Any:
    return click.prompt(question, prompt_suffix=" " if question.endswith("?") else ": ", **how)
