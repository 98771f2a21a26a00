"""What can be done through the page, and who may not: each from its own form, none by looking or from elsewhere."""

import http.client
import io
from urllib.parse import urlencode

import pytest
from PIL import Image

from readoff.page.app import Look
from readoff.page.guard import MOST_BODY
from readoff.readings import load_schemas
from readoff.store import find, open_store
from readoff.store.attachments import attachments
from readoff.store.notes import notes
from readoff.store.typed import typed
from readoff.studies import load_study
from support import store_samples as samples
from support import study_records as records
from support.page_bench import get, open_sample_store, served
from support.photographs import SECRET, photograph


def fill(path):
    """Three runs of a label whose rate is read, and one whose rate is not."""
    with open_sample_store(path) as store:
        for nonce, rate in ((1, "76.2"), (2, "76.0"), (3, "76.4"), (4, "7,,2")):
            start = {"label": "zero-ws", "repeat": 1}
            store.take(samples.run_record(2, nonce, console=samples.printed(rate), start=start), "line")
        (hold,) = [row.number for row in find.held(store)]
    return hold


@pytest.fixture
def bench(tmp_path):
    hold = fill(tmp_path / "bench.db")
    look = Look(
        tmp_path / "bench.db",
        schemas=lambda: load_schemas([("replay.toml", samples.SCHEMA)]),
        study=lambda: load_study("s.toml", records.STUDY),
    )
    with served(look) as server:
        server.hold, server.path = hold, tmp_path / "bench.db"
        yield server


def everything(path):
    """All rows of all tables, to see that nothing has changed."""
    with open_store(path) as store:
        names = [row[0] for row in store.db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {name: store.db.execute(f"SELECT * FROM {name}").fetchall() for name in names}


def post(server, path, fields=(), file=None, **headers):
    """A form as a browser sends it from the page's own view, unless other headers are given."""
    if file is None:
        kind, body = "application/x-www-form-urlencoded", urlencode(dict(fields)).encode()
    else:
        kind = "multipart/form-data; boundary=cut"
        parts = [
            f'--cut\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
            for name, value in dict(fields).items()
        ]
        head = '--cut\r\nContent-Disposition: form-data; name="photo"; filename="x.jpg"\r\n\r\n'
        body = b"".join([*parts, head.encode(), file, b"\r\n--cut--\r\n"])
    told = {"origin": f"http://127.0.0.1:{server.port}", "content_type": kind, **headers}
    sent = {
        "host": f"127.0.0.1:{server.port}",
        **{name.replace("_", "-"): value for name, value in told.items() if value is not None},
    }
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=20)
    connection.request("POST", path, body=body, headers=sent)
    answer = connection.getresponse()
    try:
        answer.octets = answer.read()
    except ConnectionResetError:  # refused by its head alone, while more of it was on the way
        assert answer.status >= 400
        answer.octets = b""
    connection.close()
    return answer


NUMBER = {
    "first": "76.3",
    "second": "76.3",
    "unit": "frames/s",
    "better": "higher",
    "metric": "rate",
    "person": "A. Tester",
}
DEEDS = {
    "type": ("/held/{hold}", NUMBER),
    "attach": ("/attachments", {"label": "zero-ws", "text": "J7 closed", "person": "A. Tester"}),
    "back": ("/attachments/1/back", {"person": "A. Tester"}),
    "fail": ("/study/failures", {"label": "zero-ws", "program": "replay", "text": "crashes"}),
    "fail back": ("/study/failures/1/back", {}),
}


def do(server, name, **headers):
    path, fields = DEEDS[name]
    return post(server, path.format(hold=server.hold), fields, **headers)


# -- who may not ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", DEEDS)
@pytest.mark.parametrize(
    "headers",
    [
        {"origin": None},
        {"origin": "null"},
        {"origin": "http://evil.example"},
        {"origin": "https://127.0.0.1:{port}"},
        {"origin": "http://127.0.0.1:1"},
        {"origin": "http://localhost:{port}"},
        {"sec_fetch_site": "cross-site", "sec_fetch_mode": "navigate"},
        {"sec_fetch_site": "same-site"},
        {"sec_fetch_site": "none"},
        {"host": "evil.example"},
    ],
)
def test_no_deed_from_elsewhere(bench, name, headers):
    before = everything(bench.path)
    told = {key: value and value.format(port=bench.port) for key, value in headers.items()}
    assert do(bench, name, **told).status == 403
    assert everything(bench.path) == before


