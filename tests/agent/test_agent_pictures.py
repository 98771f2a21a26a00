"""Pictures: the frame of a graphics mode before a mode is set and at the exit, pixel for pixel; or why not."""

from __future__ import annotations

import random
import struct

import pytest

from readoff.box import AT, LATE, XT, Box, MachineSpec
from readoff.contract.record import Record
from readoff.readings.picture.decoding import decode
from readoff.readings.picture.frames import frame_octets, picture_of
from readoff.readings.shown import CaptureKind
from readoff.store.captures import Taken, captures_of
from support.agent_box import (
    EXIT_ALL,
    EXIT_MISSING,
    agent_box,
    captured_all,
    console,
    end_of,
    readoff,
    run_under_agent,
    watch_frames,
)

# Modes with their pixels and colours (the IBM references of the adapters; from memory).
MODES = {
    0x04: (320, 200, 4),
    0x05: (320, 200, 4),
    0x06: (640, 200, 2),
    0x0D: (320, 200, 16),
    0x0E: (640, 200, 16),
    0x0F: (640, 350, 0),
    0x10: (640, 350, 16),
    0x11: (640, 480, 2),
    0x12: (640, 480, 16),
    0x13: (320, 200, 256),
}
HAS = {XT: (4, 5, 6), AT: (4, 6, 0x0D, 0x0E, 0x10), LATE: (4, 5, 6, 0x0D, 0x0E, 0x10, 0x11, 0x12, 0x13)}


def pictures(record: Record) -> list[Taken]:
    """What the host makes of the pictures of a record."""
    return [each for each in captures_of(record) if each.capture.kind is CaptureKind.PICTURE]


def points(mode: int, count: int = 2500) -> list[tuple[int, int, int]]:
    """(x, y, colour), the same for the same mode."""
    draw = random.Random(mode)
    width, height, colours = MODES[mode]
    return [(draw.randrange(width), draw.randrange(height), draw.randrange(colours)) for _ in range(count)]


def drawn(mode: int, of: list[tuple[int, int, int]]) -> bytes:
    """The pixels of these points on black."""
    width, height, _ = MODES[mode]
    pixels = bytearray(width * height)
    for x, y, colour in of:
        pixels[y * width + x] = colour
    return bytes(pixels)


@pytest.mark.parametrize(("spec", "mode"), [(spec, mode) for spec, modes in HAS.items() for mode in modes])
def test_the_frame_before_a_mode_is_set_is_kept_pixel_for_pixel(spec: MachineSpec, mode: int) -> None:
    box = agent_box(spec, "FRAMES.COM")
    plan = points(mode)
    box.drive("C").write("PIXELS.DAT", b"".join(struct.pack("<HHB", *point) for point in plan))
    frames = watch_frames(box)
    ran = readoff(box, f"RUN FRAMES {mode:02X}")
    (taken,) = pictures(ran.run)
    assert (taken.moment, taken.problem, taken.note, taken.pixels) == ("mode_set", "", "", MODES[mode][:2])
    picture = decode(taken.capture.octets)
    assert picture.pixels == drawn(mode, plan)
    assert frames[0][0] == mode and picture.pixels == picture_of(f"{mode:02X}h", frames[0][1]).pixels
    assert (end_of(ran.run)["set"], captured_all(ran.run), ran.exit.code) == (set(), 1, EXIT_ALL)


@pytest.mark.parametrize(("spec", "mode"), [(XT, 4), (XT, 6), (AT, 10), (LATE, 12), (LATE, 13)])
def test_the_frame_at_the_exit_is_kept_and_text_comes_back(spec: MachineSpec, mode: int) -> None:
    box = agent_box(spec, "GRAPHICS.COM")
    frames = watch_frames(box)
    ran = readoff(box, f"RUN GRAPHICS {mode:02d}")
    (taken,) = pictures(ran.run)
    (frame,) = frames
    picture = decode(taken.capture.octets)
    assert taken.moment == "exit"
    assert picture.pixels == picture_of(f"{frame[0]:02X}h", frame[1]).pixels
    assert sum(map(bool, picture.pixels)) == 100
    assert end_of(ran.run)["set"] == {"graphics_left"}
    assert (captured_all(ran.run), ran.exit.code, box.on.video.is_text) == (1, EXIT_ALL, True)


# -- the display as it was found ----------------------------------------------------------------------

PROBED = (("graphics", range(9)), ("sequencer", range(5)), ("crtc", range(25)))


def registers_of(box: Box) -> list[object]:
    planes = box.on.video.planes
    assert planes is not None
    values = [[planes.registers(name)[each] for each in which] for name, which in PROBED]
    return [*values, dict(planes.index), bytes(planes.dac), bytes(planes.palette)]


