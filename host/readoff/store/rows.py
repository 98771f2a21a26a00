"""What records and readings look like as rows of the store's tables. Pure."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from readoff.contract import dos_time
from readoff.contract.record import Record
from readoff.errors import MalformedError
from readoff.readings import CaptureKind, Readout
from readoff.store import clocks, elapsed
from readoff.store.captures import RunState, Taken
from readoff.store.standing import Standing, verified_length


def record_row(record: Record, digest: str, standing: Standing) -> dict[str, Any]:
    """A row of records. digest: SHA-256 of its octets."""
    return {
        "id": str(record.id),
        "boot": record.id.boot,
        "ordinal": record.id.ordinal,
        "kind": str(record.kind),
        "version": record.version,
        "length": len(record.octets),
        "verified": verified_length(record),
        "tail": int.from_bytes(record.octets[-4:], "little"),
        "sha256": digest,
        "completeness": str(record.completeness),
        "problem": record.problem,
        "dos_time": _dos_time(record),
        "standing": str(standing),
    }


def capture_row(number: int, each: Taken) -> dict[str, Any]:
    """A row of captures. number: of the record's row."""
    return {
        "record": number,
        "position": each.position,
        "kind": str(each.capture.kind),
        "moment": each.moment,
        "name": each.capture.name,
        "columns": each.capture.columns,
        "rows": each.rows,
        "length": len(each.capture.octets),
        "problem": each.problem,
    }


def content_of(facts: Iterable[tuple[str, str, str]]) -> str:
    """A digest of what a snapshot says: of its stable facts (name, value, unit), in whatever order."""
    said = "\0".join("\1".join(fact) for fact in sorted(facts))
    return hashlib.sha256(said.encode("utf-8", "surrogatepass")).hexdigest()


def _dos_time(record: Record) -> str:
    """When the machine says that it opened the record; it may lie, and often says 1980. "" where it is no day."""
    try:
        return dos_time.from_dos(record.date, record.time).isoformat(sep=" ")
    except MalformedError:
        return ""


def run_columns(record: Record, state: RunState, taken: Sequence[Taken]) -> dict[str, Any]:
    """A row of runs, without its number and record."""
    start, end = record.values("run_start") or {}, record.values("run_end") or {}
    flags = end.get("flags", {})
    files = [
        each.capture.name for each in taken if each.capture.kind is CaptureKind.FILE and each.capture.name
    ]
    alone = record.kind == "file"
    disturbed = [clocks.DISTURBED] if clocks.is_disturbed(record) else []
    return {
        "kind": "file" if alone else "run",  # a probe is a run of the agent's own
        "label": start.get("label", ""),
        "program": start.get("program", ""),
        "path": (files[0] if files else "") if alone else start.get("path", ""),
        "arguments": start.get("arguments", ""),
        "boot": record.id.boot,
        "repeat": start.get("repeat"),
        "repeats": start.get("repeats"),
        "snapshot_ordinal": start.get("snapshot_ordinal"),
        "state": str(state),
        "outcome": str(end.get("outcome", "")),
        "exit_kind": str(end.get("exit_kind", "")),
        "exit_code": end.get("exit_code"),
        "flags": " ".join([*(name for name, value in flags.items() if value is True), *disturbed]),
    }


def reading_rows(
    readout: Readout, taken: Sequence[Taken], headlines: Collection[tuple[str, str]]
) -> Iterable[dict[str, Any]]:
    """Rows of readings, without run and record.

    taken: the captures that were read, in the order read. headlines: (schema, metric) that a comparison asks for
    when nothing else is asked.
    """
    for each in readout.readings:
        yield {
            "capture": taken[each.capture].position,
            "metric": each.metric,
            "occurrence": each.occurrence,
            "value": format(each.value, "f"),
            "approximate": float(each.value),
            "unit": each.unit,
            "better": each.better,
            "decimals": each.decimals,
            "quantum": format(each.quantum, "f"),
            "roundings": 1,
            "derived": int(each.derived),
            "headline": int((each.schema, each.metric) in headlines),
            "line": each.line,
            "begin": each.begin,
            "end": each.end,
            "schema": each.schema,
            "schema_digest": each.schema_digest,
        }


def elapsed_rows(record: Record, *, headline: bool) -> Iterable[dict[str, Any]]:
    """The agent's own time as a row of readings, where the record has one. headline: nothing better was read."""
    found = elapsed.elapsed_of(record)
    if found is None:
        return
    yield {
        "capture": None,
        "metric": "elapsed",
        "occurrence": 0,
        "value": str(found.seconds),
        "approximate": float(found.seconds),
        "unit": "s",
        "better": "lower",
        "decimals": -int(found.seconds.as_tuple().exponent),
        "quantum": str(found.quantum),
        "roundings": 2,
        "derived": 0,
        "headline": int(headline),
        "line": found.line + ("; clock disturbed" if clocks.is_disturbed(record) else ""),
        "begin": found.begin,
        "end": found.end,
        "schema": elapsed.SCHEMA,
        "schema_digest": elapsed.SCHEMA_DIGEST,
    }