@pytest.mark.parametrize("name", DEEDS)
def test_no_deed_without_the_token(tmp_path, name):
    path = tmp_path / "bench.db"
    hold = fill(path)
    with served(Look(path, study=lambda: load_study("s.toml", records.STUDY)), "0.0.0.0") as server:
        server.hold = hold
        before = everything(path)
        cookie = f"{server.door.cookie}={server.door.token}"
        for wrong in (None, "", cookie[:-1], f"{server.door.cookie}=x"):
            assert do(server, name, cookie=wrong).status == 403
        way = f"{DEEDS[name][0].format(hold=hold)}?token={server.door.token}"
        assert post(server, way, DEEDS[name][1]).status == 303  # the token is taken off, and nothing is done
        assert do(server, name, cookie=cookie, origin="http://evil.example").status == 403
        assert everything(path) == before
        assert do(server, name, cookie=cookie).status in (303, 400, 422)


@pytest.mark.parametrize("name", DEEDS)
@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_no_deed_by_looking(bench, name, method):
    before = everything(bench.path)
    path, fields = DEEDS[name]
    answer = get(bench, f"{path.format(hold=bench.hold)}?{urlencode(fields)}", method)
    assert answer.status == (200 if name == "type" else 405)
    assert everything(bench.path) == before


def test_a_form_says_how_long_it_is_and_is_not_too_long(bench):
    assert do(bench, "attach", content_length=str(MOST_BODY + 1)).status == 413
    assert do(bench, "attach", content_length="9" * 30).status in (400, 413)
    assert do(bench, "attach", transfer_encoding="chunked").status in (400, 411)
    with open_store(bench.path) as store:
        assert attachments(store) == []


# -- typing --------------------------------------------------------------------------------------------------


def test_a_number_is_typed_twice_and_kept_with_who_and_when(bench):
    answer = do(bench, "type")
    assert (answer.status, answer.headers["location"]) == (303, "/runs/4#typed")
    with open_store(bench.path) as store:
        (row,) = typed(store)
    assert (row.value, row.metric, row.person, row.run, row.stands) == ("76.3", "rate", "A. Tester", 4, True)
    assert row.headline  # the schema says so
    assert b"rate: 76.3 frames/s" in get(bench, "/runs/4").octets  # at once, not from before


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"second": "73.6"}, "The two do not agree"),
        ({"second": "76.30"}, "The two do not agree"),
        ({"first": "76..3", "second": "76..3"}, "decimal point, please"),
        ({"first": "", "second": ""}, "decimal point, please"),
        ({"person": "  "}, "Who types it is not said"),
        ({"better": "best"}, "Which way is better"),
    ],
)
def test_what_does_not_fit_is_said_and_nothing_kept(bench, change, reason):
    path = f"/held/{bench.hold}"
    answer = post(bench, path, {**NUMBER, **change})
    assert answer.status == 422
    assert reason in answer.octets.decode()
    assert 'name="first" value=""' in answer.octets.decode()  # both are typed anew
    with open_store(bench.path) as store:
        assert typed(store) == []


def test_the_neighbours_guard_asks_and_a_person_may_insist(bench):
    path, slip = f"/held/{bench.hold}", {**NUMBER, "first": "763", "second": "763"}
    answer = post(bench, path, slip)
    told = answer.octets.decode()
    assert answer.status == 422
    assert "a lost decimal point" in told and "76.3" in told
    assert 'name="stands" value="763"' in told
    assert post(bench, path, {**slip, "first": "762", "second": "762", "stands": "763"}).status == 422
    with open_store(bench.path) as store:
        assert typed(store) == []
    assert post(bench, path, {**slip, "stands": "763"}).status == 303
    with open_store(bench.path) as store:
        assert [row.value for row in typed(store)] == ["763"]


def test_what_is_not_held_cannot_be_typed(bench):
    for path in ("/held/999", "/held/0"):
        assert post(bench, path, NUMBER).status == 400
        assert get(bench, path).status == 404


# -- notes and photographs -----------------------------------------------------------------------------------


def test_a_photograph_comes_back_without_its_place_or_anything_active(bench):
    fields = {"run": "2", "text": "<script>window.hit = 8</script>", "person": "A. Tester"}
    answer = post(bench, "/attachments", fields, photograph())
    assert (answer.status, answer.headers["location"]) == (303, "/runs/2#attached")
    with open_store(bench.path) as store:
        (kept,) = attachments(store)
    shown = get(bench, f"/photographs/{kept.sha256}")
    assert shown.headers["content-type"] == "image/jpeg"
    assert shown.headers["x-content-type-options"] == "nosniff"
    assert "default-src 'none'" in shown.headers["content-security-policy"]
    assert SECRET not in shown.octets
    assert not Image.open(io.BytesIO(shown.octets)).getexif()
    view = get(bench, "/runs/2").octets.decode()
    assert f'src="/photographs/{kept.sha256}"' in view
    assert "&lt;script&gt;window.hit = 8" in view and "<script>window" not in view
    assert post(bench, f"/attachments/{kept.number}/back", {"person": "A. Tester"}).status == 303
    assert get(bench, f"/photographs/{kept.sha256}").status == 404
    assert kept.sha256 not in get(bench, "/runs/2").octets.decode()


