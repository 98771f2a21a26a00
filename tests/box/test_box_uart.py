"""The serial port: registers, pace, overrun with and without FIFO, faults on the line, peers."""

from __future__ import annotations

import socket
import threading
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.box import AT, MachineSpec
from readoff.box.line import Stream, double, drop, flip
from readoff.box.uart import LSR_OVERRUN, LSR_READY, LSR_TEMT, LSR_THRE, Uart
from support.box_programs import make_box, run_source

# Divisors of 1.8432 MHz / 16 (PC16550D table as reproduced in manuals).
DIVISORS = {50: 2304, 300: 384, 1200: 96, 2400: 48, 9600: 12, 19200: 6, 38400: 3, 57600: 2, 115200: 1}


class Clock:
    """Virtual time for a UART alone."""

    def __init__(self) -> None:
        self.now = 0

    def __call__(self) -> int:
        return self.now


def make_uart(kind: str = "16450", *, paced: bool = True) -> tuple[Uart, Clock, bytearray]:
    clock, sent = Clock(), bytearray()
    uart = Uart(clock, kind, paced=paced, interrupt=lambda on: None)  # type: ignore[arg-type]
    uart.sent = sent.append
    uart.connected = True
    uart.write(3, 0x80)
    uart.write(0, 1)
    uart.write(1, 0)
    uart.write(3, 0x03)
    return uart, clock, sent


@pytest.mark.parametrize(("rate", "divisor"), DIVISORS.items())
def test_a_character_lasts_ten_bits(rate: int, divisor: int) -> None:
    """8N1: 10 bit times; at 115200 86.806 us (arithmetic)."""
    uart, _, _ = make_uart()
    uart.divisor = divisor
    assert uart.character_time() / 10**12 == pytest.approx(10 / rate, rel=1e-9)
    if rate == 115200:
        assert uart.character_time() / 10**6 == pytest.approx(86.806, abs=0.001)


def detect(uart: Uart) -> tuple[int, bool]:
    uart.write(2, 0x01)
    identity = uart.read(2) >> 6
    uart.write(7, 0x5A)
    return identity, uart.read(7) == 0x5A


@pytest.mark.parametrize(
    ("kind", "expected"), [("8250", (0, False)), ("16450", (0, True)), ("16550a", (3, True))]
)
def test_kinds_can_be_told_apart(kind: str, expected: tuple[int, bool]) -> None:
    """FCR=01, IIR>>6: 0 = 8250 or 16450, 3 = 16550A (Linux 8250 driver); scratch register from the 16450 on."""
    assert detect(make_uart(kind)[0]) == expected


def test_without_a_fifo_an_unread_octet_is_overwritten() -> None:
    uart, clock, _ = make_uart("16450")
    uart.arrive(b"ABC")
    clock.now = 3 * uart.character_time()
    status = uart.read(5)
    assert status & (LSR_OVERRUN | LSR_READY) == LSR_OVERRUN | LSR_READY
    assert uart.read(0) == ord("C")
    assert uart.read(5) & (LSR_OVERRUN | LSR_READY) == 0  # reading the status cleared the error
    assert uart.lost == 2


def test_with_a_fifo_the_17th_octet_is_lost() -> None:
    uart, clock, _ = make_uart("16550a")
    uart.write(2, 0x01)
    uart.arrive(bytes(range(20)))
    clock.now = 20 * uart.character_time()
    assert uart.read(5) & LSR_OVERRUN
    got = [uart.read(0) for _ in range(16)]
    assert got == list(range(16))
    assert uart.lost == 4


def test_octets_come_at_the_pace_of_the_line() -> None:
    uart, clock, _ = make_uart()
    uart.arrive(b"AB")
    step = uart.character_time()
    clock.now = step - 1
    assert not uart.read(5) & LSR_READY
    clock.now = step
    assert uart.read(5) & LSR_READY
    assert uart.read(0) == ord("A")
    clock.now = 2 * step
    assert uart.read(0) == ord("B")


