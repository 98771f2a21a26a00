"""CPUID's leaves, the caches that they name, and the estimate of the clock, as facts. Pure.

Sources: family and model names and the descriptors of leaf 2 as in Linux's tables; leaf 4 and the extended leaves
80000002h to 80000006h as the makers document them, and the clocks of AAM and LOOP from the makers' manuals (both from
memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from readoff.contract.record import Record
from readoff.snapshots.fact import Fact

_MODELS = {
    4: {
        0: "486 DX", 1: "486 DX", 2: "486 SX", 3: "486 DX2", 4: "486 SL", 5: "486 SX2",
        7: "486 DX2 write-back", 8: "486 DX4",
    },
    5: {1: "Pentium 60/66", 2: "Pentium 75-200", 4: "Pentium MMX"},
    6: {1: "Pentium Pro", 3: "Pentium II", 5: "Pentium II", 7: "Pentium III", 8: "Pentium III"},
}  # fmt: skip
_VENDOR_OF_NAMES = "GenuineIntel"
_CACHES_BY_DESCRIPTOR = {
    0x06: ("l1_code", 8), 0x08: ("l1_code", 16), 0x0A: ("l1_data", 8), 0x0C: ("l1_data", 16),
    0x41: ("l2", 128), 0x42: ("l2", 256), 0x43: ("l2", 512), 0x44: ("l2", 1024), 0x45: ("l2", 2048),
}  # fmt: skip
_CACHE_KINDS = {1: "_data", 2: "_code", 3: ""}
_BRAND_LEAVES = (0x80000002, 0x80000003, 0x80000004)
# One block of the loop: 60 AAM and a LOOP that goes back to a two-octet instruction.
_BLOCK_CLOCKS = {
    "i8086": 60 * 83 + 17,
    "i80286": 60 * 16 + 10,
    "i80386": 60 * 17 + 13,
    "i80486": 60 * 15 + 7,
}
_BLOCK_CLOCKS_BY_FAMILY = {4: 60 * 15 + 7, 5: 60 * 18 + 5}
_MHZ = Decimal(315) / 264  # counts of the timer a microsecond


def family_model_stepping(signature: int) -> tuple[int, int, int]:
    """CPUID leaf 1 EAX taken apart, with the extended family and model where family 15 and 6 have them."""
    family, model = signature >> 8 & 15, signature >> 4 & 15
    if family in (6, 15):
        model |= (signature >> 16 & 15) << 4
    if family == 15:
        family += signature >> 20 & 0xFF
    return family, model, signature & 15


def of_cpu(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """Family, model, stepping and, where it is known, the model's name."""
    signature = int(values["signature"])
    if not signature:
        return
    family, model, stepping = family_model_stepping(signature)
    yield Fact(f"{prefix}.family", str(family))
    yield Fact(f"{prefix}.model", str(model))
    yield Fact(f"{prefix}.stepping", str(stepping))
    name = _MODELS.get(family, {}).get(model)
    if name and values["vendor"] == _VENDOR_OF_NAMES:
        yield Fact(f"{prefix}.name", name)


def of_cpuid(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """Each leaf in hex (without the number of the processor in leaf 1), the brand, and the caches."""
    leaves = {(each["leaf"], each["subleaf"]): each for each in values["leaves"]}
    for (leaf, subleaf), each in leaves.items():
        ebx = each["ebx"] & 0x00FFFFFF if leaf == 1 else each["ebx"]
        text = f"EAX {each['eax']:08X} EBX {ebx:08X} ECX {each['ecx']:08X} EDX {each['edx']:08X}"
        yield Fact(f"{prefix}.{leaf:08X}" + (f".{subleaf}" if subleaf else ""), text)
    brand = b"".join(
        leaves[leaf, 0][name].to_bytes(4, "little")
        for leaf in _BRAND_LEAVES
        if (leaf, 0) in leaves
        for name in ("eax", "ebx", "ecx", "edx")
    )
    if brand:
        text = brand.split(b"\0")[0].decode("cp437").strip()
        yield Fact(f"{prefix}.brand", text)
    if (2, 0) in leaves:
        found = descriptors(leaves[2, 0])
        yield Fact(f"{prefix}.descriptors", " ".join(f"{each:02X}" for each in found))
    for name, kb in caches(leaves).items():
        yield Fact(f"{prefix}.cache_{name}", str(kb), "KB")


def descriptors(leaf: Mapping[str, int]) -> list[int]:
    """The descriptors of leaf 2: 15 octets, those of a register whose bit 31 is set left out, zeros too."""
    found = []
    for name in ("eax", "ebx", "ecx", "edx"):
        if not leaf[name] >> 31:
            octets = leaf[name].to_bytes(4, "little")
            found += [each for each in (octets[1:] if name == "eax" else octets) if each]
    return found


def caches(leaves: Mapping[tuple[int, int], Mapping[str, int]]) -> dict[str, int]:
    """Size in KB by cache: leaf 4 where it is there, else the descriptors of leaf 2, else the extended leaves."""
    found: dict[str, int] = {}
    for (number, _), leaf in leaves.items():
        kind = _CACHE_KINDS.get(leaf["eax"] & 0x1F)
        if number == 4 and kind is not None:
            ebx = leaf["ebx"]
            octets = ((ebx >> 22) + 1) * ((ebx >> 12 & 0x3FF) + 1) * ((ebx & 0xFFF) + 1) * (leaf["ecx"] + 1)
            found.setdefault(f"l{leaf['eax'] >> 5 & 7}{kind}", octets // 1024)
    if not found and (2, 0) in leaves:
        for each in descriptors(leaves[2, 0]):
            if each in _CACHES_BY_DESCRIPTOR:
                name, kb = _CACHES_BY_DESCRIPTOR[each]
                found[name] = kb
    if not found:
        first, second = leaves.get((0x80000005, 0)), leaves.get((0x80000006, 0))
        found = {"l1_data": first["ecx"] >> 24, "l1_code": first["edx"] >> 24} if first else {}
        found |= {"l2": second["ecx"] >> 16} if second else {}
    return {name: kb for name, kb in found.items() if kb}


def of_speed(prefix: str, values: Mapping[str, Any], record: Record) -> Iterator[Fact]:
    """The clock in MHz with its resolution, where the clocks of the loop on this processor are known."""
    clocks, counts = int(values["clocks"]), int(values["counts"])
    cpu = record.values("cpu") or {}
    if values["method"] == "loop":
        family = family_model_stepping(int(cpu.get("signature", 0)))[0]
        known = _BLOCK_CLOCKS_BY_FAMILY.get(family) if family else _BLOCK_CLOCKS.get(str(cpu.get("class")))
        if known is None:
            return
        clocks *= known
    if not clocks or not counts:
        return
    mhz = clocks * _MHZ / counts
    within = mhz * int(values["resolution"]) / counts
    yield Fact(f"{prefix}.mhz", f"{mhz:.3f}", "MHz", True)
    yield Fact(f"{prefix}.mhz_within", f"{max(within, Decimal('0.001')):.3f}", "MHz", True)
