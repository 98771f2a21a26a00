"""READOFF.COM as committed is what its source says; it fits where it must; it runs on an 8086."""

from __future__ import annotations

import re
import subprocess
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest
from capstone import CS_ARCH_X86, CS_MODE_16, Cs

ROOT = Path(__file__).resolve().parents[2]
AGENT = ROOT / "dos_agent" / "READOFF.COM"
SOURCES = ROOT / "dos_agent" / "src"
ORIGIN = 0x100
CODE_SECTIONS = (".hooks", ".stay", ".start", ".text")
DATA_SECTIONS = (".hookdata", ".staydata", ".startdata", ".data")

# The aims and ceilings of the agent: octets of the file, of memory while a program runs, and of memory otherwise.
FILE_CEILING = 34 * 1024
STAY_CEILING = 16 * 1024
MEMORY_CEILING = 44 * 1024


@dataclass(frozen=True)
class Built:
    """The agent as assembled: octets, sections (begin, end) and symbols by name, all as addresses when it runs."""

    octets: bytes
    sections: dict[str, tuple[int, int]]
    symbols: dict[str, int]

    def code(self, begin: int, end: int) -> bytes:
        moved = 0
        if begin >= self.symbols["overlay_begin"]:
            moved = self.symbols["overlay_end"] - ORIGIN - len(self.octets)
        return self.octets[begin - moved - ORIGIN : end - moved - ORIGIN]