def test_sending_has_a_holding_and_a_shift_register() -> None:
    uart, clock, sent = make_uart()
    step = uart.character_time()
    assert uart.read(5) & (LSR_THRE | LSR_TEMT) == LSR_THRE | LSR_TEMT
    uart.write(0, 0x41)
    assert uart.read(5) & (LSR_THRE | LSR_TEMT) == LSR_THRE
    uart.write(0, 0x42)
    assert uart.read(5) & (LSR_THRE | LSR_TEMT) == 0
    clock.now = step
    assert uart.read(5) & (LSR_THRE | LSR_TEMT) == LSR_THRE
    clock.now = 2 * step
    assert uart.read(5) & (LSR_THRE | LSR_TEMT) == LSR_THRE | LSR_TEMT
    assert sent == b"AB"


def test_instant_lines_lose_nothing() -> None:
    uart, _, sent = make_uart(paced=False)
    uart.arrive(bytes(range(200)))
    assert [uart.read(0) for _ in range(200)] == list(range(200))
    for octet in b"hello":
        assert uart.read(5) & LSR_THRE
        uart.write(0, octet)
    assert sent == b"hello"


@given(st.binary(max_size=60), st.sampled_from(["8250", "16450", "16550a"]))
def test_a_reader_in_time_gets_every_octet(octets: bytes, kind: str) -> None:
    uart, clock, _ = make_uart(kind)
    uart.arrive(octets)
    got = bytearray()
    for _ in range(2 * len(octets) + 2):
        clock.now += uart.character_time() // 2
        if uart.read(5) & LSR_READY:
            got.append(uart.read(0))
    assert (bytes(got), uart.lost) == (octets, 0)


def test_loopback() -> None:
    uart, clock, sent = make_uart()
    uart.write(4, 0x10 | 0x0A)
    assert uart.read(6) & 0xF0 == 0x90  # RTS to CTS, OUT2 to DCD
    uart.write(0, 0x77)
    clock.now += uart.character_time()
    assert (uart.read(0), bytes(sent)) == (0x77, b"")


def test_a_wrong_rate_gives_nonsense_and_framing_errors() -> None:
    uart, clock, sent = make_uart()
    uart.other_divisor = 12
    uart.write(0, 0x41)
    uart.arrive(b"A")
    clock.now = 10**12
    assert uart.read(5) & 0x08
    assert uart.read(0) != 0x41
    assert sent != b"A"


# Echoes octets until a NUL comes, polling; counts overruns in results 0, octets in 1.
ECHO = """
main:   mov     dx, 3FBh
        mov     al, 83h
        out     dx, al
        mov     dx, 3F8h
        mov     ax, {divisor}
        out     dx, ax
        mov     dx, 3FBh
        mov     al, 3
        out     dx, al
        inc     dx
        out     dx, al
.wait:  mov     dx, 3FDh
        in      al, dx
        test    al, 2
        jz      .fine
        inc     word [results]
.fine:  test    al, 1
        jz      .wait
        mov     dx, 3F8h
        in      al, dx
        inc     word [results + 2]
        test    al, al
        jz      .done
        mov     bl, al
        mov     dx, 3FDh
.full:  in      al, dx
        test    al, 20h
        jz      .full
        mov     al, bl
        mov     dx, 3F8h
        out     dx, al
        mov     cx, {slow}
.slow:  loop    .slow
        jmp     .wait
.done:  mov     cx, 0
.last:  loop    .last
        exit
"""
TEXT = b"The quick brown fox 0123456789"


def echo(spec: MachineSpec, slow: int = 1, divisor: int = 12) -> tuple[bytes, int, int]:
    box = make_box(spec)
    line = box.line(1)
    line.connect()
    line.uart.divisor = divisor
    line.host_wrote(TEXT + b"\0")
    ran = run_source(box, ECHO.format(divisor=divisor, slow=slow))
    return line.take(), ran.word(0), line.uart.lost


def test_a_guest_that_keeps_up_echoes_everything() -> None:
    assert echo(AT) == (TEXT, 0, 0)


def test_a_guest_that_does_not_keep_up_loses_octets_and_can_see_it() -> None:
    heard, overruns, lost = echo(AT, slow=3000)
    assert 0 < len(heard) < len(TEXT)
    assert lost == len(TEXT) - len(heard)
    assert 0 < overruns <= lost


def test_an_instant_line_forgives_it() -> None:
    assert echo(replace(AT, uart_paced=False), slow=3000) == (TEXT, 0, 0)


