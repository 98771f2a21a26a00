"""How lines are written, and what is said when one is written wrong."""

import pytest

from readoff.arrivals.connections import parse_address
from readoff.errors import LineError


@pytest.mark.parametrize(
    ("text", "form", "place", "rate", "tcp_port"),
    [
        ("COM3", "port", "COM3", 115200, 0),
        ("/dev/ttyUSB0,38400", "port", "/dev/ttyUSB0", 38400, 0),
        ("COM1,115200", "port", "COM1", 115200, 0),
        ("rfc2217://bench:4001,19200", "url", "rfc2217://bench:4001", 19200, 0),
        ("socket://127.0.0.1:4001", "socket", "127.0.0.1", 115200, 4001),
        ("socket://[::1]:4001/", "socket", "::1", 115200, 4001),
        ("listen:127.0.0.1:0", "listen", "127.0.0.1", 115200, 0),
        ("listen::4001", "listen", "127.0.0.1", 115200, 4001),
        ("listen::4001,19200", "listen", "127.0.0.1", 19200, 4001),
        ("socket://h:1,1200", "socket", "h", 1200, 1),
        ("listen:[::1]:4001", "listen", "::1", 115200, 4001),
    ],
)
def test_lines_as_they_are_written(text, form, place, rate, tcp_port):
    address = parse_address(text)
    assert (address.form, address.place, address.rate, address.tcp_port) == (form, place, rate, tcp_port)


@pytest.mark.parametrize(
    "text",
    [
        *("", ",9600", "COM1,", "COM1,fast", "COM1,9600.5", "COM1,٩٦٠٠", "COM1,49", "COM1,115201"),
        *("listen:", "listen:127.0.0.1", "listen:127.0.0.1:x", "listen::65536"),
        *("socket://host", "socket://::1:40"),
    ],
)
def test_lines_written_wrong_name_themselves_and_how_it_is_done(text):
    with pytest.raises(LineError) as caught:
        parse_address(text)
    assert caught.value.where == text
    assert "listen:HOST:PORT" in caught.value.next_step
