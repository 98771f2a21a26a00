"""The chain of memory blocks: laws that hold after any calls, and the chain as a program walks it."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.box import AT, XT, MachineSpec
from readoff.box.dos_memory import DosMemory, DosMemoryError
from readoff.box.memory import Memory
from readoff.errors import BoxError
from support.box_programs import make_box, run_source

FIRST, TOP = 0x100, 0x9000
ACTS = st.lists(
    st.tuples(
        st.sampled_from(["allocate", "free", "resize"]),
        st.integers(0, 0xA000),
        st.integers(0, 9),
        st.integers(0, 2),
    ),
    max_size=40,
)


@settings(max_examples=60, deadline=None)
@given(ACTS)
def test_blocks_always_cover_the_memory_once(acts: list[tuple[str, int, int, int]]) -> None:
    blocks = DosMemory(Memory(), FIRST, TOP, names=True)
    mine: dict[int, int] = {}
    for act, size, which, strategy in acts:
        blocks.strategy = strategy
        chosen = sorted(mine)[which % len(mine)] if mine else None
        try:
            if act == "allocate":
                mine[blocks.allocate(size, 0x55)] = size
            elif chosen is not None and act == "free":
                blocks.free(chosen)
                del mine[chosen]
            elif chosen is not None:
                blocks.resize(chosen, size)
                mine[chosen] = size
        except DosMemoryError as error:
            assert error.code == 8
            if act == "resize" and chosen is not None:
                mine[chosen] = error.most  # as large as could be
        listed = list(blocks.blocks())
        assert listed[0].segment == FIRST + 1
        for block, behind in pairwise(listed):
            assert behind.segment == block.segment + block.size + 1
        assert listed[-1].last
        assert listed[-1].segment + listed[-1].size == TOP
        assert {b.segment: b.size for b in listed if b.owner} == mine


def test_freeing_all_gives_one_block_back() -> None:
    blocks = DosMemory(Memory(), FIRST, TOP, names=True)
    for segment in [blocks.allocate(size, 1) for size in (1, 500, 0, 77)]:
        blocks.free(segment)
    assert blocks.largest() == TOP - FIRST - 1


def test_calls_fail_as_documented() -> None:
    blocks = DosMemory(Memory(), FIRST, TOP, names=True)
    with pytest.raises(DosMemoryError) as caught:
        blocks.allocate(0xFFFF, 1)
    assert (caught.value.code, caught.value.most) == (8, TOP - FIRST - 1)
    with pytest.raises(DosMemoryError) as caught:
        blocks.free(0x4444)
    assert caught.value.code == 9


# Walks from the word before the list of lists; results 0 = blocks, 1 = last mark, 2 = end segment, 3 = mine.
WALK = """
main:   mov     ah, 52h
        int     21h
        mov     ax, [es:bx - 2]
.next:  mov     es, ax
        inc     word [results]
        mov     cl, [es:0]
        mov     [results + 2], cl
        mov     dx, cs
        cmp     [es:1], dx
        jne     .other
        inc     word [results + 6]
.other: add     ax, [es:3]
        inc     ax
        cmp     cl, 'M'
        je      .next
        mov     [results + 4], ax
        exit
"""


@pytest.mark.parametrize("spec", [XT, AT], ids=lambda s: s.name)
def test_a_program_can_walk_the_chain(spec: MachineSpec) -> None:
    box = make_box(spec)
    ran = run_source(box, WALK)
    assert ran.word(1) == ord("Z")
    assert ran.word(2) == 640 * 64
    assert ran.word(3) == 2  # environment and program
    assert ran.word(0) >= 4  # and those of the command processor


def test_names_come_with_dos_4_and_garbage_behind_them() -> None:
    for spec, named in ((AT, True), (XT, False)):
        box = make_box(spec, STAYS="main: mov dx,30h\n mov ax,3100h\n int 21h")
        box.run("C:\\STAYS.COM")
        psp = box.ended[-1].psp
        name = box.on.engine.memory.read(psp - 1, 8, 8)
        assert (name[:6] == b"STAYS\0") is named
        assert (name[6:] != b"\0\0") is named


def test_a_broken_chain_is_an_error() -> None:
    source = "main: mov ax,cs\n dec ax\n mov es,ax\n mov byte [es:0],'X'\n exit"
    with pytest.raises(BoxError, match="chain of memory blocks is broken"):
        run_source(make_box(), source)


def test_allocate_resize_free_by_int_21h() -> None:
    source = """
main:   shrink
        mov     bx, 0FFFFh
        mov     ah, 48h
        int     21h
        mov     [results], ax           ; 8
        mov     [results + 2], bx       ; the most
        mov     bx, 10h
        mov     ah, 48h
        int     21h
        mov     es, ax
        mov     bx, 20h
        mov     ah, 4Ah
        int     21h
        sbb     ax, ax
        mov     [results + 4], ax       ; 0
        mov     ah, 49h
        int     21h
        mov     ah, 49h
        push    cs
        pop     es
        mov     bx, es
        inc     bx
        mov     es, bx
        int     21h
        mov     [results + 6], ax       ; 9
        exit
"""
    ran = run_source(make_box(), source)
    assert (ran.word(0), ran.word(2), ran.word(3)) == (8, 0, 9)
    assert ran.word(1) > 0x8000


def test_first_best_and_last_fit() -> None:
    """58h: 0 takes the first block that fits, 1 the smallest, 2 the last and of that the upper end."""
    got = []
    for strategy in (0, 1, 2):
        blocks = DosMemory(Memory(), FIRST, TOP, names=True)
        large, _, small, _ = (blocks.allocate(size, 1) for size in (100, 1, 20, 1))
        blocks.free(large)
        blocks.free(small)
        blocks.strategy = strategy
        segment = blocks.allocate(10, 1)
        got.append({large: "first", small: "smallest", TOP - 10: "last"}[segment])
    assert got == ["first", "smallest", "last"]
