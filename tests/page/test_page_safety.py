"""Who may ask the page, and what cannot be done through it."""

import http.client
import re
import signal
from datetime import UTC, datetime

import pytest

from readoff.errors import UsageError
from readoff.page import app
from readoff.page.app import Look
from readoff.page.serve import PageServer, is_loopback, parse_address
from readoff.store import find
from readoff.store.typed import Entry, add_typed
from support import store_samples as samples
from support.page_bench import get, open_sample_store, running, served
from support.watching import wait_until


@pytest.fixture
def server(filled):
    with served(Look(filled)) as server:
        yield server


@pytest.fixture
def outer(filled):
    """The page as others reach it."""
    with served(Look(filled), "0.0.0.0") as server:
        yield server


@pytest.mark.parametrize(
    "name", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "", "[::1"]
)
def test_a_name_that_is_not_ours_is_refused(server, name):
    answer = get(server, host=name.format(port=server.port))
    assert answer.status == 403
    assert b"replay" not in answer.octets


@pytest.mark.parametrize("name", ["127.0.0.1:{port}", "localhost:{port}", "LOCALHOST:{port}", "[::1]:{port}"])
def test_our_own_names_are_answered(server, name):
    assert get(server, host=name.format(port=server.port)).status == 200


@pytest.mark.parametrize("path", ["/", "/runs", "/changes", "/look/page.js"])
@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "https://127.0.0.1:{port}"},
        {"sec_fetch_site": "cross-site", "sec_fetch_mode": "no-cors"},
        {"sec_fetch_site": "same-site", "sec_fetch_mode": "cors"},
    ],
)
def test_another_sites_page_is_refused(server, path, headers):
    told = {name: value.format(port=server.port) for name, value in headers.items()}
    assert get(server, path, **told).status == 403


def test_our_own_page_and_a_followed_link_are_not(server):
    assert get(server, origin=f"http://127.0.0.1:{server.port}").status == 200
    assert get(server, sec_fetch_site="cross-site", sec_fetch_mode="navigate").status == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS"])
def test_other_methods_are_refused(server, method):
    answer = get(server, "/runs", method)
    assert answer.status == 405
    assert answer.headers["allow"] == "GET, HEAD, POST"


@pytest.mark.parametrize("path", ["/", "/runs", "/runs/1", "/held", "/changes", "/look/page.js", "/findings"])
def test_a_view_takes_no_form(server, path):
    answer = get(server, path, "POST", origin=f"http://127.0.0.1:{server.port}", content_length="0")
    assert answer.status == 405


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/runs/1",
        "/runs/999",
        "/nowhere",
        "/look/page.css",
        "/look/chamfer16.ttf",
        "/look/chamfer437.glyphs.toml",
        "/look/..%2fapp.py",
    ],
)
def test_every_answer_carries_the_policy(server, path):
    answer = get(server, path)
    there = path not in ("/runs/999", "/nowhere", "/look/chamfer437.glyphs.toml", "/look/..%2fapp.py")
    assert answer.status == (200 if there else 404)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert "access-control-allow-origin" not in answer.headers


@pytest.mark.parametrize(
    "path", ["/", "/runs/1", "/findings", "/configurations", "/held", "/changes", "/look/page.js"]
)
def test_without_the_token_nothing_is_shown(outer, path):
    answer = get(outer, path)
    assert answer.status == 403
    assert b"zero-ws" not in answer.octets
    wrong = outer.door.token[:-1] + ("a" if outer.door.token[-1] != "a" else "b")
    for token in (wrong, "", outer.door.token + "x", "é"):
        assert (
            get(outer, f"{path}?token={token.encode('latin-1').hex() if token == 'é' else token}").status
            == 403
        )
        assert (
            get(outer, path, cookie=f"{outer.door.cookie}={token}".encode().decode("latin-1")).status == 403
        )


def test_the_link_gives_the_cookie_and_the_cookie_lets_in(outer):
    assert re.fullmatch(r"http://[0-9.]+:\d+/\?token=[\w-]{32}", outer.link)
    answer = get(outer, f"/runs?token={outer.door.token}")
    assert (answer.status, answer.headers["location"]) == (303, "/runs")
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "samesite=lax" in cookie.lower()
    answer = get(outer, "/runs", cookie=cookie.partition(";")[0])
    assert answer.status == 200
    assert b"zero-ws" in answer.octets


def test_each_start_has_a_token_of_its_own_and_loopback_has_none(outer, server, filled):
    with served(Look(filled), "0.0.0.0") as again:
        assert again.door.token != outer.door.token
    assert server.door.token == ""


def test_the_cookie_does_not_let_another_site_in(outer):
    cookie = f"{outer.door.cookie}={outer.door.token}"
    assert get(outer, "/", cookie=cookie, origin="http://evil.example").status == 403
    assert get(outer, "/", cookie=cookie, host=f"evil.example:{outer.port}").status == 403