@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        (flip(4, 0x80), b"The \xf1uick brown fox 0123456789"),
        (drop(0, 4), b"quick brown fox 0123456789"),
        (double(0), b"TThe quick brown fox 0123456789"),
    ],
)
def test_faults_on_the_line_in_both_directions(fault: object, expected: bytes) -> None:
    for direction in ("fault_to_host", "fault_to_guest"):
        box = make_box()
        line = box.line(1)
        line.connect()
        line.uart.divisor = 12
        setattr(line, direction, fault)
        line.host_wrote(TEXT + b"\0")
        run_source(box, ECHO.format(divisor=12, slow=1))
        assert line.take() == expected


class Talker:
    """A peer that says the next character when it has heard the last, and keeps the moments."""

    def __init__(self, text: bytes) -> None:
        self.left = [bytes([octet]) for octet in text] + [b"\0"]
        self.heard = b""
        self.moments: list[int] = []
        self.expects = True

    def exchange(self, now: int, octets: bytes) -> bytes:
        self.heard += octets
        if octets:
            self.moments.append(now)
        if (octets or self.expects) and self.left:
            self.expects = False
            return self.left.pop(0)
        return b""


def test_a_peer_in_lockstep_is_deterministic() -> None:
    talks = []
    for _ in range(2):
        box = make_box()
        peer = Talker(TEXT)
        box.line(1).attach(peer, every=300)
        ran = run_source(box, ECHO.format(divisor=12, slow=1))
        assert peer.heard == TEXT
        talks.append((peer.moments, ran.exit.elapsed))
    assert talks[0] == talks[1]


def test_delay_takes_time() -> None:
    box = make_box()
    box.line(1).delay = 16_000
    peer = Talker(b"abc")
    box.line(1).attach(peer)
    ran = run_source(box, ECHO.format(divisor=1, slow=1))
    assert peer.heard == b"abc"
    assert ran.exit.seconds > 4 * 0.016


def test_a_live_stream_does_not_let_virtual_time_run_away() -> None:
    """A far end that answers by the wall clock is waited for; assert on octets and on virtual time used."""
    ours, theirs = socket.socketpair()

    def far_end() -> None:
        for octet in b"live":
            theirs.sendall(bytes([octet]))
            assert theirs.recv(1) == bytes([octet])
        theirs.sendall(b"\0")

    thread = threading.Thread(target=far_end)
    box = make_box(replace(AT, uart="16550a"))
    box.line(1).attach(Stream(ours.fileno()))
    thread.start()
    try:
        ran = run_source(box, ECHO.format(divisor=1, slow=1))
    finally:
        thread.join(10)
        ours.close()
        theirs.close()
    assert ran.word(1) == 5
    assert ran.exit.seconds < 20


def test_interrupts_by_irq_4() -> None:
    source = """
old:    dw 0, 0
isr:    push    ax
        push    dx
        push    bx
        mov     dx, 3F8h
        in      al, dx
        mov     bx, [cs:results]
        mov     [cs:results + 2 + bx], al
        inc     word [cs:results]
        mov     al, 20h
        out     20h, al
        pop     bx
        pop     dx
        pop     ax
        iret
main:   get_vector 0Ch, old
        set_vector 0Ch, isr
        mov     dx, 3FBh
        mov     al, 3
        out     dx, al
        mov     dx, 3F9h
        mov     al, 1
        out     dx, al
        mov     dx, 3FCh
        mov     al, 0Bh
        out     dx, al
.wait:  hlt
        cmp     word [results], 5
        jb      .wait
        mov     dx, 3F9h
        mov     al, 0
        out     dx, al
        exit
"""
    box = make_box()
    line = box.line(1)
    line.connect()
    box.on.timetable.at(box.on.engine.now() + 3 * 10**10, lambda: line.host_wrote(b"irqs!"))
    ran = run_source(box, source)
    assert ran.results[2:7] == b"irqs!"
    assert line.uart.lost == 0


def test_a_machine_without_ports_has_none() -> None:
    box = make_box(replace(AT, uart="none"))
    ran = run_source(
        box,
        "main: mov ax,40h\n mov es,ax\n mov ax,[es:0]\n mov [results],ax\n mov dx,3FDh\n"
        " in al,dx\n mov [results+2],al\n exit",
    )
    assert (ran.word(0), ran.results[2]) == (0, 0xFF)
