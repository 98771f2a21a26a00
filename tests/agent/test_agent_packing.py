"""What the packing of screens saves, in octets: forty runs of our sample programs, as a tester would make them."""

from __future__ import annotations

from readoff.box import AT
from readoff.contract.cells import unpack_cells
from readoff.contract.record import Record, parse_record
from support.agent_box import EXIT_ALL, agent_box, readoff, record_names, run_under_agent, screen_rows

PROGRAMS = ("REPLAY 35", "INTLOOP 50", "FLTLOOP 1", "SOLVE 10", "WAYS V")
REPEATS = 8


def unpacked(record: Record, octets: int) -> int:
    """Octets that the record would have with its screens as they stood in text memory."""
    for section in record.sections:
        values = section.values or {}
        if section.name == "screen" and values["packing"] == "runs":
            cells = values["columns"] * values["rows"]
            assert len(unpack_cells(values["cells"], cells)) == 2 * cells
            octets += 2 * cells - len(values["cells"])
    return octets


def test_forty_runs_cost_at_most_half_of_their_unpacked_octets() -> None:
    box = agent_box(AT, *{f"{each.split()[0]}.COM" for each in PROGRAMS})
    for program in PROGRAMS:
        ran = readoff(box, f"RUN /L:base /N:{REPEATS} {program}")
        assert ran.exit.code == EXIT_ALL, ran.said
    files = [box.drive("C").read(name) for name in record_names(box)]
    records = [(parse_record(octets), len(octets)) for octets in files]
    runs = [(record, size) for record, size in records if record.kind == "run"]
    assert len(runs) == len(PROGRAMS) * REPEATS
    assert all(screen_rows(record) for record, _ in runs)
    for what, some in (("runs", runs), ("with their snapshots", records)):
        packed, plain = sum(size for _, size in some), sum(unpacked(record, size) for record, size in some)
        print(f"{len(some)} records, {what}: {packed} of {plain} octets, {packed / plain:.3f}")
        assert packed <= 0.5 * plain
    assert max(size for _, size in runs) < 600


def test_a_screen_that_packing_would_make_longer_stays_as_it_is() -> None:
    """Every cell unlike its neighbour: packed it would take a control octet for each 128 cells more."""
    source = """
main:   mov     ax, 0B800h
        mov     es, ax
        xor     di, di
        mov     cx, 2000
        mov     ax, 0700h
.next:  stosw
        inc     ax
        mov     ah, 07h
        loop    .next
        exit
"""
    _, ran = run_under_agent(agent_box(AT), source)
    values = ran.run.values("screen")
    assert values is not None
    assert values["packing"] == "none"
    assert len(values["cells"]) == 4000
