"""The real READOFF.COM in the test machine: start it, run our programs under it, read its records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from readoff.box import AT, Box, Drive, Exit, MachineSpec
from readoff.box.dos_process import Ended
from readoff.contract.cells import unpack_cells
from readoff.contract.record import Record, parse_record
from support.box_programs import RESULTS, Ran, assemble

TESTS: Final = Path(__file__).resolve().parents[1]
AGENT: Final = TESTS.parent / "dos_agent" / "READOFF.COM"
PROGRAMS: Final = TESTS / "dos_programs"
EXIT_ALL, EXIT_MISSING, EXIT_NOTHING, EXIT_SPOOL = range(4)


@dataclass
class AgentRan:
    """READOFF.COM ran: its exit, and the records that it left, by file name, in the order of their names."""

    exit: Exit
    records: dict[str, Record]

    @property
    def said(self) -> str:
        """All that came on the screen, the program's own lines included."""
        return self.exit.console.decode("cp437")

    def of_kind(self, kind: str) -> list[Record]:
        """Records of a kind."""
        return [record for record in self.records.values() if record.kind == kind]

    @property
    def run(self) -> Record:
        """The only record of a run."""
        (record,) = self.of_kind("run")
        return record


def agent_box(spec: MachineSpec = AT, *names: str, **sources: str) -> Box:
    """A booted box with READOFF.COM on C:, sample programs by name, and programs given as source."""
    drive = Drive()
    drive.write("READOFF.COM", AGENT.read_bytes())
    for name in names:
        drive.write(name, (PROGRAMS / name).read_bytes())
    for name, source in sources.items():
        drive.write(f"{name}.COM", assemble(source))
    box = Box(spec, {"C": drive})
    box.most_seconds = 120
    box.patience = 60
    box.boot(1)
    return box


def record_names(box: Box, drive: str = "C") -> list[str]:
    """Names of the records in the spool, sorted."""
    return [name for name in box.drive(drive).list("*.RDO") if not name.endswith("SERIAL.RDO")]


def readoff(box: Box, tail: str, *, keys: str = "", drive: str = "C") -> AgentRan:
    """Run READOFF.COM with a command tail; its records are those that were not there before."""
    before = set(record_names(box, drive))
    exit_ = box.run("C:\\READOFF.COM", tail, keys=keys)
    made = [name for name in record_names(box, drive) if name not in before]
    return AgentRan(exit_, {name: parse_record(box.drive(drive).read(name)) for name in made})


def console(record: Record) -> bytes:
    """Everything that the program printed, as far as the record has it."""
    return b"".join(section.values["octets"] for section in record.all("console") if section.values)


def end_of(record: Record) -> Mapping[str, Any]:
    """The section run_end; its flags that are set as a set under ``set``."""
    values = record.values("run_end")
    assert values is not None
    return {**values, "set": {name for name, on in values["flags"].items() if on}}


def captured_all(record: Record) -> int:
    """What END says."""
    values = record.values("end")
    assert values is not None
    return int(values["captured_all"])


def screen_rows(record: Record) -> list[str]:
    """Rows of the text screen that was kept, without blanks at their ends and empty rows at its end."""
    values = record.values("screen")
    assert values is not None
    width, cells = values["columns"], values["cells"]
    if values["packing"] == "runs":
        cells = unpack_cells(cells, width * values["rows"])
    assert len(cells) == 2 * width * values["rows"]
    rows = [cells[2 * width * i : 2 * width * (i + 1) : 2].decode("cp437") for i in range(values["rows"])]
    while rows and not rows[-1].strip(" \0"):
        rows.pop()
    return [row.rstrip(" \0") for row in rows]


def keep_results(box: Box, name: str) -> list[bytes]:
    """A list that grows by the results of each program of this name when it ends: its memory is the agent's then."""
    results: list[bytes] = []
    processes = box.on.dos.processes
    before = processes.on_ended

    def on_ended(ended: Ended) -> None:
        if ended.name.upper().endswith(name.upper()):
            results.append(box.on.engine.memory.read(ended.psp, RESULTS, 256))
        before(ended)

    processes.on_ended = on_ended
    return results


def watch_frames(box: Box) -> list[tuple[int, bytes]]:
    """A list that grows by (mode, frame) whenever a graphics mode is left."""
    frames: list[tuple[int, bytes]] = []
    video, set_mode = box.on.video, box.on.video.set_mode

    def watched(value: int) -> None:
        if not video.is_text:
            frames.append((video.mode, video.frame()))
        set_mode(value)

    video.set_mode = watched  # type: ignore[method-assign]
    return frames


def run_under_agent(
    box: Box, source: str, tail: str = "", *, keys: str = "", options: str = ""
) -> tuple[Ran, AgentRan]:
    """Assemble a program, run it under the agent; (its results, what the agent left)."""
    box.drive("C").write("T.COM", assemble(source))
    results = keep_results(box, "T.COM")
    ran = readoff(box, f"RUN {options} T.COM {tail}".rstrip(), keys=keys)
    return Ran(ran.exit, results[-1]), ran


def big_print(octets: int) -> bytes:
    """What the sample program BIGPRINT prints."""
    row = bytes(33 + i % 94 if i % 64 < 62 else (13, 10)[i % 64 - 62] for i in range(octets))
    return row + row + f"\r\nBig print: {2 * octets} octets, sum {sum(row) * 2 % 65536}\r\n".encode()
