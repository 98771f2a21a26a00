"""How a binary schema knows a file and takes its numbers.

A section of a record, where the agent put what it measured itself, is read like a file whose layout is the contract's.

A file is known by its name, by its length where lengths are declared, and by the fixed values at its beginning. One
that is known and yet does not fit the layout is held, with the path of the field where they part.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import islice
from typing import Any

from readoff.contract import Codec, Declarations
from readoff.contract.declared import record_contract
from readoff.contract.language import INTEGERS
from readoff.errors import MalformedError
from readoff.readings.beside import MOST_OCCURRENCES
from readoff.readings.binary.layouts import load_layouts
from readoff.readings.binary.paths import Leaf, Path, parse_path
from readoff.readings.kinds import Kind, Seen, Told
from readoff.readings.numbers import Number, Unread, read_number
from readoff.readings.schema import Metric, Pattern
from readoff.readings.shown import Capture, CaptureKind
from readoff.readings.table import Table
from readoff.readings.view import View

PROBE_SECTIONS = "probe_"  # how the names of the record's sections begin that hold what a probe measured
LARGEST_FILE = 1 << 18  # octets; bounds the time that one file takes
_LONGEST_LINE = 16  # octets shown of a field


@dataclass(frozen=True)
class Fixed:
    """Octets that must stand at an offset, and the field that says so."""

    field: str
    offset: int
    octets: bytes


@dataclass(frozen=True)
class BinaryWay:
    """The layout of a schema's files, what stands fixed at their beginning, and the paths to its numbers.

    named: whether the schema names its files. section: of a record, by its name in the contract, that it reads instead
    of files.
    """

    codec: Codec
    layout: str
    lengths: tuple[int, ...]
    fixed: tuple[Fixed, ...]
    paths: Mapping[str, Path]
    named: bool = False
    hints: tuple[Pattern, ...] = ()
    section: str = ""

    @property
    def mark(self) -> tuple[int, bytes] | None:
        """The longest of the fixed values."""
        longest = max(self.fixed, key=lambda fixed: len(fixed.octets), default=None)
        return (longest.offset, longest.octets) if longest else None

    def further(self, view: View) -> Iterator[Told]:
        """The length, where some are declared; then every fixed field that stands at a fixed offset."""
        octets = view.capture.octets
        if self.section:
            name = view.capture.name if view.capture.kind is CaptureKind.PROBE else ""
            told = f"the section is {name}" if name else "it is no section that the agent measured"
            yield name == self.section, lambda: f"{told}, the schema reads {self.section}"
        if self.lengths:
            wanted = " or ".join(map(str, self.lengths))
            yield (
                len(octets) in self.lengths,
                lambda: f"the file has {len(octets)} octets, the schema reads {wanted}",
            )
        for fixed in self.fixed:
            yield self._told(fixed, octets[fixed.offset : fixed.offset + len(fixed.octets)])

    def doubt(self, view: View) -> str:
        """What is wrong with a file that some fixed field, or its name and every fixed one, says is its own."""
        octets = view.capture.octets
        met = [octets[each.offset : each.offset + len(each.octets)] == each.octets for each in self.fixed]
        if not self.section and (any(met) or (self.named and not met)):
            return "; ".join(tell() for is_met, tell in self.further(view) if not is_met)
        return ""

    @staticmethod
    def _told(fixed: Fixed, found: bytes) -> Told:
        return (
            found == fixed.octets,
            lambda: (
                f"{fixed.field} (octet {fixed.offset}) must be {_hex(fixed.octets)}, and is {_hex(found) or 'nothing'}"
            ),
        )

    def take(self, metric: Metric, view: View) -> list[Seen]:
        """One number for each field that the metric's path leads to."""
        values = view.once(f"parsed by {id(self)}", self._parsed)
        octets = view.capture.octets
        if isinstance(values, str):
            return [Seen(Unread(values), 0, len(octets))]
        path = self.paths[metric.name]
        leaves = list(islice(path.leaves(self.codec.declarations, self.layout, values), MOST_OCCURRENCES + 1))
        if len(leaves) > MOST_OCCURRENCES:
            return [Seen(Unread(f"found more than {MOST_OCCURRENCES} times"), 0, len(octets))]
        return [_seen(leaf, path, metric, octets) for leaf in leaves]

    def _parsed(self, capture: Capture) -> dict[str, Any] | str:
        """The file as the layout has it, or why it is not."""
        if len(capture.octets) > LARGEST_FILE:
            return f"the file has {len(capture.octets)} octets; at most {LARGEST_FILE} are read"
        try:
            return self.codec.parse(self.layout, capture.octets)
        except MalformedError as error:
            return f"the file does not fit the layout at {error.where}: {error.what}"


