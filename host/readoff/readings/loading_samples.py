"""The samples that a schema carries: read from its tables, checked for sense, not yet tried."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from readoff.errors import SchemaError
from readoff.readings.faults import Faults
from readoff.readings.schema import Sample
from readoff.readings.screen.cells import attribute_of
from readoff.readings.shown import Capture, CaptureKind
from readoff.readings.table import Table

SAMPLE_KEYS = (
    *("text", "octets", "capture", "columns", "rows", "colours", "name", "program"),
    *("readings", "held", "recognised"),
)
_KINDS = tuple(kind.value for kind in CaptureKind)
Draw = Callable[[str], bytes]


def load_samples(
    tables: Sequence[Table], metrics: Collection[str], faults: Faults, draw: Draw | None = None
) -> tuple[Sample, ...]:
    """Samples as captures with what must be read from them. draw: makes the file of a text that is drawn."""
    return tuple(_sample(table, metrics, faults, draw) for table in tables)


def _sample(table: Table, metrics: Collection[str], faults: Faults, draw: Draw | None) -> Sample:
    table.only(SAMPLE_KEYS)
    kind = table.text("capture", needed=False) or ("file" if draw else "console")
    kind = kind if table.choice("capture", kind, _KINDS) else "console"
    columns = table.whole("columns", 255)
    octets = _drawn(table, draw) if draw and "text" in table.data else _octets(table)
    if kind == "screen":
        if not columns:
            table.fault("columns", "missing", "the columns of the screen: columns = 80")
        elif "text" in table.data:
            octets = _painted(table, _cells(table, octets, columns), columns)
    readings: list[tuple[str, tuple[str, ...]]] = []
    if "readings" in table.data:
        expected = table.table("readings")
        readings = [(metric, _numbers(expected, metric)) for metric in expected.data]
    held = table.texts("held")
    for metric, key in [(metric, f"readings.{metric}") for metric, _ in readings] + [
        (m, "held") for m in held
    ]:
        if metric not in metrics:
            faults.unknown(table.key(key), metric, metrics)
    recognised = table.flag("recognised", True)
    if recognised != bool(readings or held):
        right = "readings or held" if recognised else "neither readings nor held"
        table.fault("", "what should come of the sample is not clear", right)
    capture = Capture(CaptureKind(kind), octets, columns, table.text("name", needed=False))
    program = table.text("program", needed=False)
    return Sample(capture, tuple(readings), held, recognised, program, faults.line(table.path))


def _drawn(table: Table, draw: Draw) -> bytes:
    """The file of a picture that shows the sample's text."""
    try:
        return draw(table.text("text"))
    except SchemaError as error:
        table.fault(
            "text",
            error.what,
            error.next_step or "a text in the characters of the glyphs that fits the region",
        )
        return b""


def _numbers(table: Table, metric: str) -> tuple[str, ...]:
    """The numbers expected of a metric: one text or a list of them."""
    value = table.data[metric]
    return (table.text(metric),) if isinstance(value, str) else table.texts(metric)


def _octets(table: Table) -> bytes:
    """The sample's octets: `text` in code page 437 with CR LF line ends, or `octets` in hex."""
    if ("text" in table.data) == ("octets" in table.data):
        table.fault(
            "", "a sample without exactly one of text and octets", 'text = """…""" or octets = "52 4F"'
        )
        return b""
    if "octets" in table.data:
        try:
            return bytes.fromhex(table.text("octets"))
        except ValueError:
            table.fault("octets", "not hex", 'pairs of hex digits: "52 4F"')
            return b""
    text = table.text("text")
    try:
        return text.replace("\r\n", "\n").replace("\n", "\r\n").encode("cp437")
    except UnicodeEncodeError as error:
        table.fault("text", f"code page 437 has no {text[error.start]!r}", "octets = in hex")
        return b""


def _cells(table: Table, octets: bytes, columns: int) -> bytes:
    """A text laid out as a screen, light grey on black, each line padded to a whole row, with `rows` rows if more."""
    rows = octets.removesuffix(b"\r\n").split(b"\r\n")
    rows += [b""] * (table.whole("rows", 255) - len(rows))
    if any(len(row) > columns for row in rows):
        table.fault("text", f"a line longer than {columns} characters", "lines that fit the screen")
    codes = b"".join(row[:columns].ljust(columns) for row in rows)
    return bytes(octet for code in codes for octet in (code, 7))


def _painted(table: Table, cells: bytes, columns: int) -> bytes:
    """The cells with the colours that the sample gives to some of them."""
    painted = bytearray(cells)
    for colour in table.tables("colours"):
        colour.only(("row", "column", "width", "colour"))
        row, column, width = (colour.whole(key, 255) for key in ("row", "column", "width"))
        attribute = attribute_of(colour)
        first = (row - 1) * columns + column - 1
        if not (row and column and width) or column - 1 + width > columns or 2 * (first + width) > len(cells):
            colour.fault("", "no part of the screen", "row and column from 1, and a width that fits")
        elif attribute is not None:
            painted[2 * first + 1 : 2 * (first + width) : 2] = bytes([attribute]) * width
    return bytes(painted)
