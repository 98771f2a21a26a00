"""Fuzz targets: what octets or tables from outside may do to us, one seeded case at a time.

A target takes a random.Random, spoils something sound (or makes something up), gives it to the real part, and raises
when the promise is broken: **an error of ours or a value, in bounded size and time, never another exception; what
parses builds again to the same.** What a case is follows from its target and its seed alone.
"""

from __future__ import annotations

import re
import signal
import tempfile
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

from readoff.arrivals.images import FILES_LIMIT, arrivals_in, files_in_image
from readoff.contract import Codec, declare, record_contract
from readoff.contract.record import Completeness, Record, build_record, parse_record, parse_records
from readoff.errors import ContractError, MalformedError, SchemaError
from readoff.floppy import FORMATS, floppy_image
from readoff.link.framing import XON_XOFF, Deframer, Frame, Skipped, frame
from readoff.readings import Capture, CaptureKind, Schema, load_schemas, read_run
from readoff.readings.picture.decoding import decode
from readoff.readings.samples import check_samples
from readoff.store import open_store
from support import drawn_pictures, store_samples
from support.records import a_record
from support.spoiling import spoiled, strange
from support.strange_toml import as_document

ROOT = Path(__file__).resolve().parents[2]
CASE_SECONDS = 20
"""Processor time that one case may take; the slowest seen takes about a hundredth of it."""
FRAME_LIMIT = 1100
MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None  # a store for each case: not on a disk


class BrokenPromiseError(Exception):
    """A case that came to something else than an error of ours or a sound value."""


def _promise(holds: bool, what: str) -> None:
    if not holds:
        raise BrokenPromiseError(what)


def framing(draw: Random) -> None:
    """Frames and noise, spoiled, in pieces: every octet is a frame's or told as skipped; a frame frames again."""
    accm = draw.choice((0, 0, XON_XOFF, 0xFFFFFFFF))
    parts = [
        draw.choice(
            (frame(draw.randbytes(draw.randint(1, 300)), accm), draw.randbytes(20), b"\x7e\x7d", b"U" * 3000)
        )
        for _ in range(draw.randint(1, 6))
    ]
    octets, deframer = spoiled(draw, b"".join(parts)), Deframer(FRAME_LIMIT, accm)
    items, at = [], 0
    while at < len(octets):
        size = draw.choice((1, 7, 64, 5000))
        items += deframer.feed(octets[at : at + size])
        at += size
        _promise(deframer.pending <= 2 * FRAME_LIMIT, f"{deframer.pending} octets are kept of one frame")
    items += deframer.finish()
    framed = 0
    for item in items:
        if isinstance(item, Frame):
            _promise(len(item.payload) + 4 <= FRAME_LIMIT, "a frame longer than may be")
            again = Deframer(FRAME_LIMIT, accm).feed(frame(item.payload, accm))
            _promise(again == [item], "a frame does not frame again")
            framed += len(frame(item.payload, accm)) - 2  # its flags are counted by themselves
    skipped = sum(item.octets for item in items if isinstance(item, Skipped))
    accounted = framed + skipped + deframer.flags + deframer.removed
    _promise(accounted == len(octets), f"{len(octets)} octets came, {accounted} are accounted for")


@cache
def _records() -> tuple[bytes, ...]:
    made = (
        store_samples.run_record(),
        store_samples.snapshot_record(),
        store_samples.file_record(content=b"x" * 99),
    )
    return (*made, a_record())


def _hostile_record(draw: Random) -> bytes:
    """Octets spoiled at large, or sections spoiled under checks that hold."""
    sound = draw.choice(_records())
    if draw.randrange(2):
        return spoiled(draw, sound + draw.choice((b"", b"\x1a" * 9, draw.choice(_records()))))
    whole = parse_record(sound)
    sections = [(each.tag, spoiled(draw, each.payload, 3)[:65000]) for each in whole.sections[:-1]]
    draw.shuffle(sections)
    octets = build_record(whole.kind, whole.id, sections)
    _promise(parse_record(octets).completeness is Completeness.WHOLE, "a built record does not read as whole")
    return octets


