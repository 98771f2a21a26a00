"""Records of small studies, all invented: boots of labels with a snapshot and runs that print a rate."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from readoff.contract.record import RecordId, build_record
from support import store_samples as samples

SERIAL = 0x11223344
MOUSE = {"segment": 0x0700, "owner": 0x701, "paragraphs": 950, "name": "MOUSE"}

STUDY = r"""
study = "wait states"
machine = "desk-486"
boots = 3
repeats = 2
currency = "EUR"

[[configurations]]
label = "as-found"
changes = "one wait state, as it was found"

[[configurations]]
label = "zero-ws"
changes = "no wait states, in the setup"
may_differ = ["cmos.settings", "cmos.sum"]
price = 10

[[programs]]
name = "replay"
path = 'C:\REPLAY.COM'
minutes = 0.5

[[metrics]]
metric = "shown_rate"
"""

# What the setup writes for the changed setting; the sum at 2Eh and 2Fh goes with it.
CHANGED = bytearray(samples.CMOS_SETTINGS)
CHANGED[0x15 - 0x10] = 0x81
CHANGED[0x2F - 0x10] += 1
SETTINGS = {"as-found": bytes(samples.CMOS_SETTINGS)}


def dos_minutes(minute: int) -> tuple[int, int]:
    """(DOS date, DOS time) so many minutes into a day in 1994."""
    return 0x1CBF, (8 + minute // 60) << 11 | (minute % 60) << 5


def boot_section(*, warm: bool = False) -> dict[str, object]:
    """A boot section."""
    return {
        "state": "fresh",
        "reset_word": 0x1234 if warm else 0,
        "ticks": 1000,
        "rtc_state": "read",
        "rtc": bytes(8),
        "rtc_status_b": 2,
        "agent_version": 1,
    }


def snapshot(
    nonce: int,
    label: str,
    *,
    serial: int = SERIAL,
    warm: bool = False,
    residents: Sequence[dict[str, object]] = (),
    memory: dict[str, object] | None = None,
    settings: bytes | None = None,
    minute: int = 0,
    boot: bool = True,
) -> bytes:
    """A whole snapshot with its boot section, ordinal 1."""
    told = SETTINGS.get(label, bytes(CHANGED)) if settings is None else settings
    sections: list[tuple[str, object]] = [("snapshot_start", {"label": label})]
    sections += [("boot", boot_section(warm=warm))] if boot else []
    sections += [
        ("cpu", samples.CPU),
        ("memory", samples.MEMORY | (memory or {})),
        ("cmos", {"clock": bytes(16), "settings": told}),
        ("residents", {"blocks": [*samples.BLOCKS, *residents]}),
    ]
    date, time = dos_minutes(minute)
    return build_record("snapshot", RecordId(serial, nonce, 1), sections, date=date, time=time)  # type: ignore[arg-type]


def run(
    nonce: int,
    label: str,
    ordinal: int,
    printed: bytes,
    *,
    program: str = "replay",
    path: str = "C:\\REPLAY.COM",
    arguments: str = "",
    serial: int = SERIAL,
    minute: int = 0,
    ends: bool = True,
) -> bytes:
    """A whole run; one that never ended with ends=False."""
    start = samples.run_start(label, program, path=path, arguments=arguments)
    sections: list[tuple[str, object]] = [("run_start", start)]
    if ends:
        sections += [("console", printed), ("run_end", samples.run_end())]
    date, time = dos_minutes(minute)
    return build_record("run", RecordId(serial, nonce, ordinal), sections, date=date, time=time)  # type: ignore[arg-type]


def a_boot(
    nonce: int,
    label: str,
    rates: Iterable[str],
    *,
    minute: int | None = None,
    path: str = "C:\\REPLAY.COM",
    **shot: object,
) -> list[bytes]:
    """A boot: its snapshot, and a run of REPLAY for each rate. minute: when, the nonce's number unless told."""
    at = nonce * 10 if minute is None else minute
    serial = int(shot.get("serial", SERIAL))  # type: ignore[call-overload]
    records = [snapshot(nonce, label, minute=at, **shot)]  # type: ignore[arg-type]
    for repeat, rate in enumerate(rates):
        text = samples.printed(rate)
        records.append(run(nonce, label, 2 + repeat, text, serial=serial, minute=at + 1 + repeat, path=path))
    return records


