"""From the text of a study file to a study: every fault is told at once, with its line, key, and what would be right.

Works on (name, text) and opens nothing. The keys are described in docs/studies.md.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime, time
from typing import Any

from readoff.errors import StudyError
from readoff.readings.faults import Faults
from readoff.readings.table import Table, described, top_table
from readoff.studies.study import (
    PROBES,
    ChangeBack,
    Configuration,
    Earlier,
    Excluded,
    Explanation,
    Program,
    Study,
    Target,
    Wanted,
    margin_share,
)

LONGEST_STUDY = 262144
MOST_BOOTS, MOST_REPEATS, MOST_CONFIGURATIONS = 500, 999, 50
MOST_CACHES = 4
LONGEST_LABEL, LONGEST_LINE = 32, 120  # what the agent and DOS take
KEYS_MOST = 112  # of the agent's /K:
FILES_MOST = 127  # of all its /F: together
_PATTERNS = re.compile(r"[A-Za-z]:\\[^\s;,\"<>|%/]+(;[A-Za-z]:\\[^\s;,\"<>|%/]+)*")
_COUNTS = {  # key -> (least, most, without it)
    "boots": (1, MOST_BOOTS, 3),
    "repeats": (1, MOST_REPEATS, 2),
    "seed": (0, 2**31 - 1, 1),
    "looks": (1, 20, 1),
}
TOP_KEYS = (
    *(
        "study",
        "machine",
        "agents",
        "begun",
        "cold",
        "probes",
        "probe_once",
        "send_programs",
        "with_typed",
        "invented",
        *_COUNTS,
        "margin",
        "noise",
        "minutes_a_boot",
        "currency",
    ),
    *("configurations", "programs", "metrics", "targets", "earlier", "explanations", "excluded"),
)
TABLE_KEYS = {
    "configurations": (
        "label",
        "changes",
        "how",
        "may_differ",
        "price",
        "minutes",
        "specimen",
        "machine",
        "caches",
    ),
    "programs": ("name", "path", "arguments", "minutes", "keys", "files"),
    "metrics": ("metric", "program", "margin"),
    "targets": ("metric", "program", "at", "words"),
    "earlier": ("joins", "label", "ids", "why"),
    "explanations": ("about", "why"),
    "excluded": ("boot", "why"),
}
_LABEL_RULE = f"1 to {LONGEST_LABEL} letters of code page 437, without quotes, colon, ~, % and line ends"
_NAME = re.compile(r"[!#$&'()+,.;=@\[\]^_`{}\w-]{1,32}", re.ASCII)
_BOOT = re.compile(r"[0-9A-Fa-f]{8}-[0-9A-Fa-f]{8}")
_IDS = re.compile(r"[0-9A-Fa-f]{8}-[0-9A-Fa-f]{1,8}(-[0-9A-Fa-f]{0,4})?")
_NOT_IN_A_LINE = '"%<>|'


def load_study(name: str, text: str) -> Study:
    """Reads a study file. name: for the messages. Raises StudyError for all faults at once."""
    faults = Faults(name)
    top = top_table(text, faults, LONGEST_STUDY)
    study = _study(top) if top is not None else None
    if faults.told or study is None:
        count = "one fault" if len(faults.told) == 1 else f"{len(faults.told)} faults"
        raise StudyError(f"{count} in the study:\n  " + "\n  ".join(faults.told), faults=faults.told)
    return study


def label_fault(label: str) -> str:
    """Why a text cannot be a label, as what would be right; "" for one that can."""
    good = 0 < len(label) <= LONGEST_LABEL and label == label.strip()
    good = good and label.isprintable() and not set(label) & set('":~%<>|') and _in_code_page(label)
    return "" if good else _LABEL_RULE


def _in_code_page(text: str) -> bool:
    try:
        text.encode("cp437")
    except UnicodeEncodeError:
        return False
    return True


def _study(top: Table) -> Study:
    top.only(TOP_KEYS)
    parts = {key: _parts(top, key) for key in TABLE_KEYS}
    configurations = [_configuration(table) for table in parts["configurations"]]
    programs = [_program(table) for table in parts["programs"]]
    margin = _share(top, "margin", 2.0)
    _unique(parts["configurations"], "label", [each.label for each in configurations])
    _unique(parts["programs"], "name", [each.name.lower() for each in programs])
    if not 2 <= len(configurations) <= MOST_CONFIGURATIONS:
        top.fault("configurations", f"{len(configurations)} configurations", "two or more, the base first")
    if configurations and configurations[0].machine:
        parts["configurations"][0].fault("machine", "the base is another machine's", "the study's own first")
    if not programs:
        top.fault("programs", "no program", 'at least one table [[programs]] with name = "…", path = "…"')
    names = [each.name for each in programs]
    wanted = [_wanted(table, names, margin) for table in parts["metrics"]]
    if not wanted:
        top.fault("metrics", "no metric", 'at least one table [[metrics]] with metric = "…"')
    _unique(parts["metrics"], "metric", [f"{each.metric} of {each.program}" for each in wanted])
    labels = [each.label for each in configurations]
    return Study(
        title=top.text("study"),
        machine=top.text("machine"),
        configurations=tuple(configurations),
        programs=tuple(programs),
        wanted=tuple(wanted),
        boots=_count(top, "boots"),
        repeats=_count(top, "repeats"),
        seed=_count(top, "seed"),
        looks=_count(top, "looks"),
        cold=top.flag("cold", True),
        with_typed=top.flag("with_typed", False),
        invented=top.flag("invented", False),
        noise=_share(top, "noise", 1.0),
        minutes_a_boot=_number(top, "minutes_a_boot", 3.0),
        currency=top.text("currency", needed=False),
        begun=_time(top, "begun"),
        agents=_serials(top),
        probes=_probes(top),
        probe_once=top.flag("probe_once"),
        send_programs=top.flag("send_programs"),
        targets=tuple(_target(table, names, wanted) for table in parts["targets"]),
        earlier=tuple(_earlier(table, labels) for table in parts["earlier"]),
        explanations=tuple(Explanation(t.text("about"), t.text("why")) for t in parts["explanations"]),
        excluded=tuple(_excluded(table) for table in parts["excluded"]),
    )


def _parts(top: Table, key: str) -> list[Table]:
    tables = top.tables(key)
    for table in tables:
        table.only(TABLE_KEYS[key])
    return tables


def _configuration(table: Table) -> Configuration:
    label = table.text("label")
    if label and label_fault(label):
        table.fault("label", described(label), label_fault(label))
    how = table.text("how", needed=False) or ChangeBack.SETTING.value
    known = table.choice("how", how, [each.value for each in ChangeBack])
    return Configuration(
        label=label,
        changes=table.text("changes"),
        how=ChangeBack(how) if known else ChangeBack.SETTING,
        may_differ=table.texts("may_differ"),
        price=_number(table, "price", 0.0) if "price" in table.data else None,
        minutes=_number(table, "minutes", 0.0),
        specimen=table.text("specimen", needed=False),
        machine=table.text("machine", needed=False),
        caches=table.whole("caches", MOST_CACHES) if "caches" in table.data else None,
    )


def _program(table: Table) -> Program:
    name = table.text("name")
    if name and not _NAME.fullmatch(name):
        table.fault("name", described(name), "up to 32 letters, digits and signs, without blanks")
    path, arguments = table.text("path"), table.text("arguments", needed=False, empty=True)
    for key, value in (("path", path), ("arguments", arguments)):
        if set(value) & set(_NOT_IN_A_LINE) or not value.isprintable() or not _in_code_page(value):
            table.fault(key, described(value), 'what DOS takes in a batch file, without " % < > |')
    if path and (set(path) & set(" /") or not path.isascii()):
        table.fault("path", described(path), r"a DOS path such as 'C:\BENCH\REPLAY.COM' (in single quotes)")
    if len(path) + len(arguments) > LONGEST_LINE:
        table.fault(
            "arguments", f"{len(path) + len(arguments)} characters with the path", f"at most {LONGEST_LINE}"
        )
    keys = table.text("keys", needed=False)
    if (
        set(keys) & set(_NOT_IN_A_LINE)
        or not keys.isprintable()
        or not keys.isascii()
        or len(keys) > KEYS_MOST
    ):
        right = f"at most {KEYS_MOST} characters as the agent's /K: takes them; names such as [percent] for the rest"
        table.fault("keys", described(keys), right)
    files = table.text("files", needed=False)
    if files and not (_PATTERNS.fullmatch(files) and files.isascii() and len(files) <= FILES_MOST):
        right = rf"whole paths such as C:\BENCH\*.LOG, with ; between them, at most {FILES_MOST} characters"
        table.fault("files", described(files), right)
    return Program(name, path, arguments.strip(), _number(table, "minutes", 1.0), keys, files)


def _wanted(table: Table, programs: Sequence[str], margin: float) -> Wanted:
    own = _share(table, "margin", 2.0) if "margin" in table.data else margin
    return Wanted(_which_program(table, programs), table.text("metric"), own)


def _which_program(table: Table, programs: Sequence[str]) -> str:
    """The program that a metric belongs to; need not be said where there is only one."""
    if "program" not in table.data and len(programs) == 1:
        return programs[0]
    name = table.text("program")
    if name:
        table.choice("program", name, programs)
    return name


def _target(table: Table, programs: Sequence[str], wanted: Iterable[Wanted]) -> Target:
    target = Target(
        _which_program(table, programs),
        table.text("metric"),
        _number(table, "at"),
        table.text("words", needed=False),
    )
    known = [each.metric for each in wanted if each.program == target.program]
    if target.program in programs and not known:
        table.fault("program", f"no metric of {target.program!r} is asked for", "a metric in [[metrics]]")
    elif target.metric and known:
        table.choice("metric", target.metric, known)
    if "at" in table.data and target.at == 0:
        table.fault("at", "0", "a number above 0")
    return target


def _earlier(table: Table, labels: Sequence[str]) -> Earlier:
    joins = table.text("joins")
    if joins:
        table.choice("joins", joins, labels)
    label, ids = table.text("label", needed=False), table.texts("ids")
    if bool(label) == bool(ids):
        table.fault("label", "both or neither of label and ids", 'either label = "…" or ids = ["…"]')
    for ident in ids:
        if not _IDS.fullmatch(ident):
            table.fault(
                "ids",
                described(ident),
                'a record id or its beginning, the boot at least: "11223344-0000A1B2"',
            )
    return Earlier(joins, label, ids, table.text("why", needed=False))


def _excluded(table: Table) -> Excluded:
    boot = table.text("boot")
    if boot and not _BOOT.fullmatch(boot):
        table.fault("boot", described(boot), 'a boot as readoff show tells it: "11223344-0000A1B2"')
    return Excluded(boot, table.text("why"))


def _serials(top: Table) -> tuple[str, ...]:
    serials = top.texts("agents")
    for serial in serials:
        if not re.fullmatch("[0-9A-Fa-f]{8}", serial):
            top.fault("agents", described(serial), 'the first 8 digits of a record id: ["11223344"]')
    return tuple(serial.upper() for serial in serials)


def _probes(top: Table) -> tuple[str, ...]:
    names = top.texts("probes")
    for name in names:
        top.choice("probes", name, (*PROBES, "all"))
    return PROBES if "all" in names else tuple(dict.fromkeys(names))


def _unique(tables: Sequence[Table], key: str, values: Sequence[str]) -> None:
    for at, value in enumerate(values):
        if value and value in values[:at]:
            tables[at].fault(key, f"{value!r} is there twice", "each once")


def _checked(table: Table, key: str, fits: Callable[[Any], bool], right: str, default: Any) -> Any:
    """A number; a fault, and the default in its place, where it does not fit."""
    value = table.data.get(key, default)
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if value is None or not number or not fits(value):
        table.fault(key, "missing" if value is None else described(value), right)
        return 1 if default is None else default
    return value


def _count(table: Table, key: str) -> int:
    least, most, default = _COUNTS[key]
    right = f"a whole number from {least} to {most}"
    return int(_checked(table, key, lambda v: isinstance(v, int) and least <= v <= most, right, default))


def _number(table: Table, key: str, default: float | None = None) -> float:
    return float(
        _checked(table, key, lambda v: math.isfinite(v) and 0 <= v < 1e12, "a number, 0 or above", default)
    )


def _share(table: Table, key: str, default: float) -> float:
    right = "per cent: a number above 0 and under 100"
    return margin_share(float(_checked(table, key, lambda v: 0 < v < 100, right, default)))


def _time(table: Table, key: str) -> str:
    value = table.data.get(key)
    if value is None:
        return ""
    if isinstance(value, date) and not isinstance(value, datetime):
        value = datetime.combine(value, time())
    if not isinstance(value, datetime):
        table.fault(key, described(value), "a date, or a date and time, without quotes: 2026-01-31T09:00:00Z")
        return ""
    whole = value if value.tzinfo else value.replace(tzinfo=UTC)
    return whole.astimezone(UTC).isoformat(timespec="seconds")