def record(draw: Random) -> None:
    """Records spoiled as octets, or or in their sections with right checks: octets are kept, values build again."""
    octets = _hostile_record(draw)
    parts = parse_records(octets)
    _promise(b"".join(part.octets for part in parts) == octets, "octets of an arrival are lost")
    codec = record_contract().codec
    for part in parts:
        for section in part.sections if isinstance(part, Record) else ():
            if section.values is None or not section.name:
                continue
            layout = record_contract().kinds[section.name].layout
            again = codec.parse(layout, codec.build(layout, section.values))
            _promise(again == section.values, f"{section.name} does not build again")


def store(draw: Random) -> None:
    """The same into a store: the octets are kept as they came, and reading them meets no mistake of ours."""
    arrivals = [_hostile_record(draw) for _ in range(3)]
    with (
        tempfile.TemporaryDirectory(dir=MEMORY) as folder,
        open_store(Path(folder, "fuzz.db"), _replay()) as into,
    ):
        for octets in arrivals:
            into.take(octets, "fuzz")
        kept = {row[0] for row in into.db.execute("SELECT octets FROM arrivals").fetchall()}
        failures = into.db.execute("SELECT reason FROM holds WHERE kind = 'failure'").fetchall()
    _promise(kept == set(arrivals), "an arrival is not kept as it came")
    _promise(not failures, f"a hold for a mistake of ours: {failures[:1]}")


@cache
def _replay() -> list[Schema]:
    return load_schemas([("replay.toml", store_samples.SCHEMA)])


@cache
def _layout_tables() -> tuple[dict[str, Any], ...]:
    tables = [
        tomllib.loads((ROOT / "protocols" / name).read_text("utf-8")) for name in ("record.toml", "link.toml")
    ]
    few = [{key: table[key] for key in ("enums", "layouts") if key in table} for table in tables]
    return (*few, {"layouts": tomllib.loads(WEIR)["layouts"]})


def layouts(draw: Random) -> None:
    """Declarations with strange things in them, then octets by those that stand: values build again."""
    try:
        made = declare(strange(draw, draw.choice(_layout_tables())), "fuzz.toml")
    except ContractError as error:
        _promise(error.where.startswith("fuzz.toml"), "a mistake without its place")
        return
    codec = Codec(made)
    names = sorted(made.layouts)
    for name in draw.sample(names, min(3, len(names))):
        octets = draw.choice(
            (draw.randbytes(draw.randint(0, 80)), bytes(draw.randint(0, 200)), spoiled(draw, WEIR_FILE))
        )
        try:
            values = codec.parse(name, octets)
        except MalformedError as error:
            _promise(error.where.startswith(name), "a misfit without its place")
            continue
        _promise(codec.parse(name, codec.build(name, values)) == values, f"{name} does not build again")


@cache
def _text_schemas() -> tuple[dict[str, Any], ...]:
    shipped = [
        tomllib.loads(path.read_text("utf-8")) for path in (ROOT / "protocols/readings").glob("*.toml")
    ]
    found = [
        tomllib.loads(text)
        for name in ("schemas.md", "schemas-screens-files.md")
        for text in re.findall(
            r"```toml\n(schema = .*?)```", (ROOT / "docs" / name).read_text("utf-8"), re.DOTALL
        )
    ]
    return tuple(
        sorted(
            (each for each in shipped + found if each.get("kind") != "binary"),
            key=lambda each: str(each["schema"]),
        )
    )