def test_viewers_are_counted_and_bounded(filled, monkeypatch):
    monkeypatch.setattr(app, "VIEWERS", 2)
    with served(Look(filled)) as server:
        streams = []
        for _ in range(2):
            connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=20)
            connection.request("GET", "/changes")
            answer = connection.getresponse()
            assert answer.headers["content-type"].startswith("text/event-stream")
            assert answer.readline() == b"event: beat\r\n"
            streams.append(connection)
        refused = get(server, "/changes")
        assert (refused.status, refused.headers["retry-after"]) == (503, "15")
        assert get(server, "/").status == 200
        streams.pop().sock.close()
        answer.close()

        def room_again():
            connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=20)
            connection.request("GET", "/changes")
            status = connection.getresponse().status
            connection.close()
            return status == 200

        wait_until(room_again, "for the place of a viewer that went away")


@pytest.mark.parametrize(
    "query",
    [
        "/runs?begin=99999999999999999999",
        "/runs?begin=-1",
        "/runs?begin=x",
        "/runs?words=" + "%25_\\%27" * 200,
        "/arrivals/1?at=9999999",
        "/runs/1/octets/0?at=99999999",
        "/findings?base=x&other=y",
        "/held?begin=7",
    ],
)
def test_odd_questions_are_answered(server, query):
    assert get(server, query).status == 200


@pytest.mark.parametrize(
    "query",
    [
        "/runs/0",
        "/runs/'",
        "/runs/1/octets/9",
        "/runs/1/octets/0?reading=77",
        "/arrivals/99",
        "/configurations?label=x",
        "/finding",
        "/finding?base=as-found&other=zero-ws&metric=x",
        "/runs/%00",
        "/arrivals/99999999999999999999999",
    ],
)
def test_what_is_not_there_is_said_in_a_sentence(server, query):
    answer = get(server, query)
    assert answer.status == 404
    assert b"That cannot be shown" in answer.octets


def test_what_is_held_names_its_command_and_a_typed_number_its_person(tmp_path):
    with open_sample_store(tmp_path / "bench.db") as store:
        store.take(samples.run_record(console=samples.printed("7,,2")), "line")
        (row,) = find.held(store)
        entry = Entry(row.id, "rate", "76.2", "frames/s", "higher", True, row.reason, "A. <Tester>")
        add_typed(store, entry, datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC))
    with served(Look(tmp_path / "bench.db")) as server:
        assert f"<code>readoff enter {row.number}</code>".encode() in get(server, "/held").octets
        shown = get(server, "/runs/1").octets.decode()
    assert "rate: 76.2 frames/s" in shown
    assert "A. &lt;Tester&gt;, 2026-01-02 03:04:05 UTC" in shown


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("", ("127.0.0.1", 8486)),
        ("9000", ("127.0.0.1", 9000)),
        ("0.0.0.0", ("0.0.0.0", 8486)),
        ("192.0.2.7:80", ("192.0.2.7", 80)),
        ("bench.example:81", ("bench.example", 81)),
        ("[::1]", ("::1", 8486)),
        ("[::1]:82", ("::1", 82)),
        ("::1", ("::1", 8486)),
    ],
)
def test_addresses(text, address):
    assert parse_address(text) == address


@pytest.mark.parametrize("text", ["host:port", "1.2.3.4:99999", "[::1]x", "70000", "a:-1"])
def test_addresses_that_are_none(text):
    with pytest.raises(UsageError, match="no address for the page"):
        parse_address(text)


def test_loopback():
    assert all(map(is_loopback, ["127.0.0.1", "127.9.9.9", "::1", "localhost", "LOCALHOST"]))
    assert not any(map(is_loopback, ["0.0.0.0", "::", "192.0.2.1", "localhost.example"]))


def test_an_address_in_use_is_told(server, filled):
    with pytest.raises(UsageError, match="cannot be served there"):
        PageServer(Look(filled), "127.0.0.1", server.port)


@pytest.mark.parametrize("command", ["page", "watch"])
def test_one_ctrl_c_ends_it_with_a_viewer_at_its_stream(filled, tmp_path, command):
    way = {"page": ["page"], "watch": ["watch", "--folder", str(tmp_path), "--page"]}[command]
    with running(*way, "127.0.0.1:0", "--store", str(filled)) as (process, port):
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        connection.request("GET", "/changes")
        answer = connection.getresponse()
        assert answer.readline() == b"event: beat\r\n"
        process.send_signal(signal.SIGINT)
        _, wrong = process.communicate(timeout=20)
        assert (process.returncode, wrong) == (0, "")
        connection.close()
