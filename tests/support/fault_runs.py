"""One seeded fault run: records in a spool, a bad line, a host in trouble; then all is well, and the rest comes.

Three kinds. "box": READOFF.COM in the test machine, by SNAP and SEND over its serial port, with noise on each octet,
cut power, resets, a full disk, a write that fails. "twin": readoff.link.Sender in its place on a simulated line, which
is far faster. The host is the real receiver, desk and store in both (support/faulty_host.py says what befalls it); the
line may garble all at some rates, from the beginning or later, and the host's port may refuse to change its rate.
"process": the host is a process of its own, or two on one store, and one is killed outright (support/killed_watch.py).

The invariant, looked at after each phase with a connection of its own: every record that is gone from the spool is in
the store, whole and once; every other one is in the spool, octet for octet.
"""

from __future__ import annotations

import hashlib
import random
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from readoff.box import AT, LATE, XT, Box
from readoff.box.line import Fault
from readoff.box.line import Line as BoxLine
from readoff.contract.record import MAGIC, Completeness, parse_record
from readoff.link.sender import Sender, Spooled, Verdict
from support import store_samples as samples
from support.agent_box import agent_box, record_names
from support.faulty_host import TROUBLES, FaultyHost, Trouble
from support.killed_watch import killed_run
from support.simulated_line import Desk, Faults, Line

BIT_ERRORS = (0.0, 1e-6, 1e-5, 1e-4, 1e-3)
HEALING_ROUNDS = 12
HEADER = 28
"""Octets of a record's header with its check: what is shorter cannot say which record it is."""


class InvariantError(AssertionError):
    """The invariant does not hold."""


@dataclass
class Figures:
    """What happened in one run."""

    records: int = 0
    kills: int = 0
    refusals: int = 0
    cuts: int = 0
    ports_gone: int = 0
    clock_jumps: int = 0
    rival_watchers: int = 0
    rates_left: int = 0
    kept_under_faults: int = 0


def run(kind: str, seed: int, folder: Path) -> Figures:
    """One run; folder: an empty one for its store. Raises InvariantError."""
    if kind == "process":
        return _process(seed, folder)
    draw = random.Random(f"{kind} {seed}")
    fastest = draw.choice((1, 1, 1, 3, 12))
    host = FaultyHost(folder / "readoff.db", _troubles(draw), draw.choice((0.1, 1.0, 5.0)), fastest)
    try:
        figures = (_box if kind == "box" else _twin)(draw, host)
    finally:
        host.close()
    figures.kills, figures.refusals, figures.ports_gone = host.kills, host.refused, host.gone
    figures.clock_jumps, figures.rival_watchers = host.jumps, host.rivals
    return figures


