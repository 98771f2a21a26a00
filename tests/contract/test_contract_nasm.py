"""The agent's include is made from the TOML and current."""

import re
import subprocess
from pathlib import Path

from readoff.contract import record_contract
from readoff.contract.nasm import current_include

SOURCE = Path(__file__).parents[2] / "dos_agent" / "src"


def test_the_committed_include_is_current():
    committed = (SOURCE / "contract.inc").read_text(encoding="utf-8")
    assert committed == current_include(), "run: python -m readoff.contract.nasm > dos_agent/src/contract.inc"


def test_nasm_gives_the_same_offsets_as_the_codec(tmp_path):
    """Each fixed field: the offset that NASM assembles is the one at which the codec reads a changed octet."""
    contract = record_contract()
    names = [
        (layout, field.name)
        for layout in ("header", "run_end", "boot_mark", "end")
        for field in contract.declarations.layouts[layout].fields
        if field.type != "layout"
    ]
    source = '%include "contract.inc"\n' + "".join(f"dw L_{layout}.{name}\n" for layout, name in names)
    (tmp_path / "offsets.asm").write_text(source)
    command = ["nasm", "-f", "bin", "-I", f"{SOURCE}/", "-o", "offsets.bin", "offsets.asm"]
    subprocess.run(command, cwd=tmp_path, check=True, capture_output=True)
    words = (tmp_path / "offsets.bin").read_bytes()
    offsets = [int.from_bytes(words[at : at + 2], "little") for at in range(0, len(words), 2)]
    for (layout, name), offset in zip(names, offsets, strict=True):
        size = contract.declarations.fixed_size(contract.declarations.layouts[layout])
        blank = bytearray(size)
        if layout == "header":
            blank[:4] = b"ROf\x1a"
        before = contract.codec.parse(layout, bytes(blank))
        if name == "magic":
            assert offset == 0
            continue
        blank[offset] ^= 1
        after = contract.codec.parse(layout, bytes(blank))
        assert [key for key in after if after[key] != before[key]] == [name]


def test_every_name_is_defined_once():
    lines = current_include().splitlines()
    names = [line.split()[0] for line in lines if " equ " in line]
    assert len(names) == len(set(names))
    assert all(re.fullmatch(r"[A-Z][A-Z0-9_]*", name) for name in names)