def _read(draw: Random, table: dict[str, Any], captures: list[Capture], *, whole: bool) -> None:
    """Loads a schema (spoiled in its tables or in its text, unless whole) and reads captures by it."""
    if whole:
        text = as_document(table)
    elif draw.randrange(4):
        text = as_document(strange(draw, table))
    else:
        text = spoiled(draw, as_document(table).encode()).decode("utf-8", "replace")
    try:
        schemas = load_schemas([("x.toml", text)])
    except SchemaError as error:
        _promise(bool(error.faults), "a refusal without a fault")
        _promise(
            all(each.startswith("x.toml") and len(each) < 1000 for each in error.faults),
            "a fault without place",
        )
        _promise(not whole, f"a sound schema is refused: {error}")
        return
    for schema in schemas:
        check_samples(schema)
    readout = read_run(captures, schemas)
    for reading in readout.readings:
        if not reading.derived:
            held = max(len(each.octets) for each in captures)
            _promise(
                0 <= reading.begin < reading.end <= held, f"{reading.metric} is read from where nothing is"
            )
    _promise(len(readout.holds) <= 1000, "holds without end")


def _samples(table: dict[str, Any]) -> list[str]:
    return [
        str(each["text"]) for each in table.get("samples", []) if isinstance(each, dict) and "text" in each
    ]


def text_schemas(draw: Random) -> None:
    """Schemas of what is printed and shown, and captures, both spoiled."""
    table = draw.choice(_text_schemas())
    printed = "\r\n".join(_samples(table)) or "Score: 12.5 points\r\nRate: 1,5 k/s"
    octets = spoiled(draw, printed.encode("cp437", "replace"))
    cells = bytes(o for code in octets[:2000].ljust(2000) for o in (code, 7))
    captures = [Capture(CaptureKind.CONSOLE, octets), Capture(CaptureKind.SCREEN, cells, 80)]
    _read(draw, table, captures, whole=draw.randrange(3) == 0)


WEIR = """
schema = "weir"
kind = "binary"
title = "A weir"
headline = ["rate"]
units = ["buckets", "buckets/s"]
layout = "result"
[recognise]
files = ["WEIR*.DAT"]
[layouts.result]
fields = [
  { name = "magic", type = "octets", size = 4, equals = "57 45 49 52" },
  { name = "marks", type = "u8", bits = ["ready", "level:3"] },
  { name = "machine", type = "text", prefix = "u8" },
  { name = "buckets", type = "u32" },
  { name = "tests", type = "array", of = "test", prefix = "u8" },
  { name = "more", type = "u8" },
  { name = "ends", type = "array", of = "test", count = "more" },
  { name = "notes", type = "tlv", tag = "u8", length = "u16", cases = { 1 = "test" } },
]
[layouts.test]
fields = [
  { name = "ticks", type = "u16" },
  { name = "rate", type = "i16", scale = 0.25 },
  { name = "shown", type = "text", size = 8 },
]
[metrics.buckets]
field = "buckets"
unit = "buckets"
better = "neither"
once = true
exact = true
[metrics.rate]
field = "tests[*].rate"
unit = "buckets/s"
better = "higher"
[metrics.shown]
field = "ends[*].shown"
unit = "buckets/s"
better = "higher"
optional = true
[metrics.a_bucket]
formula = "rate / buckets"
unit = ""
better = "higher"
"""
_TEST = b"\x12\x00\x90\x01100.0\0\0\0"
WEIR_FILE = b"WEIR\x87\x03ABC\x40\x9c\0\0\x02" + _TEST * 2 + b"\x01" + _TEST + b"\x01\x0c\0" + _TEST


def binary_schemas(draw: Random) -> None:
    """Schemas of files with fields, and files, both spoiled."""
    captures = [Capture(CaptureKind.FILE, spoiled(draw, WEIR_FILE), name="WEIR.DAT")]
    _read(draw, tomllib.loads(WEIR), captures, whole=draw.randrange(3) == 0)