def _process(seed: int, folder: Path) -> Figures:
    try:
        return Figures(killed_run(seed, folder, watchers=1 + seed // 10 % 2), kills=1)
    except AssertionError as error:
        raise InvariantError(f"a host in a process of its own: {error}") from error


def _troubles(draw: random.Random) -> tuple[Trouble, ...]:
    count = draw.choice((0, 1, 1, 2, 4))
    return tuple(Trouble(draw.choice(TROUBLES), draw.randrange(1, 6)) for _ in range(count))


def _records(draw: random.Random, most: int, largest: int) -> list[bytes]:
    """Records of a boot, as the agent writes them; some are cut short, as a machine that hung leaves them."""
    out = []
    for ordinal in range(2, 3 + draw.randrange(most)):
        screens = (samples.screen(["Rate: 72.9 frames/s"]),) if draw.random() < 0.2 and largest > 2000 else ()
        console = samples.printed() + draw.randbytes(draw.choice((0, 40, 700, largest)))
        octets = samples.run_record(ordinal, 0xA1B2C3D4, console=console, screens=screens)
        out.append(octets if draw.random() < 0.85 else octets[: draw.randrange(40, len(octets))])
    return out


def check(store: Path, all_records: Mapping[str, bytes], spool: Mapping[str, bytes]) -> int:
    """The invariant; gives how many records have been let go. Both by file name. Raises InvariantError."""
    db = sqlite3.connect(f"{store.as_uri()}?mode=ro", uri=True)
    try:
        for name, octets in all_records.items():
            if name in spool:
                if spool[name] != octets:
                    raise InvariantError(f"{name} has changed in the spool")
            else:
                _check_kept(db, name, octets)
        for digest, octets in db.execute("SELECT sha256, octets FROM arrivals").fetchall():
            if octets not in all_records.values() or hashlib.sha256(octets).hexdigest() != digest:
                raise InvariantError("the store has octets that nobody sent")
    finally:
        db.close()
    return len(all_records.keys() - spool.keys())


def _check_kept(db: sqlite3.Connection, name: str, octets: bytes) -> None:
    raw = db.execute("SELECT number, octets FROM arrivals WHERE octets = ?", [octets]).fetchall()
    if len(raw) != 1:
        raise InvariantError(f"{name} was let go, and is {len(raw)} times in the store")
    pending = db.execute("SELECT count(*) FROM pending WHERE arrival = ?", [raw[0][0]]).fetchone()[0]
    rows = db.execute(
        "SELECT sha256, standing, completeness FROM records WHERE id = ?", [str(parse_record(octets).id)]
    ).fetchall()
    if not pending and [(hashlib.sha256(octets).hexdigest(), "stands")] != [row[:2] for row in rows]:
        raise InvariantError(f"{name} was let go, and its rows are {rows}")
    if rows and (rows[0][2] == Completeness.WHOLE) != (
        parse_record(octets).completeness is Completeness.WHOLE
    ):
        raise InvariantError(f"{name} is called {rows[0][2]}")


# -- the twin --------------------------------------------------------------------------------------------------


class _Ear:
    """The host as the simulated line calls a receiver."""

    def __init__(self, host: FaultyHost, line: Line) -> None:
        self._host, self._line, self._out = host, line, bytearray()

    @property
    def divisor(self) -> int:
        return self._host.divisor

    def passed(self, now: float) -> list[object]:
        self._out += self._host.hear(b"", now)
        return []

    def receive(self, octets: bytes, now: float) -> list[object]:
        self._out += self._host.hear(octets, now)
        return []

    def to_send(self) -> bytes:
        out = bytes(self._out)
        self._out.clear()
        return out


class _CutError(Exception):
    """The power of the old machine is cut."""


class _MortalSender(Sender):
    """Loses its power after some frames."""

    left: int | None = None

    def to_send(self, now: float) -> bytes:
        octets = super().to_send(now)
        if octets and self.left is not None:
            self.left -= 1
            if self.left < 0:
                raise _CutError
        return octets


def _twin(draw: random.Random, host: FaultyHost) -> Figures:
    records = {f"{n:08}.RDO": octets for n, octets in enumerate(_records(draw, 5, 3000), 1)}
    figures, now, spool = Figures(len(records)), 0.0, dict(records)
    rate = draw.choice((0.0, 0.01, 0.05, 0.15))
    faults = Faults(
        lose=draw.choice((0.0, rate)),
        flip=draw.choice(BIT_ERRORS),
        double=draw.choice((0.0, rate)),
        drop_octet=draw.choice((0.0, rate)),
        cut=draw.choice((0.0, rate)),
        delay=draw.choice((0.0, 0.016, 0.2)),
        burst=draw.choice((0.0, rate)),
        double_octet=draw.choice((0.0, rate)),
        garbles=frozenset(each for each in (1, 2, 3, 6) if draw.random() < 0.2),
        goes_bad=draw.choice((float("inf"), float("inf"), 0.5, 3.0)),
    )
    cuts = [draw.randrange(1, 60) for _ in range(draw.choice((0, 1, 3)))]
    for number, cut in enumerate([*cuts, None]):
        figures.cuts += _send(spool, host, Line(faults, draw.randrange(2**32)), now, draw, cut, figures)
        now += 1000.0
        figures.kept_under_faults = check(host.path, records, spool)
        if not spool:
            break
        assert number <= len(cuts)
    for _ in range(HEALING_ROUNDS):
        if not spool:
            break
        _send(spool, host, Line(Faults(), draw.randrange(2**32)), now, draw, None, figures)
        now += 1000.0
        check(host.path, records, spool)
    if spool:
        raise InvariantError(f"{len(spool)} records do not come over a line without faults")
    return figures


def _send(
    spool: dict[str, bytes],
    host: FaultyHost,
    line: Line,
    now: float,
    draw: random.Random,
    cut: int | None,
    figures: Figures,
) -> int:
    """One life of the sender; takes what was kept out of the spool. Gives 1 when its power was cut."""
    waiting = [Spooled(parse_record(octets).id, octets) for octets in spool.values()]
    piece, tries, fastest = draw.choice((64, 256, 1024)), draw.choice((3, 8)), draw.choice((1, 1, 2, 12))
    sender = _MortalSender(0x11223344, 0xA1B2C3D4, waiting, piece=piece, tries=tries, fastest=fastest)
    line.now, line.fixed = now, draw.random() < 0.1
    line.divisors["host"] = host.divisor
    if line.faults.goes_bad < float("inf"):
        line.faults = replace(line.faults, goes_bad=now + line.faults.goes_bad)
    sender.left = cut
    was_cut = 0
    try:
        line.run(sender, _Ear(host, line), Desk(), longest=now + 10_000)  # type: ignore[arg-type]
    except _CutError:
        was_cut = 1
    figures.rates_left += sender.rate.fastest > fastest
    for name, each in zip(list(spool), waiting, strict=True):
        if sender.verdicts[each.id] is Verdict.KEPT:
            del spool[name]
    return was_cut


# -- the box ---------------------------------------------------------------------------------------------------

SPECS = (AT, XT, LATE, replace(LATE, uart="8250"))


@dataclass
class _Peer:
    """The host at the end of a boot's line. Its clock goes on over boots; its port follows the agreement on a rate."""

    host: FaultyHost
    line: BoxLine
    began: float
    fixed: bool
    set_at: float = 0.0

    def __post_init__(self) -> None:
        self.line.uart.other_divisor = self.host.port

    def exchange(self, now: int, octets: bytes) -> bytes:
        self.host.clock = clock = self.began + now / 1e6
        out = self.host.hear(octets, clock)
        if out:
            self.set_at = clock + len(out) * 10 * self.host.port / 115_200 + 0.02
        if clock >= self.set_at and not self.fixed:
            self.line.uart.other_divisor = self.host.port = self.host.divisor
        return out


def _noise(draw: random.Random) -> Callable[[], Fault | None]:
    """A wire's noise one way: each octet drawn by itself, and bursts."""
    flip, rate = 8 * draw.choice((*BIT_ERRORS, *BIT_ERRORS[:4])), draw.choice((0.0, 0.0, 1e-4, 1e-3))
    lose, twice, burst = (draw.choice((0.0, rate)) for _ in range(3))
    own, left = random.Random(draw.random()), [0]

    def fault(_: int, octet: int) -> bytes:
        if left[0] or (burst and own.random() < burst / 4):
            left[0] = (left[0] or own.randrange(2, 40)) - 1
            return own.randbytes(1)
        if own.random() < lose:
            return b""
        octets = bytes([octet ^ (1 << own.randrange(8))]) if own.random() < flip else bytes([octet])
        return 2 * octets if own.random() < twice else octets

    return lambda: fault if flip or lose or twice or burst else None


def _box(draw: random.Random, host: FaultyHost) -> Figures:
    box = agent_box(draw.choice(SPECS))
    # Neither a busy host nor a line that takes long is a fault.
    box.patience, box.most_seconds = 1000.0, 1800.0
    drive = box.drive("C")
    for number, octets in enumerate(_records(draw, 3, draw.choice((1500, 9000))), 0x11):
        drive.write(f"{number:08X}.RDO", octets)
    earlier = _spool(box)
    figures = Figures()
    _snapshot_in_trouble(box, draw)
    records = _spool(box)
    if {name: records.get(name) for name in earlier} != earlier:
        raise InvariantError("a record that was in the spool has changed while another was written")
    figures.records = len(records)
    out, back, delay = _noise(draw), _noise(draw), draw.choice((0, 0, 1000, 16_000))
    for _ in range(draw.choice((1, 1, 2))):
        _plug(box, host, draw, _at_rates(box, draw, out()), _at_rates(box, draw, back()), delay)
        if draw.random() < 0.5:
            box.cut_power_after(draw.randrange(1, draw.choice((20_000, 200_000, 1_000_000))))
        exit = box.run(
            "C:\\READOFF.COM", f"SEND /S:COM1{draw.choice(('', '', ',9600', ',38400', ',115200'))}"
        )
        figures.rates_left += b"(down to" in exit.console
        figures.cuts += exit.kind == "power cut"
        figures.kept_under_faults = check(host.path, records, _spool(box))
        _boot(box, draw)
    for _ in range(HEALING_ROUNDS):
        if not _spool(box):
            return figures
        _plug(box, host, draw, None, None, 0)
        box.run("C:\\READOFF.COM", "SEND /S:COM1,38400")
        check(host.path, records, _spool(box))
        _boot(box, draw)
    if left := _spool(box):
        raise InvariantError(f"{sorted(left)} do not come over a line without faults")
    return figures


def _snapshot_in_trouble(box: Box, draw: random.Random) -> None:
    """Now and then a snapshot is written as far as a disk or the power lets it be."""
    drive = box.drive("C")
    trouble = draw.choice(("", "", "full", "fails", "cut"))
    if not trouble:
        return
    if trouble == "full":
        drive.room = draw.randrange(0, 3000)
    elif trouble == "fails":
        drive.fail_write(draw.randrange(1, 8))
    else:
        box.cut_power_after(draw.randrange(1, 60_000))
    box.run("C:\\READOFF.COM", "SNAP /L:base")
    drive.room, drive.on_access = None, None
    _boot(box, draw)


def _boot(box: Box, draw: random.Random) -> None:
    box.boot(draw.randrange(1, 1000), cold=draw.random() < 0.5)


def _at_rates(box: Box, draw: random.Random, wire: Fault | None) -> Fault | None:
    """The same wire, but garbling everything at some rates, from some octet on."""
    bad = [each for each in (1, 2, 3, 6) if draw.random() < 0.15]
    after, uart = draw.choice((0, 0, 500, 2000)), box.line(1).uart
    if not bad:
        return wire

    def fault(count: int, octet: int) -> bytes:
        octets = bytes([octet]) if wire is None else wire(count, octet)
        return bytes(each ^ 0x5A for each in octets) if uart.divisor in bad and count >= after else octets

    return fault


def _plug(
    box: Box, host: FaultyHost, draw: random.Random, out: Fault | None, back: Fault | None, delay: int
) -> None:
    line = box.line(1)
    line.fault_to_host, line.fault_to_guest, line.delay = out, back, delay
    line.attach(_Peer(host, line, host.clock + draw.choice((0.5, 3.0, 30.0)), draw.random() < 0.1))


def _spool(box: Box) -> dict[str, bytes]:
    """The records in the spool. A file whose header never reached the disk is none."""
    files = {name: box.drive("C").read(name) for name in record_names(box)}
    return {
        name: octets for name, octets in files.items() if octets.startswith(MAGIC) and len(octets) >= HEADER
    }