STEERED = """
main:   mov     ax, 0012h
        int     10h
        mov     ax, 0A000h
        mov     es, ax
        mov     dx, 3C4h                ; plane 2 alone
        mov     ax, 0402h
        out     dx, ax
        mov     byte [es:100], 5Ah
        mov     dx, 3CEh                ; reads compare, map 3, bit mask of its own, index 8 at last
        mov     ax, 0304h
        out     dx, ax
        mov     ax, 0A05h
        out     dx, ax
        mov     ax, 3C08h
        out     dx, ax
        mov     dx, 3D4h
        mov     al, 0Fh
        out     dx, al
        mov     ax, 0093h               ; a mode that no adapter has: nothing may have changed
        mov     ax, 007Fh
        int     10h
        mov     ax, 0003h
        int     10h
        exit
"""


def test_a_vga_is_left_as_it_was_found() -> None:
    """Before a mode that the BIOS does not know: the registers that were read through are as the program set them."""
    box = agent_box(LATE)
    states: list[list[object]] = []
    set_mode = box.on.video.set_mode

    def watched(value: int) -> None:
        states.append(registers_of(box))
        set_mode(value)

    box.on.video.set_mode = watched  # type: ignore[method-assign]
    _, ran = run_under_agent(box, STEERED)
    taken = pictures(ran.run)
    assert [each.moment for each in taken] == ["mode_set"]  # the second time it shows the same
    picture = decode(taken[0].capture.octets)
    assert {at for at, value in enumerate(picture.pixels) if value} == {
        640 * 1 + 160 + bit for bit in (1, 3, 4, 6)
    }
    assert picture.pixels[640 + 161] == 4
    unknown, text = states[1:3]
    assert unknown == text
    graphics, sequencer, _, index = unknown[:4]
    assert graphics[3:9] == [0, 3, 0x0A, 5, 15, 0x3C] and sequencer[2] == 4  # type: ignore[index]
    assert index == {"graphics": 8, "sequencer": 2, "crtc": 0x0F}


def test_an_ega_is_read_only_where_its_bios_sets_it_anew() -> None:
    _, ran = run_under_agent(agent_box(AT), STEERED.replace("0012h", "0010h"))
    first, second = pictures(ran.run)
    assert "registers could not have been put back" in first.note
    assert second.capture.octets and not second.note
    assert (end_of(ran.run)["set"], captured_all(ran.run)) == (set(), 1)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ("mov dx, 3C4h\n mov ax, 0604h\n out dx, ax", "a way of its own"),  # unchained
        ("mov dx, 3D4h\n mov ax, 010Dh\n out dx, ax", "a way of its own"),  # scrolled
        ("mov dx, 3D4h\n mov ax, 5013h\n out dx, ax", "a way of its own"),  # longer rows
        ("mov ax, 40h\n mov es, ax\n mov byte [es:49h], 5Eh", "not one that the agent reads"),
    ],
)
def test_a_display_set_up_in_another_way_is_told(change: str, why: str) -> None:
    source = f"""
main:   mov     ax, 0013h
        int     10h
        mov     ax, 0A000h
        mov     es, ax
        mov     byte [es:1234], 7
        {change}
        mov     ax, 0003h
        int     10h
        exit
"""
    _, ran = run_under_agent(agent_box(LATE), source)
    (taken,) = pictures(ran.run)
    assert why in taken.note and not taken.capture.octets
    assert (end_of(ran.run)["set"], captured_all(ran.run)) == (set(), 1)


# -- when it can't be done ----------------------------------------------------------------------------

INSIDE = """
main:   mov     ax, 0013h
        int     10h
        mov     ax, 0A000h
        mov     es, ax
        mov     byte [es:1234], 7
        push    ds
        pop     es
        print_with_handler
        once
        push    ax
        mov     ax, 0003h
        int     10h
        mov     ax, 0013h
        int     10h
        mov     ax, 0003h
        int     10h
        pop     ax
        once_end
text:   db "x$"
"""


def test_while_dos_is_busy_there_is_none_and_the_record_says_why() -> None:
    _, ran = run_under_agent(agent_box(LATE), INSIDE)
    (taken,) = pictures(ran.run)
    assert taken.note == "no picture: DOS was busy; and 1 more after it"
    assert (end_of(ran.run)["set"], captured_all(ran.run)) == ({"screens_missed"}, 0)
    assert ran.exit.code == EXIT_MISSING and "not every screen" in ran.said
    assert console(ran.run) == b"x"