def boots(order: Iterable[tuple[str, Sequence[str]]], first: int = 1) -> list[bytes]:
    """Boots one after another: (label, rates) each."""
    return [record for at, (label, rates) in enumerate(order, first) for record in a_boot(at, label, rates)]


TURNS: list[tuple[str, list[str]]] = [
    ("as-found", ["72.9", "73.0"]),
    ("zero-ws", ["76.1", "76.2"]),
    ("zero-ws", ["76.3", "76.2"]),
    ("as-found", ["72.8", "72.9"]),
    ("as-found", ["73.0", "73.1"]),
    ("zero-ws", ["76.0", "76.1"]),
]


# A program that shows one number of any kind, and what reads it in either of two units.
def _gauge_schema(name: str, title: str, shown: str, unit: str, better: str) -> str:
    return rf"""
schema = "{name}"
title = "{title}"
headline = ["level"]
[recognise]
all = ['^Level: \S+ {shown}$']
[metrics.level]
pattern = '^Level: (?P<number>\S+) {shown}$'
unit = "{unit}"
better = "{better}"
[[samples]]
text = "Level: 12.5 {shown}"
readings = {{ level = "12.5" }}
"""


GAUGE_SCHEMAS = {
    "gauge.toml": _gauge_schema("gauge", "Gauge", "points", "points", "higher"),
    "gauge_s.toml": _gauge_schema("gauge_s", "Gauge, as a time", "seconds", "s", "lower"),
}

GAUGE_STUDY = r"""
study = "gauges"
machine = "desk-486"
repeats = 1
{top}
[[configurations]]
label = "as-found"
changes = "as it was"
[[configurations]]
label = "zero-ws"
changes = "no wait states"
may_differ = ["cmos.*"]
{more}
[[programs]]
name = "gauge"
path = 'C:\GAUGE.COM'
[[metrics]]
metric = "level"
{metric}
{end}
"""


def gauge_study(*, top: str = "", more: str = "", metric: str = "", end: str = "") -> str:
    """A study of the gauge; each text goes where its name says."""
    return GAUGE_STUDY.format(top=top, more=more, metric=metric, end=end)


def gauge_boot(
    nonce: int, label: str, shown: Iterable[str], unit: str = "points", **shot: object
) -> list[bytes]:
    """A boot in which the gauge showed each of these; minute: when."""
    minute = int(shot.pop("minute", nonce * 5))  # type: ignore[call-overload]
    serial = int(shot.get("serial", SERIAL))  # type: ignore[call-overload]
    records = [snapshot(nonce, label, minute=minute, **shot)]  # type: ignore[arg-type]
    for at, value in enumerate(shown):
        text = f"Level: {value} {unit}\r\n".encode("cp437")
        records.append(
            run(
                nonce,
                label,
                2 + at,
                text,
                program="gauge",
                path="C:\\GAUGE.COM",
                serial=serial,
                minute=minute + 1,
            )
        )
    return records


def gauge_boots(base: Sequence[str], other: Sequence[str], **more: object) -> list[bytes]:
    """Boots of one reading each: the two configurations in turns, what one has more at the end."""
    queues = {"as-found": list(base), "zero-ws": list(other)}
    records, nonce = [], 0
    while any(queues.values()):
        for label in queues if nonce % 4 == 0 else reversed(queues):
            if queues[label]:
                nonce += 1
                records += gauge_boot(nonce, label, [queues[label].pop(0)], **more)  # type: ignore[arg-type]
    return records