@cache
def _images() -> tuple[bytes, ...]:
    files = {f"F{number}.RDO": octets + bytes(number * 700) for number, octets in enumerate(_records())}
    floppies = [floppy_image(sectors, files, datetime(1994, 5, 31)) for sectors in sorted(FORMATS)[:3]]
    entry = bytes((0x80, 1, 1, 0, 1, 0, 0, 0)) + (1).to_bytes(4, "little") + (720).to_bytes(4, "little")
    partitioned = bytes(446) + entry + bytes(48) + b"\x55\xaa" + floppies[0]
    bare = bytes(512) + floppies[0][512:]  # of the time before parameter blocks
    return (*floppies, partitioned, bare)


def disk_images(draw: Random) -> None:
    """Floppies and a partition, spoiled where their layout, tables and folders are: files within the image's size."""
    octets = bytearray(draw.choice(_images()))
    for _ in range(draw.randint(0, 6)):
        begin, end = draw.choice(((11, 36), (446, 512), (512, 4096), (2560, 9000), (0, len(octets))))
        part = spoiled(draw, bytes(octets[begin:end]), 2)
        octets[begin : begin + len(part)] = part
        if draw.randrange(4) == 0 and len(octets) > 4096:
            at = draw.randrange(2048, len(octets) - 12, 512)
            octets[at + 11] = 0x10  # a folder, perhaps of itself
    if draw.randrange(6) == 0:
        del octets[draw.randrange(len(octets)) :]
    image = bytes(octets)
    try:
        files = files_in_image(image)
    except MalformedError:
        files = []
    _promise(len(files) <= FILES_LIMIT, "more files than there may be")
    for each in files:
        _promise(len(each.octets) <= len(image), f"{each.name!r} is longer than its image")
    for content, came_from in arrivals_in(image, "a.img"):
        _promise(len(content) <= len(image) and came_from.startswith("a.img"), "an arrival from nowhere")


@cache
def _pictures() -> tuple[bytes, ...]:
    rows = drawn_pictures.grid(["Rate: 43.5 r/s", "Load: 7"], drawn_pictures.CHAMFER[8, 8])
    return tuple(drawn_pictures.FORMATS[name](rows) for name in sorted(drawn_pictures.FORMATS))


def pictures(draw: Random) -> None:
    """Screenshots of every format, spoiled, mostly in their heads: refused, or as many pixels as their size says."""
    octets = draw.choice(_pictures())
    head = draw.choice((30, 80, 200, len(octets)))
    try:
        picture = decode(spoiled(draw, octets[:head], 3) + octets[head:])
    except MalformedError as error:
        _promise(bool(error.what), "a refusal without a reason")
        return
    size = picture.width * picture.height
    _promise(len(picture.pixels) in (size, 3 * size), "pixels that do not fit their size")


TARGETS: dict[str, Callable[[Random], None]] = {
    "framing": framing,
    "record": record,
    "store": store,
    "layouts": layouts,
    "text-schemas": text_schemas,
    "binary-schemas": binary_schemas,
    "disk-images": disk_images,
    "pictures": pictures,
}


def play(target: str, seed: int) -> str:
    """One case. Gives how it broke the promise, or ""."""
    try:
        with _bounded():
            TARGETS[target](Random(f"{target} {seed}"))
    except BrokenPromiseError as error:
        return str(error)
    except Exception as error:
        last = error.__traceback__
        while last and last.tb_next:
            last = last.tb_next
        where = f"{Path(last.tb_frame.f_code.co_filename).name}:{last.tb_lineno}" if last else ""
        return f"{type(error).__name__}: {str(error)[:300]} ({where})"
    return ""


@contextmanager
def _bounded() -> Iterator[None]:
    """Ends a case that takes too long, by the processor's time: another program's load does not count."""

    def too_long(*_: object) -> None:
        raise BrokenPromiseError(f"took more than {CASE_SECONDS} s of the processor's time")

    before = signal.signal(signal.SIGVTALRM, too_long)
    signal.setitimer(signal.ITIMER_VIRTUAL, CASE_SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)
