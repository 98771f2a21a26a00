"""Facts that are remembered are those that would be told anew, whatever other sections stand in the record."""

from __future__ import annotations

import random

from readoff.contract.record import parse_record
from readoff.snapshots import facts, facts_of
from support.real_records import real_records


def test_what_is_remembered_is_what_would_be_told_anew():
    draw, seen = random.Random(7), []
    snapshots = [octets for _, octets in real_records(60) if parse_record(octets).kind == "snapshot"]
    for octets in snapshots * 2:
        # Another machine's sections in the place of some: residents, drivers and ROMs say whose a vector is.
        record, other = parse_record(octets), parse_record(draw.choice(snapshots))
        sections = tuple(
            next((each for each in other.all(section.name) if draw.random() < 0.3), section)
            for section in record.sections
        )
        object.__setattr__(record, "sections", sections)
        seen.append((record, facts_of(record)))
    for record, told in seen:
        facts._kept.clear()
        assert facts_of(record) == told
    assert len({tuple(told.items()) for _, told in seen}) > 20
