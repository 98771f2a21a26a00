"""All captures of one run together: which schema reads which, what they give, and whether they agree.

A result is often shown several times: printed, written to a file, left on the screen. It is taken from the
first kind of capture that is recognised (console, file, screen); the others are witnesses and must agree.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from readoff.readings.reading import Hold, Reading, Readout, Verdict
from readoff.readings.recogniser import Recogniser, Verdicts, recogniser_of
from readoff.readings.recognising import recognise
from readoff.readings.schema import Schema
from readoff.readings.shown import Capture, CaptureKind
from readoff.readings.taking import Entry, Taker
from readoff.readings.view import View

_KINDS = tuple(CaptureKind)
_MOMENTS = (
    CaptureKind.SCREEN,
    CaptureKind.PICTURE,
)  # what was seen at one moment: the same may be seen again
_MOST_DOUBTS = 3  # told of one capture


def read_run(captures: Sequence[Capture], schemas: Sequence[Schema], *, program: str = "") -> Readout:
    """Read all captures of one run. Never raises, whatever the octets.

    program: as the tester named it, or its file; "" when it is not known.
    """
    views = [View(capture, index, program) for index, capture in enumerate(captures)]
    known = recogniser_of(schemas)
    claimed = [[schema.name for schema in known.claims(view)] for view in views]
    roles = _Roles(captures, claimed)
    readings: list[Reading] = []
    holds = list(roles.holds)
    for view, names in zip(views, claimed, strict=True):
        if not names:
            holds += _doubtful(view, known)
    for schema in schemas:
        sources = [
            _Source(captures[index], index, Taker(views[index], schema))
            for index in roles.sources.get(schema.name, ())
        ]
        if sources:
            merged = _Merged(schema, sources)
            readings += merged.readings
            holds += merged.holds
    return Readout(tuple(readings), tuple(holds), Verdicts(views, schemas))


def explain(
    captures: Sequence[Capture], schemas: Sequence[Schema], *, program: str = ""
) -> tuple[Verdict, ...]:
    """For every capture and schema, every condition and whether it is met: which schema, and why."""
    views = [View(capture, index, program) for index, capture in enumerate(captures)]
    return tuple(recognise(view, schema, fully=True) for view in views for schema in schemas)


def _doubtful(view: View, known: Recogniser) -> Iterator[Hold]:
    """A capture that nothing recognises, held where schemas tell what they cannot make out in it."""
    doubts = known.doubts(view)
    if not doubts:
        return
    told = "; ".join(f"{schema.name}: {reason}" for schema, reason in doubts[:_MOST_DOUBTS])
    if len(doubts) == 1:
        told = doubts[0][1]  # the hold names its schema itself
    more = f"; and {len(doubts) - _MOST_DOUBTS} schemas more" if len(doubts) > _MOST_DOUBTS else ""
    names = ", ".join(schema.name for schema, _ in doubts)
    yield Hold(f"not recognised for certain: {told}{more}", 0, len(view.capture.octets), names, view.index)


@dataclass
class _Roles:
    """Which captures each schema reads. A capture that two schemas recognise is held, never chosen by order.

    A console or a file speaks for the run. A screen may still show what an earlier program left, so where a
    console or a file has told the schema, a screen is only its witness; one that shows something else is held.
    claimed: for each capture the schemas that recognise it.
    """

    captures: Sequence[Capture]
    claimed: Sequence[Sequence[str]]
    sources: dict[str, list[int]] = field(default_factory=dict)
    holds: list[Hold] = field(default_factory=list)

    def __post_init__(self) -> None:
        claims = {index: names for index, names in enumerate(self.claimed) if names}
        screens = {index for index in claims if self.captures[index].kind in _MOMENTS}
        disputed: set[str] = set()
        for index in sorted(claims.keys() - screens):
            disputed.update(self._settle(index, claims[index]))
        told = set(self.sources)
        for index in sorted(screens):
            self._screen(index, claims[index], told, disputed)
        for indexes in self.sources.values():
            indexes.sort(key=lambda index: (_KINDS.index(self.captures[index].kind), index))

    def _settle(self, index: int, names: Sequence[str]) -> Sequence[str]:
        """Give a capture to the one schema that claims it, or hold it; returns the schemas in dispute."""
        if len(names) == 1:
            self.sources.setdefault(names[0], []).append(index)
            return ()
        self._hold(index, f"{len(names)} schemas recognise it: {', '.join(names)}", ", ".join(names))
        return names

    def _screen(self, index: int, names: Sequence[str], told: set[str], disputed: set[str]) -> None:
        witnessed = [name for name in names if name in told]
        if witnessed:
            for name in witnessed:
                self.sources[name].append(index)
        elif told:
            others = ", ".join(sorted(told))
            self._hold(
                index,
                f"it shows {', '.join(names)}, but the run's output is that of {others}",
                ", ".join(names),
            )
        elif disputed.intersection(names):
            self._hold(index, "another capture of the run is claimed by several schemas", ", ".join(names))
        else:
            self._settle(index, names)

    def _hold(self, index: int, reason: str, schema: str) -> None:
        self.holds.append(Hold(reason, 0, len(self.captures[index].octets), schema, index))


@dataclass(frozen=True)
class _Source:
    """A capture as one schema reads it."""

    capture: Capture
    index: int
    taker: Taker

    def place(self, entry: Entry) -> str:
        """Where an entry stands, for a sentence."""
        return f"capture {self.index} ({self.capture.kind}, octets {entry.begin} to {entry.end})"


class _Merged:
    """What one schema reads in all its captures of a run, the first kind first."""

    def __init__(self, schema: Schema, sources: Sequence[_Source]) -> None:
        self.schema, self.sources = schema, sources
        self.readings: list[Reading] = []
        self.holds: list[Hold] = []
        first_kind = sources[0].capture.kind
        firsts = [source for source in sources if source.capture.kind is first_kind]
        chosen = {metric.name: self._first_with(metric.name, firsts) for metric in schema.metrics}
        self.refused = self._refusals(chosen)
        for metric in schema.metrics:
            self._collect(metric.name, chosen[metric.name], chosen)
        for source in sources:
            self.holds += source.taker.holds()

    @staticmethod
    def _first_with(name: str, firsts: Sequence[_Source]) -> _Source | None:
        return next((source for source in firsts if source.taker.entries[name]), None)

    def _refusals(self, chosen: dict[str, _Source | None]) -> dict[str, Hold]:
        """Metrics of which no reading may be given: captures disagree, or found twice where once is due."""
        refused: dict[str, Hold] = {}
        for metric in self.schema.metrics:
            base = chosen[metric.name]
            if base is None:
                continue
            entries = base.taker.entries[metric.name]
            if metric.once and len(entries) > 1:
                reason = f"found {len(entries)} times where the schema says once"
                refused[metric.name] = self._hold(metric.name, reason, entries[0], entries[-1], base.index)
            elif conflict := self._conflict(metric.name, base):
                refused[metric.name] = conflict
        for name in sorted(self.schema.depend_on(tuple(refused))):
            base = chosen[name]
            if base and name not in refused:
                entries = base.taker.entries[name]
                refused[name] = self._hold(name, "its input is held", entries[0], entries[-1], base.index)
        return refused

    def _conflict(self, name: str, base: _Source) -> Hold | None:
        """Compare with every other capture from the last occurrence backwards: a screen may have scrolled."""
        ours = base.taker.entries[name]
        for other in self.sources:
            theirs = other.taker.entries[name] if other is not base else []
            for one, two in zip(reversed(ours), reversed(theirs), strict=False):
                if isinstance(one, Reading) and isinstance(two, Reading) and not agree(one, two):
                    reason = (
                        f"{base.place(one)} shows {as_shown(one)}, {other.place(two)} shows {as_shown(two)}"
                    )
                    return self._hold(name, reason, one, one, base.index)
        return None

    def _collect(self, name: str, base: _Source | None, chosen: dict[str, _Source | None]) -> None:
        if name in self.refused:
            self.holds.append(self.refused[name])
        elif base is None:
            self._missing(name, chosen)
        else:
            for entry in base.taker.entries[name]:
                if isinstance(entry, Reading):
                    self.readings.append(entry)
                else:
                    self.holds.append(entry)
        if self.schema.metric(name).formula:
            return  # a witness's derived holds repeat those of its inputs
        ours = base.taker.entries[name] if base else []
        for source in self.sources:
            if source is not base:
                self.holds += _further_holds(source.taker.entries[name], ours)

    def _missing(self, name: str, chosen: dict[str, _Source | None]) -> None:
        """A metric that should be there and is not; a derived one is missed only where its inputs are not."""
        metric = self.schema.metric(name)
        if metric.optional or (metric.formula and not all(chosen[used] for used in metric.formula.names)):
            return
        first = self.sources[0]
        reason = f"recognised, but {name} was not found"
        if metric.formula:
            reason = f"the inputs of {name} stand in different captures"
        self.holds.append(Hold(reason, 0, len(first.capture.octets), self.schema.name, first.index, name))

    def _hold(self, name: str, reason: str, first: Entry, last: Entry, index: int) -> Hold:
        return Hold(reason, first.begin, last.end, self.schema.name, index, name, last.line)


def _further_holds(theirs: Sequence[Entry], ours: Sequence[Entry]) -> list[Hold]:
    """What a witness holds beyond what is held already: the same number on the screen too is one thing, not two."""
    told = {-back: each.reason for back, each in enumerate(reversed(ours), 1) if isinstance(each, Hold)}
    return [
        each
        for back, each in enumerate(theirs, -len(theirs))
        if isinstance(each, Hold) and told.get(back) != each.reason
    ]


def as_shown(reading: Reading) -> str:
    """The value as it was shown, or for a derived one with as many decimals as it bears; the unit after it."""
    value = reading.value
    if reading.derived or value.as_tuple().exponent == -reading.decimals:
        return f"{value:.{reading.decimals}f} {reading.unit}".rstrip()
    return f"{value} {reading.unit}".rstrip()


def agree(one: Reading, two: Reading) -> bool:
    """Whether two captures show the same number.

    With the same decimals they must be equal. Where one shows more decimals, the other must be its rounding;
    derived ones must lie within each other's reach.
    """
    apart = abs(one.value - two.value)
    if one.derived:
        return apart <= (one.quantum + two.quantum) / 2
    return apart == 0 if one.decimals == two.decimals else apart <= max(one.quantum, two.quantum) / 2
