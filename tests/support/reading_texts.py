"""Schemas and captures for the tests of readings, in few words."""

from pathlib import Path

from readoff.readings import Capture, CaptureKind, Readout, Schema, as_shown, load_schemas

SHIPPED_FOLDER = Path(__file__).resolve().parents[2] / "protocols" / "readings"


def shipped() -> list[Schema]:
    """The schemas that Readoff carries."""
    return load_schemas(
        [(path.name, path.read_text("utf-8")) for path in sorted(SHIPPED_FOLDER.glob("*.toml"))]
    )


def schema_text(metrics: str = "", *, name: str = "mill", recognise: str = "all = ['^Mill']") -> str:
    """A schema with one metric `score` that takes whatever stands after "Score:", unless told otherwise."""
    metrics = metrics or metric("score")
    headline = metrics.split("]")[0].removeprefix("[metrics.")
    return (
        f'schema = "{name}"\ntitle = "A mill"\nheadline = ["{headline}"]\n[recognise]\n{recognise}\n{metrics}'
    )


def metric(
    name: str, more: str = "", *, pattern: str = "", unit: str = "points", better: str = "higher"
) -> str:
    """A table of one shown metric."""
    pattern = pattern or rf"^{name.capitalize()}: *(?P<number>.*)"
    return f'[metrics.{name}]\npattern = \'{pattern}\'\nunit = "{unit}"\nbetter = "{better}"\n{more}\n'


def derived(name: str, formula: str, more: str = "") -> str:
    """A table of one derived metric."""
    return f'[metrics.{name}]\nformula = "{formula}"\nunit = "points"\nbetter = "higher"\n{more}\n'


def load(*texts: str) -> list[Schema]:
    """Schemas of these texts."""
    return load_schemas([(f"schema{number}.toml", text) for number, text in enumerate(texts)])


def console(octets: bytes) -> Capture:
    """A console capture."""
    return Capture(CaptureKind.CONSOLE, octets)


def file(octets: bytes, name: str = "MILL.OUT") -> Capture:
    """A file capture."""
    return Capture(CaptureKind.FILE, octets, name=name)


def screen(*rows: bytes, columns: int = 80) -> Capture:
    """A screen of these rows, each filled up with blanks."""
    cells = b"".join(row.ljust(columns) for row in rows)
    assert len(cells) == columns * len(rows)
    return Capture(CaptureKind.SCREEN, bytes(o for code in cells for o in (code, 7)), columns)


def values(readout: Readout) -> list[tuple[str, str, int]]:
    """(metric, number as one shows it, capture) of each reading."""
    return [(reading.metric, as_shown(reading), reading.capture) for reading in readout.readings]


def reasons(readout: Readout) -> list[str]:
    """Why something is held."""
    return [hold.reason for hold in readout.holds]
