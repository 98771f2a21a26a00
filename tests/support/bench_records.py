"""What the bench tests of the snapshot share: a record written by some of the agent's routines, taken apart."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from readoff.box.cmos import RealTimeClock
from readoff.contract.record import Completeness, Record, parse_records
from support.agent_bench import Bench
from support.fake_dos import FakeDos


def give_rtc(bench: Bench) -> RealTimeClock:
    """An MC146818 and 128 octets of CMOS behind ports 70h and 71h, at 1994-05-31 06:22:00."""
    rtc = RealTimeClock(bench.engine.now, datetime(1994, 5, 31, 6, 22), 0)
    bench.ports_out[0x70] = lambda value: setattr(rtc, "index", value & 0x7F)
    bench.ports_in[0x71] = rtc.read
    return rtc


def record_of(bench: Bench, dos: FakeDos, *routines: str) -> Record:
    """The record that these routines write into."""
    assert not bench.call("record_open", ax=1)
    for routine in routines:
        assert not bench.call(routine), routine
    assert not bench.call("record_close", ax=1)
    (path,) = (path for path in dos.files if path.endswith(".RDO"))
    (record,) = parse_records(dos.files.pop(path))
    assert isinstance(record, Record)
    assert record.completeness is Completeness.WHOLE, record.problem
    return record


def values_of(bench: Bench, dos: FakeDos, name: str) -> Mapping[str, Any]:
    """The values of the one section that ``<name>_section`` writes."""
    values = record_of(bench, dos, f"{name}_section").values(name)
    assert values is not None
    return values