@cache
def built(folder: Path) -> Built:
    out, table = folder / "OUT.COM", folder / "out.map"
    command = ["nasm", "-f", "bin", "-w+all", "-w-unknown-warning", "-w+error"]
    command += [
        "--before",
        f"[map all {table}]",
        "-I",
        f"{SOURCES}/",
        "-o",
        str(out),
        str(SOURCES / "readoff.asm"),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0 and not done.stderr, done.stderr
    text = table.read_text()
    sections = {}
    for line in text.splitlines():
        found = re.fullmatch(
            r"\s*([0-9A-F]+)\s+([0-9A-F]+)\s+([0-9A-F]+)\s+([0-9A-F]+)\s+(\w+)\s+(\.\w+)", line
        )
        if found:
            sections[found[6]] = (int(found[1], 16), int(found[1], 16) + int(found[4], 16))
    symbols = {}
    for line in text[text.index("Symbols") :].splitlines():
        words = line.split()
        if len(words) == 3 and all(re.fullmatch("[0-9A-F]+", word) for word in words[:2]):
            symbols[words[2]] = int(words[1], 16)
    return Built(out.read_bytes(), sections, symbols)


@pytest.fixture(scope="module")
def agent(tmp_path_factory: pytest.TempPathFactory) -> Built:
    return built(tmp_path_factory.mktemp("agent"))


def test_the_committed_agent_is_what_the_source_says(agent: Built) -> None:
    assert AGENT.read_bytes() == agent.octets


def test_file_and_memory_stay_within_their_ceilings(agent: Built) -> None:
    assert len(agent.octets) <= FILE_CEILING
    assert agent.symbols["overlay_begin"] <= STAY_CEILING
    told = (ROOT / "docs" / "agent.md").read_text("utf-8")
    assert f"| memory | {agent.symbols['stay_end']:,} octets:" in told
    assert f"READOFF.COM is {len(agent.octets):,} octets" in told
    assert agent.symbols["agent_end"] <= MEMORY_CEILING


def test_what_a_resident_program_can_force_us_to_keep_is_small(agent: Built) -> None:
    assert agent.symbols["hookdata_end"] <= 1792  # the PSP included


# -- 8086 instructions only ---------------------------------------------------------------------------


def test_code_sections_hold_code_only() -> None:
    """No data directives there, so that a decode from the first octet on meets instructions only."""
    seen = 0
    for path in sorted(SOURCES.glob("*.asm")):
        section = left = ".text"
        for number, line in enumerate(path.read_text("ascii").splitlines(), 1):
            code = line.split(";")[0]
            if found := re.match(r"\s*section\s+(\.\w+)", code):
                section = found[1]
            if re.match(r"\s*(struc|absolute)\s", code):  # a layout: offsets, no octets
                section, left = "layout", section
            elif re.match(r"\s*endstruc\b", code):
                section = left
            if section in CODE_SECTIONS:
                seen += 1
                data = re.search(r"(?:^|\s)(?:d[bwdq]|times(?!\s+\w+\s+nop\b)|incbin|res[bwd])\s", code)
                assert data is None, f"{path.name}:{number}: data in {section}: {line.strip()}"
    assert seen > 3000


def decode_faults(octets: bytes, begin: int) -> list[str]:
    """What of some code an 8086 would not understand: rule of the decode on capstone.

    Prefixes 64-67; first octets 0F, 60-6F, C0, C1, C8, C9, D6, F1; 8C and 8E with reg above 3.
    """
    decoder = Cs(CS_ARCH_X86, CS_MODE_16)
    faults, at = [], 0
    while at < len(octets):
        instruction = next(decoder.disasm(octets[at:], begin + at, 1), None)
        if instruction is None:
            faults.append(f"{begin + at:04X}: no instruction ({octets[at : at + 4].hex()})")
            at += 1
            continue
        text = f"{begin + at:04X}: {instruction.mnemonic} {instruction.op_str}"
        whole = bytes(instruction.bytes)
        body = whole.lstrip(b"\x26\x2e\x36\x3e\xf0\xf2\xf3\x64\x65\x66\x67")
        prefixes = whole[: len(whole) - len(body)]
        first = body[0]
        later = first in (0x0F, 0xC0, 0xC1, 0xC8, 0xC9, 0xD6, 0xF1) or 0x60 <= first <= 0x6F
        segment = first in (0x8C, 0x8E) and (body[1] >> 3 & 7) > 3
        if later or segment or any(0x64 <= prefix <= 0x67 for prefix in prefixes):
            faults.append(text)
        at += len(whole)
    return faults


def guarded(agent: Built) -> list[tuple[int, int]]:
    """Blocks for later processors, between guarded_NAME_begin and guarded_NAME_end."""
    pairs = []
    for name, begin in agent.symbols.items():
        if name.startswith("guarded_") and name.endswith("_begin"):
            pairs.append((begin, agent.symbols[name.removesuffix("_begin") + "_end"]))
    return sorted(pairs)


def test_all_code_is_for_the_8086_but_the_guarded_blocks(agent: Built) -> None:
    decoded = 0
    for section in CODE_SECTIONS:
        begin, end = agent.sections[section]
        at = begin
        for from_, to in [*guarded(agent), (end, end)]:
            if not begin <= from_ <= end:
                continue
            assert decode_faults(agent.code(at, from_), at) == [], section
            decoded += from_ - at
            at = to
    code = sum(end - begin for begin, end in (agent.sections[name] for name in CODE_SECTIONS))
    assert decoded == code - sum(to - from_ for from_, to in guarded(agent))
    assert decoded > 8000


def test_what_stays_calls_nothing_of_the_overlay(agent: Built) -> None:
    """Neither by a call or jump nor by an address of it, but where the overlay itself is dealt with."""
    decoder = Cs(CS_ARCH_X86, CS_MODE_16)
    overlay = range(agent.symbols["overlay_begin"], agent.symbols["agent_end"] + 1)
    may = range(agent.symbols["overlay_add"], agent.symbols["overlay_lost"])
    names = {address: name for name, address in agent.symbols.items()}
    jumps = 0
    for section in (".hooks", ".stay"):
        begin, end = agent.sections[section]
        for instruction in decoder.disasm(agent.code(begin, end), begin):
            if instruction.address in may or begin == instruction.address == ORIGIN:
                continue
            if instruction.mnemonic.startswith(("j", "call", "loop")) and instruction.op_str.startswith("0x"):
                jumps += 1
                target = int(instruction.op_str, 16)
                assert target not in overlay, f"{instruction.address:04X}: to {names.get(target)}"
            text = instruction.op_str
            texts = (int(number, 16) for number in re.findall(r", (0x[0-9a-f]+)$", text))
            direct = (
                int(number, 16) for number in re.findall(r"\[(?:bx \+ |si \+ |di \+ )?(0x[0-9a-f]+)\]", text)
            )
            # An address is loaded or compared; what is added is a quantity, which may equal one by chance.
            loaded = instruction.mnemonic in ("mov", "cmp", "push", "lea")
            used = {names.get(n, "") for n in texts if loaded and names.get(n, "").startswith("text_")}
            used |= {names.get(number, f"{number:04X}") for number in direct if number in overlay}
            used -= {"ctrl_c_seen"}  # asked for the overlay first
            used = {name for name in used if agent.symbols.get(name, overlay.start) in overlay}
            assert not used, f"{instruction.address:04X}: {instruction.mnemonic} {text}: {used}"
    assert jumps > 200


def test_guarded_blocks_are_few_and_hold_what_they_guard(agent: Built) -> None:
    blocks = guarded(agent)
    assert 1 <= len(blocks) <= 16
    # The largest reads memory beyond 1 MB and the processor's leaves; none of it is there while a program runs.
    assert min(from_ for from_, _ in blocks) >= agent.symbols["overlay_begin"]
    assert sum(to - from_ for from_, to in blocks) < 1280
    for from_, to in blocks:
        assert decode_faults(agent.code(from_, to), from_), f"nothing at {from_:04X} needs a guard"


@pytest.mark.parametrize(
    "code",
    [
        "push 1",
        "shl ax, 4",
        "pusha",
        "movzx ax, bl",
        "mov ax, fs",
        "mov ax, [fs:bx]",
        "mov ax, [ebx]",
        "mov eax, ebx",
        "enter 4, 0",
        "imul ax, bx, 3",
        "jc near $+1000",
        "db 0D6h",
        "db 0F1h",
    ],
)
def test_the_check_finds_what_an_8086_has_not(code: str, tmp_path: Path) -> None:
    source, out = tmp_path / "a.asm", tmp_path / "a.bin"
    source.write_text(f"cpu 386\nbits 16\nnop\n{code}\nnop\n")
    subprocess.run(["nasm", "-f", "bin", "-o", str(out), str(source)], check=True)
    assert decode_faults(out.read_bytes(), 0)


def test_every_section_is_accounted_for(agent: Built) -> None:
    known = {*CODE_SECTIONS, *DATA_SECTIONS, ".rest", ".staybss", ".bss"}
    assert set(agent.sections) == known
