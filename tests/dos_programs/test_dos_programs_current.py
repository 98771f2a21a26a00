"""Every committed sample program is exactly what its source assembles to, and 8086 code only."""

from __future__ import annotations

from pathlib import Path

import pytest

from support.nasm import assemble

HERE = Path(__file__).resolve().parent
SOURCES = sorted(HERE.glob("*.asm"))


def test_dos_programs_and_sources_pair_up() -> None:
    binaries = {path.name for path in HERE.glob("*.COM")}
    assert binaries == {f"{source.stem.upper()}.COM" for source in SOURCES}
    assert len(binaries) >= 16


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.stem)
def test_dos_program_is_its_source_assembled(source: Path, tmp_path: Path) -> None:
    built = assemble(source, tmp_path / "OUT.COM")
    assert built == (HERE / f"{source.stem.upper()}.COM").read_bytes()


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.stem)
def test_dos_program_asks_for_8086_code(source: Path) -> None:
    directives = [
        line.split() for line in source.read_text("ascii").splitlines() if "cpu" in line.split()[:1]
    ]
    assert directives == [["cpu", "8086"]]