def _seen(leaf: Leaf, path: Path, metric: Metric, octets: bytes) -> Seen:
    taken = octets[leaf.begin : leaf.end]
    line = f"{leaf.path}: {_hex(taken[:_LONGEST_LINE])}{' …' if len(taken) > _LONGEST_LINE else ''}"
    if isinstance(leaf.value, str):
        return Seen(read_number(leaf.value.strip(" "), metric.style), leaf.begin, leaf.end, line)
    value = Decimal(leaf.value)
    exponent = value.as_tuple().exponent
    assert isinstance(exponent, int)  # an integer times a finite scale
    quantum = path.field.scale or Decimal(1)
    return Seen(Number(value, max(0, -exponent), quantum), leaf.begin, leaf.end, line)


def _hex(octets: bytes) -> str:
    return octets.hex(" ").upper()


def _load(top: Table, recognise: Table, metrics: Mapping[str, Table]) -> BinaryWay | None:
    for key in ("all", "none"):
        if key in recognise.data:
            recognise.fault(key, "patterns on a binary file", "files, lengths, or equals in the layout")
    section = top.text("section", needed=False)
    declared, layout = _of_contract(top, section) if section else (load_layouts(top), top.text("layout"))
    if declared is None or not layout or not top.choice("layout", layout, declared.layouts):
        return None
    codec = Codec(declared)
    fixed = _fixed(codec, layout)
    if not section and not fixed and "files" not in recognise.data:
        right = 'files = ["*.DAT"], or equals in a field at the beginning of the layout'
        recognise.fault("", "nothing tells this file from others", right)
    paths: dict[str, Path] = {}
    for name, table in metrics.items():
        text = table.text("field")
        path = parse_path(text, declared, layout) if text else None
        if isinstance(path, tuple):
            table.fault("field", *path)
        elif path:
            paths[name] = path
    return BinaryWay(
        codec, layout, _lengths(recognise), fixed, paths, "files" in recognise.data, section=section
    )


def _of_contract(top: Table, section: str) -> tuple[Declarations | None, str]:
    """The contract's declarations and the layout of one of its sections that hold what a probe measured."""
    contract = record_contract()
    sections = [name for name in contract.kinds if name.startswith(PROBE_SECTIONS)]
    for key in ("layout", "layouts", "enums"):
        if key in top.data:
            top.fault(key, "a layout of its own for a section of the record", "the section's name alone")
    if not top.choice("section", section, sections):
        return None, ""
    return contract.declarations, contract.kinds[section].layout


def _lengths(table: Table) -> tuple[int, ...]:
    value = table.data.get("lengths", [])
    if not isinstance(value, list) or not all(
        isinstance(each, int) and not isinstance(each, bool) and 0 < each <= LARGEST_FILE for each in value
    ):
        table.fault("lengths", "not lengths", f"a list of whole numbers from 1 to {LARGEST_FILE}: [64]")
        return ()
    return tuple(value)


def _fixed(codec: Codec, layout: str, offset: int = 0, path: str = "") -> tuple[Fixed, ...]:
    """The fixed values before the first field whose size varies."""
    declared = codec.declarations
    found: list[Fixed] = []
    for field in declared.layouts[layout].fields:
        name = f"{path}.{field.name}" if path else field.name
        if field.equals is not None:
            octets = field.equals
            if isinstance(octets, int):
                size = INTEGERS[field.type][0]
                octets = (octets % (1 << 8 * size)).to_bytes(size, "little")
            found.append(Fixed(name, offset, octets))
        if field.layout:
            found += _fixed(codec, field.layout, offset, name)
        size_of = declared.fixed_size(field)
        if size_of is None:
            break
        offset += size_of
    return tuple(found)


BINARY = Kind(
    "binary",
    (CaptureKind.FILE, CaptureKind.PROBE),
    _load,
    top=("layout", "layouts", "enums", "section"),
    recognise=("lengths",),
    shown=("field",),
    path="field",
    unasked=(CaptureKind.FILE,),
)
