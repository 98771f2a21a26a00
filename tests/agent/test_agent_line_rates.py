"""The agent's side of the agreement on a rate, with hosts and wires of every kind: it is never left alone at one."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from readoff.box import AT, LATE, XT, Box, MachineSpec
from readoff.box.line import Fault
from readoff.link.events import Bye, RateHolds, Stray
from readoff.link.frames import build_message
from readoff.link.framing import frame
from readoff.link.rates import PATTERN, START
from support.agent_box import EXIT_ALL, EXIT_MISSING, agent_box, readoff, record_names
from support.agent_line import BASE, MILLISECOND, LineBench
from support.box_host import BoxHost
from support.line_records import check_kept, record

FASTER = (1, 2, 3, 6)


def with_record(spec: MachineSpec = AT, octets: int = 6000) -> Box:
    """A box with one snapshot in its spool, about so long."""
    box = agent_box(spec)
    box.drive("C").write("CONFIG.SYS", bytes(range(256)) * (octets // 256))
    assert readoff(box, "SNAP /L:base").exit.code == EXIT_ALL
    return box


def delivered(box: Box, host: BoxHost, octets: bytes) -> None:
    assert list(host.store.values()) == [octets]
    assert record_names(box) == []


def only_record(box: Box) -> bytes:
    (name,) = record_names(box)
    return box.drive("C").read(name)


def garbles(box: Box, when: Callable[[int, int], bool]) -> Fault:
    """A wire that changes every octet where ``when`` says so of (octets so far, the port's divisor)."""
    uart = box.line(1).uart
    return lambda count, octet: bytes([octet ^ 0x5A if when(count, uart.divisor) else octet])


@pytest.mark.parametrize(
    ("spec", "option", "host_fastest", "expected"),
    [
        (AT, "", 1, 1),
        (XT, "", 1, 1),
        (LATE, "", 1, 1),
        (AT, ",38400", 1, 3),
        (XT, "", 2, 2),
        (AT, ",9600", 1, 12),
        (AT, "", 12, 12),
        (LATE, "", 8, 8),
    ],
)
def test_the_fastest_that_both_allow(
    spec: MachineSpec, option: str, host_fastest: int, expected: int
) -> None:
    box = with_record(spec, 2000)
    octets = only_record(box)
    host = BoxHost(fastest=host_fastest)
    host.plug(box.line(1))
    ran = readoff(box, f"SEND /S:COM1{option}")
    assert ran.exit.code == EXIT_ALL, ran.said
    delivered(box, host, octets)
    assert host.rates[:2] == ([12] if expected == 12 else [12, expected])
    assert (f"COM1: {115200 // expected} bits a second." in ran.said) is (expected != 12)
    assert box.line(1).uart.divisor == 48  # as DOS had left it
    box.command("ECHO a moment later")
    assert host.receiver.divisor == START
    assert host.events[-1] == Bye(0)


def test_a_slow_rate_is_the_start_itself() -> None:
    box = with_record(AT, 500)
    octets = only_record(box)
    host = BoxHost(fastest=48)
    host.plug(box.line(1))
    assert readoff(box, "SEND /S:COM1,2400").exit.code == EXIT_ALL
    delivered(box, host, octets)
    assert host.rates == [48]


def test_a_host_whose_port_can_not_be_set() -> None:
    """Its divisor stays; it agrees, and says nothing of it. Each rate that fails costs about a second."""
    box = with_record(AT, 500)
    octets = only_record(box)
    host = BoxHost(fixed=True)
    host.plug(box.line(1))
    ran = readoff(box, "SEND /S:COM1")
    assert ran.exit.code == EXIT_ALL, ran.said
    delivered(box, host, octets)
    assert host.rates == [12]
    assert ran.exit.seconds < 4 * 2 + len(octets) / 960 + 2


def test_a_host_that_does_not_know_of_rates() -> None:
    box = with_record(AT, 500)
    octets = only_record(box)
    host = BoxHost()
    host.receiver._ON = {kind: do for kind, do in host.receiver._ON.items() if kind != "rate"}  # type: ignore[misc]
    host.plug(box.line(1))
    assert readoff(box, "SEND /S:COM1").exit.code == EXIT_ALL
    delivered(box, host, octets)
    assert any(isinstance(event, Stray) for event in host.events)


@pytest.mark.parametrize("bad", [(1,), (1, 2), (1, 2, 3), FASTER])
@pytest.mark.parametrize("way", ["to the host", "to the agent"])
def test_rates_at_which_everything_is_garbled(bad: tuple[int, ...], way: str) -> None:
    box = with_record(AT, 500)
    octets = only_record(box)
    host = BoxHost()
    line = box.line(1)
    host.plug(line)
    wire = garbles(box, lambda _, divisor: divisor in bad)
    if way == "to the host":
        line.fault_to_host = wire
    else:
        line.fault_to_guest = wire
    ran = readoff(box, "SEND /S:COM1")
    assert ran.exit.code == EXIT_ALL, ran.said
    delivered(box, host, octets)
    expected = next(divisor for divisor in (*FASTER, START) if divisor not in bad)
    holds = [event.rate for event in host.events if isinstance(event, RateHolds)]
    assert holds == ([115200 // expected] if expected != START else [])
    assert ran.exit.seconds < 2.5 * len(bad) + len(octets) * expected / 11520 + 2


@pytest.mark.parametrize("good", [1500, 3000, 5000])
@pytest.mark.parametrize("worst", [2, 12])
def test_a_rate_that_goes_bad_in_mid_record_is_left(good: int, worst: int) -> None:
    box = with_record(AT)
    octets = only_record(box)
    host = BoxHost()
    line = box.line(1)
    host.plug(line)
    line.fault_to_host = garbles(box, lambda count, divisor: count > good and divisor < worst)
    ran = readoff(box, "SEND /S:COM1")
    assert ran.exit.code == EXIT_ALL, ran.said
    delivered(box, host, octets)
    assert host.rates[-1 if worst == 2 else 1] == (2 if worst == 2 else 1) or host.rates[-1] == START
    assert f"(down to {115200 // worst} bits a second)" in ran.said
    assert ran.exit.seconds < 60


def test_moments_of_the_agreement_to_aim_at() -> None:
    assert list(moments()) == ["octet", "AgentSeen", "RateHolds", "Offered", "Arrived", "Bye"]


def moments() -> dict[str, int]:
    """Microseconds of a sending's stages, in a box like those of the tests below."""
    box = with_record()
    host = BoxHost()
    host.plug(box.line(1))
    begun = box.on.engine.now() // 10**6
    assert readoff(box, "SEND /S:COM1").exit.code == EXIT_ALL
    box.command("ECHO a moment later")
    return {name: at - begun for name, at in host.moments.items()}


@pytest.mark.parametrize("part", [n / 10 for n in range(1, 11)])
def test_power_cut_in_mid_change(part: float) -> None:
    """Between hello and the first offer, in ten steps: the next start of the agent finds the host again."""
    stages = moments()
    box = with_record()
    octets = only_record(box)
    host = BoxHost()
    host.plug(box.line(1))
    box.cut_power_at((stages["octet"] + part * (stages["Offered"] - stages["octet"])) / 1e6)
    assert box.run("C:\\READOFF.COM", "SEND /S:COM1").kind == "power cut"
    assert only_record(box) == octets
    box.boot(2, cold=False)
    line = box.line(1)
    host.line = line
    line.uart.other_divisor = host.port  # wherever it is: nothing tells it of the reset
    boot_of_agent = box.on.engine.now() // 10**6
    line.attach(_Later(host, 10**8 - boot_of_agent))  # its clock goes on
    ran = readoff(box, "SEND /S:COM1")
    assert ran.exit.code == EXIT_ALL, ran.said
    delivered(box, host, octets)


class _Later:
    """A host whose clock is ahead by so many microseconds."""

    def __init__(self, host: BoxHost, ahead: int) -> None:
        self.host, self.ahead = host, ahead
        host._set_at = 0

    def exchange(self, now: int, octets: bytes) -> bytes:
        return self.host.exchange(now + self.ahead, octets)


@pytest.mark.parametrize("after", [17, 30, 34, 60, 100, 150, 170, 250, 1500, 4000])
def test_a_host_that_is_started_again_at_any_octet(after: int) -> None:
    """The new one is at the start rate; the agent finds it there and the record goes on."""
    box = with_record()
    octets = only_record(box)
    host = BoxHost(restarts_after=[after])
    host.plug(box.line(1))
    ran = readoff(box, "SEND /S:COM1")
    assert ran.exit.code == EXIT_ALL, ran.said
    delivered(box, host, octets)
    assert ran.exit.seconds < 20


@pytest.mark.parametrize("after", [30, 60, 100, 200])
def test_a_host_that_dies_in_mid_change_costs_seconds(after: int) -> None:
    box = with_record()
    host = BoxHost(dies_after=after)
    host.plug(box.line(1))
    ran = readoff(box, "SEND /S:COM1")
    assert ran.exit.code == EXIT_MISSING
    assert ran.exit.seconds < 15
    assert len(record_names(box)) == 1


@pytest.mark.parametrize(("counter_tells", "least", "most"), [(True, 0.055, 0.057), (False, 0.055, 0.115)])
def test_the_host_has_a_tick_to_set_its_port(counter_tells: bool, least: float, most: float) -> None:
    """Told by the timer's counter; where that can't tell (an 8253 in mode 3), by two ticks."""
    line = LineBench({"A.RDO": record(1, 100)})
    line.bench.put("clock_halves", bytes([not counter_tells]))
    read, heard, tried = line.uart.read, [0.0], list[float]()

    def reads(register: int) -> int:
        if register == 0 and not tried:
            heard.append(line.seconds)
        return read(register)

    def writes(value: int, write: Callable[[int], None] = line.bench.ports_out[BASE]) -> None:
        if line.uart.divisor == 1 and not line.uart.lcr & 0x80:
            tried.append(line.seconds)
        write(value)

    line.bench.ports_in[BASE] = lambda: reads(0)
    line.bench.ports_out[BASE] = writes
    assert line.offer() == 0
    assert least <= tried[0] - heard[-1] <= most


def test_a_host_that_sets_its_port_late_loses_one_trial(monkeypatch: pytest.MonkeyPatch) -> None:
    """The rate holds all the same."""
    monkeypatch.setattr("support.agent_line.HOST_SETS", 90 * MILLISECOND)
    line = LineBench({"A.RDO": record(1, 100)})
    assert line.offer() == 0
    assert [event.rate for event in line.events if isinstance(event, RateHolds)] == [115200]
    assert frame(build_message("trial", number=4, octets=PATTERN)) in line.from_agent
    assert frame(build_message("trial", number=5, octets=PATTERN)) not in line.from_agent


def test_the_frames_octet_by_octet() -> None:
    """rate, trial: the same as the machine in Python sends."""
    line = LineBench({"A.RDO": record(1, 100)})
    assert line.offer() == 0
    check_kept(line)
    assert frame(build_message("rate", divisor=1)) in line.from_agent
    for number in (1, 2, 3):
        assert frame(build_message("trial", number=number, octets=PATTERN)) in line.from_agent
    assert frame(build_message("trial", number=4, octets=PATTERN)) not in line.from_agent