@pytest.mark.parametrize(
    "file",
    [b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"<html><script>", b"GIF89a" + bytes(50), b"\xff\xd8\xff"],
)
def test_what_is_no_photograph_is_not_kept(bench, file):
    answer = post(bench, "/attachments", {"label": "zero-ws", "person": "A. Tester"}, file)
    assert answer.status == 400
    assert b"no whole photograph" in answer.octets and b"Nothing was kept" in answer.octets
    with open_store(bench.path) as store:
        assert attachments(store) == []


def test_a_configuration_of_the_study_may_have_a_note_before_anything_came(bench):
    fields = {"label": "as-found", "text": "chips as bought", "person": "A. Tester"}
    assert post(bench, "/attachments", fields).status == 303
    assert b"chips as bought" in get(bench, "/configurations").octets
    assert post(bench, "/attachments", {**fields, "label": "nobody's"}).status == 400


@pytest.mark.parametrize("fields", [{}, {"label": "zero-ws"}, {"run": "99", "text": "x", "person": "p"}])
def test_half_an_attachment_is_none(bench, fields):
    assert post(bench, "/attachments", fields).status == 400


@pytest.mark.parametrize("body", [b"", b"--cut", b"--cut\r\n\r\n\r\n--cut--", bytes(range(256))])
def test_a_form_that_is_none_is_refused_and_the_page_goes_on(bench, body):
    connection = http.client.HTTPConnection("127.0.0.1", bench.port, timeout=20)
    own = f"127.0.0.1:{bench.port}"
    kind = "multipart/form-data; boundary=cut"
    connection.request(
        "POST", "/attachments", body, {"host": own, "origin": f"http://{own}", "content-type": kind}
    )
    assert connection.getresponse().status == 400
    connection.close()
    assert get(bench, "/").status == 200


# -- failures of a study -------------------------------------------------------------------------------------


def test_a_failure_is_noted_by_one_touch_and_taken_back(bench):
    assert "of 6 boots done" in get(bench, "/").octets.decode()
    assert do(bench, "fail").status == 303
    with open_store(bench.path) as store:
        (note,) = notes(store, "desk-486")
    assert (note.label, note.program, note.what, note.text) == ("zero-ws", "replay", "failure", "crashes")
    assert "zero-ws, replay: crashes" in get(bench, "/").octets.decode()
    assert do(bench, "fail back").status == 303
    assert "zero-ws, replay: crashes" not in get(bench, "/").octets.decode()
    assert do(bench, "fail back").status == 400


@pytest.mark.parametrize("change", [{"label": "x"}, {"program": "x"}, {"text": " "}, {"text": "x" * 1001}])
def test_a_failure_of_something_else_is_refused(bench, change):
    path, fields = DEEDS["fail"]
    assert post(bench, path, {**fields, **change}).status == 400
    with open_store(bench.path) as store:
        assert notes(store, "desk-486") == []


def test_without_a_study_there_is_no_step_and_no_failure(tmp_path):
    fill(tmp_path / "bench.db")
    with served(Look(tmp_path / "bench.db")) as server:
        assert b'id="next"' not in get(server, "/").octets
        assert post(server, "/study/failures", DEEDS["fail"][1]).status == 400


def test_when_the_plan_is_done_nothing_is_left_to_fail(tmp_path):
    path = tmp_path / "bench.db"
    with open_sample_store(path) as store:
        for octets in records.boots(records.TURNS):
            store.take(octets, "line")
    with served(Look(path, study=lambda: load_study("s.toml", records.STUDY))) as server:
        view = get(server, "/").octets.decode()
    assert "The plan is done" in view and "All boots of the plan are there" in view
    assert "readoff study judge" not in view
    assert "If it fails" not in view and "/study/failures" not in view
    assert 'href="/findings">What came of it' in view


def test_a_store_of_snapshots_alone_says_so(tmp_path):
    with open_sample_store(tmp_path / "bench.db") as store:
        store.take(samples.snapshot_record(1, 1, label="as-found"), "line")
    with served(Look(tmp_path / "bench.db")) as server:
        for view in ("/", "/runs"):
            assert "No run has come yet, but 1 snapshot" in get(server, view).octets.decode()


def test_a_study_that_has_become_wrong_is_said(tmp_path):
    fill(tmp_path / "bench.db")
    with served(Look(tmp_path / "bench.db", study=lambda: load_study("s.toml", "study = 1"))) as server:
        answer = get(server, "/")
        assert answer.status == 200
        assert b"s.toml" in answer.octets