NOISE = """
main:   mov     ax, 0013h
        int     10h
        mov     ax, 0A000h
        mov     es, ax
        xor     di, di
        mov     cx, 32000
        mov     ax, 1234h
.fill:  mov     bx, 25173
        mul     bx
        add     ax, 13849
        stosw
        loop    .fill
        mov     ax, 0003h
        int     10h
        mov     dx, text
        mov     ah, 9
        int     21h
        exit
text:   db "after$"
"""


def test_noise_packs_to_hardly_more_than_it_is() -> None:
    _, ran = run_under_agent(agent_box(LATE), NOISE)
    packed = sum(len(section.payload) for section in ran.run.all("picture_data"))
    assert frame_octets("13h") < packed < frame_octets("13h") * 1.01
    (taken,) = pictures(ran.run)
    assert len(set(decode(taken.capture.octets).pixels)) > 200 and console(ran.run) == b"after"


@pytest.mark.parametrize("room", [40_000, 70_000])
def test_on_a_disk_without_room_the_rest_of_the_run_is_kept(room: int) -> None:
    """A picture never takes what the end of the record needs."""
    box = agent_box(LATE)
    _, plain = run_under_agent(box, NOISE)
    assert pictures(plain.run)[0].capture.octets
    box.drive("C").room = room
    _, ran = run_under_agent(box, NOISE)
    (taken,) = pictures(ran.run)
    assert taken.note == "no picture: the disk had no room for it, or failed"
    assert console(ran.run) == b"after" and end_of(ran.run)["outcome"] == "finished"
    assert (end_of(ran.run)["set"], ran.exit.code) == ({"screens_missed"}, EXIT_MISSING)


def test_a_screen_of_one_colour_is_no_picture() -> None:
    source = "main: mov ax, 0013h\n int 10h\n mov ax, 0003h\n int 10h\n exit"
    _, ran = run_under_agent(agent_box(LATE), source)
    assert not pictures(ran.run)
    _, ran = run_under_agent(agent_box(LATE), "main: mov ax, 0013h\n int 10h\n exit")
    (taken,) = pictures(ran.run)
    assert taken.note == "no picture: it was of one colour all over"
    assert (end_of(ran.run)["set"], captured_all(ran.run)) == ({"graphics_left"}, 1)


COLOURS = """
main:   mov     ax, 0013h
        int     10h
        mov     dx, 3C8h
        mov     al, 7
        out     dx, al
        inc     dx
        mov     al, 63
        out     dx, al
        mov     al, 32
        out     dx, al
        mov     al, 1
        out     dx, al
        mov     ax, 0A000h
        mov     es, ax
        mov     byte [es:1234], 7
        exit
"""


def test_the_colours_are_those_of_the_dac() -> None:
    _, ran = run_under_agent(agent_box(LATE), COLOURS)
    picture = decode(pictures(ran.run)[0].capture.octets)
    assert picture.pixels[1234] == 7 and picture.palette[7] == (255, 130, 4)  # v to v << 2 | v >> 4


def test_the_palette_registers_lead_to_the_dac() -> None:
    source = """
main:   mov     ax, 0012h
        int     10h
        mov     ax, 1000h
        mov     bx, 0103h               ; register 3 shows colour 1 of the DAC: blue
        int     10h
        mov     ax, 0C03h
        mov     cx, 5
        mov     dx, 1
        int     10h
        exit
"""
    _, ran = run_under_agent(agent_box(LATE), source)
    picture = decode(pictures(ran.run)[0].capture.octets)
    assert picture.pixels[645] == 3
    assert (picture.palette[3], picture.palette[2]) == ((0, 0, 170), (0, 170, 0))


IN_TICK = """
main:   mov     ax, 0013h
        int     10h
        mov     ax, 0A000h
        mov     es, ax
        mov     byte [es:1234], 7
        push    ds
        pop     es
        get_vector 1Ch, old
        set_vector 1Ch, mine
.wait:  cmp     byte [done], 0
        je      .wait
        push    ds
        lds     dx, [old]
        mov     ax, 251Ch
        int     21h
        pop     ds
        exit
mine:   cmp     byte [cs:done], 0
        jne     .pass
        push    ax
        mov     ax, 0003h
        int     10h
        pop     ax
        mov     byte [cs:done], 1
.pass:  jmp     far [cs:old]
done:   db 0
old:    dd 0
"""


def test_while_an_interrupt_is_served_there_is_none_and_the_record_says_why() -> None:
    _, ran = run_under_agent(agent_box(LATE), IN_TICK)
    (taken,) = pictures(ran.run)
    assert taken.note == "no picture: an interrupt was being served"
    assert (end_of(ran.run)["set"], ran.exit.code) == ({"screens_missed"}, EXIT_MISSING)
