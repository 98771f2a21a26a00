"""The contract as a NASM include, so that the agent and the host cannot disagree.

``python -m readoff.contract.nasm`` prints it; dos_agent/src/contract.inc is that text, and a test compares.
"""

from __future__ import annotations

from readoff.contract.declared import Contract, link_contract, record_contract
from readoff.contract.language import Declarations, Layout, bit_fields


def nasm_include(contracts: list[Contract]) -> str:
    """The include file's whole text. A layout that two contracts share (same fields) is written once."""
    lines = [
        "; Generated from protocols/*.toml by python -m readoff.contract.nasm. Do not edit: change the TOML.",
        "",
    ]
    written: dict[str, list[str]] = {}
    for contract in contracts:
        lines.append(f"; ---- protocols/{contract.title}.toml")
        lines += [_equ(name.upper(), value) for name, value in contract.constants.items()]
        for enum in contract.declarations.enums.values():
            lines += [_equ(f"{enum.name}_{name}".upper(), value) for name, value in enum.values.items()]
        prefix = "FRAME" if contract.title == "link" else "TAG"
        lines += [_equ(f"{prefix}_{kind.name}".upper(), kind.number) for kind in contract.kinds.values()]
        lines.append("")
        for layout in contract.declarations.layouts.values():
            made = _struc(layout, contract.declarations)
            if layout.name not in written:
                written[layout.name] = made
                lines += [*made, ""]
    return "\n".join(lines)


def _equ(name: str, value: int) -> str:
    return f"{name:<32} equ {value if value < 10 else f'0{value:X}h'}"


def _struc(layout: Layout, declarations: Declarations) -> list[str]:
    """The fixed part of a layout as a NASM struc, and masks for its named bits."""
    lines, masks = [f"struc L_{layout.name}"], []
    for field in layout.fields:
        size = declarations.fixed_size(field)
        lines.append(f".{field.name}: resb {size or 0}")
        for name, at, width in bit_fields(field):
            masks.append(_equ(f"{layout.name}_{field.name}_{name}".upper(), ((1 << width) - 1) << at))
        if size is None:
            break
    return [*lines, "endstruc", *masks]


def current_include() -> str:
    """What dos_agent/src/contract.inc must hold."""
    return nasm_include([record_contract(), link_contract()])


if __name__ == "__main__":
    print(current_include(), end="")
