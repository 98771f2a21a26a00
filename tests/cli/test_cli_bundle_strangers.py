"""A bundle is a stranger's file: whatever is in it, nothing is written where it should not be, and nothing hangs."""

import hashlib
import io
import json
import zipfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from readoff.arrivals.bundled import is_bundle
from readoff.errors import MalformedError, ReadoffError
from readoff.reports import bundle as bundles
from support.bundles import contents, packed, pick, refused, resealed
from support.study_bench import run

ESCAPES = [
    "../evil.toml",
    "/etc/evil.toml",
    "schemas/../../evil.toml",
    "schemas\\..\\evil.toml",
    "C:evil.toml",
]


@pytest.mark.parametrize(
    "name",
    [
        *ESCAPES,
        "schemas/.hidden.toml",
        "schemas/a/b.toml",
        "evil.py",
        "schemas/x.toml\n",
        "arrivals/x.rdo",
    ],
)
def test_a_name_that_no_bundle_has_is_refused(elsewhere, name):
    files = contents(elsewhere / "bundle.zip")
    packed(elsewhere / "bundle.zip", resealed({**files, name: b"x"}))
    refused(elsewhere, "is no file of a bundle")
    assert not (elsewhere.parent / "evil.toml").exists()


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_name_twice_is_refused(elsewhere):
    files = contents(elsewhere / "bundle.zip")
    with zipfile.ZipFile(elsewhere / "bundle.zip", "w") as zipped:
        for name, octets in [*files.items(), ("study.toml", b"other")]:
            zipped.writestr(name, octets)
    refused(elsewhere, "study.toml is in it twice")


def test_more_than_a_bundle_may_have_is_not_unpacked(elsewhere, monkeypatch):
    files = contents(elsewhere / "bundle.zip")
    packed(elsewhere / "bundle.zip", resealed({**files, "arrivals/000999.rdo": bytes(1 << 20)}))
    monkeypatch.setattr(bundles, "MOST_OCTETS", 1 << 19)
    refused(elsewhere, "arrivals/000999.rdo is larger than a file of a bundle may be")
    monkeypatch.setattr(bundles, "MOST_OCTETS", 1 << 30)
    monkeypatch.setattr(bundles, "MOST_IN_ALL", 1 << 19)
    refused(elsewhere, "more files, or larger ones")
    monkeypatch.setattr(bundles, "MOST_IN_ALL", 1 << 10)
    refused(elsewhere, "larger than a bundle may be")
    monkeypatch.setattr(bundles, "MOST_IN_ALL", 1 << 30)
    monkeypatch.setattr(bundles, "MOST_SCHEMAS", 1)
    refused(elsewhere, "more schemas")


def test_a_length_that_lies_is_no_way_around_the_limit(elsewhere):
    """A member whose header claims one octet and that unpacks to a megabyte."""
    files = contents(elsewhere / "bundle.zip")
    big = bytes(1 << 20)
    packed(elsewhere / "bundle.zip", resealed({**files, "arrivals/000999.rdo": big}))
    octets = (elsewhere / "bundle.zip").read_bytes()
    lied = octets.replace((1 << 20).to_bytes(4, "little"), (1).to_bytes(4, "little"))
    assert lied != octets
    (elsewhere / "bundle.zip").write_bytes(lied)
    refused(elsewhere, "bundle.zip")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda rows: rows["arrivals"][0].update(sha256=7), "do not fit its files"),
        (lambda rows: rows["arrivals"][0].update(number=10**9), "do not fit its files"),
        (lambda rows: rows["arrivals"][0].update(evil=1), "other columns"),
        (lambda rows: rows["numbers"][0].update(number=2**62), "has the number"),
        (lambda rows: rows["numbers"][0].update(id="<script>"), "no record's id"),
        (lambda rows: rows["notes"][0].update(what="drop table"), "do not fit"),
        (lambda rows: rows["typed"][0].update(better="best"), "do not fit"),
        (lambda rows: rows.update(notes=7), "not what a store carries"),
        (lambda rows: rows["notes"].append("x"), "other columns"),
        (lambda rows: rows["photographs"][0].update(kind="text/html"), "photograph"),
        (lambda rows: rows["photographs"][0].update(width=1), "not what it is said to be"),
    ],
)
def test_rows_that_do_not_fit_are_refused(elsewhere, change, said):
    files = contents(elsewhere / "bundle.zip")
    rows = json.loads(files["store.json"])
    change(rows)
    packed(elsewhere / "bundle.zip", resealed({**files, "store.json": json.dumps(rows).encode()}))
    refused(elsewhere, said)


def test_a_photograph_that_is_none_is_refused(elsewhere):
    files = contents(elsewhere / "bundle.zip")
    rows = json.loads(files["store.json"])
    page = b"<html><script>alert(1)</script>"
    sha = hashlib.sha256(page).hexdigest()
    del files[pick(files, "photographs/")]
    rows["photographs"][0]["sha256"] = rows["attachments"][0]["sha256"] = sha
    files |= {f"photographs/{sha}.jpg": page, "store.json": json.dumps(rows).encode()}
    packed(elsewhere / "bundle.zip", resealed(files))
    refused(elsewhere, "this is no whole photograph")


@pytest.mark.parametrize(
    ("name", "octets", "said"),
    [
        ("bundle.json", b"[" * 100_000, "no JSON"),
        ("bundle.json", b"\xff", "no JSON"),
        ("bundle.json", b"[]", "no bundle of Readoff"),
        ("bundle.json", b'{"what": "readoff bundle", "version": 99}', "is of version 99"),
        ("bundle.json", b'{"what": "readoff bundle", "version": 1}', "lists no files"),
    ],
)
def test_a_manifest_that_is_none_is_refused(elsewhere, name, octets, said):
    packed(elsewhere / "bundle.zip", {**contents(elsewhere / "bundle.zip"), name: octets})
    refused(elsewhere, said)


def test_a_study_that_is_none_is_told_after_the_rest_was_taken(elsewhere):
    files = contents(elsewhere / "bundle.zip")
    packed(elsewhere / "bundle.zip", resealed({**files, "study.toml": b"study = 7"}))
    told = run("take", "bundle.zip", status=1)
    assert "The findings could not be judged again" in told.output


def test_nothing_in_the_folder_beside_is_written_over(elsewhere):
    (elsewhere / "bundle-unpacked").mkdir()
    (elsewhere / "bundle-unpacked" / "study.toml").write_text("mine")
    assert "there is another file already" in run("take", "bundle.zip", status=2).stderr
    assert (elsewhere / "bundle-unpacked" / "study.toml").read_text() == "mine"
    assert not (elsewhere / "readoff.db").exists()


def test_a_link_beside_is_not_followed(elsewhere):
    (elsewhere / "bundle-unpacked").mkdir()
    (elsewhere / "victim").write_text("mine")
    (elsewhere / "bundle-unpacked" / "study.toml").symlink_to(elsewhere / "victim")
    run("take", "bundle.zip", status=2)
    assert (elsewhere / "victim").read_text() == "mine"


def test_a_bundle_in_a_folder_is_not_taken_by_itself(elsewhere):
    (elsewhere / "in").mkdir()
    (elsewhere / "bundle.zip").rename(elsewhere / "in" / "bundle.zip")
    assert is_bundle(elsewhere / "in" / "bundle.zip")
    assert "1 file without a record ignored" in run("take", "in").output


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whatever_is_spoilt_is_refused_in_our_words_or_the_same(elsewhere, data):
    whole = bytearray((elsewhere / "bundle.zip").read_bytes())
    good = bundles.read_bundle(elsewhere / "bundle.zip")
    for _ in range(data.draw(st.integers(1, 3))):
        whole[data.draw(st.integers(0, len(whole) - 1))] ^= data.draw(st.integers(1, 255))
    path = elsewhere / "spoilt.zip"
    path.write_bytes(whole)
    try:
        found = bundles.read_bundle(path)
    except ReadoffError as error:
        assert isinstance(error, MalformedError)
    else:
        assert found.files == good.files  # a date, say: nothing that counts


def test_the_reader_reads_what_any_unzipper_shows(elsewhere):
    octets = (elsewhere / "bundle.zip").read_bytes()
    with zipfile.ZipFile(io.BytesIO(octets)) as zipped:
        assert zipped.testzip() is None
        assert zipped.namelist()[0] == "bundle.json"
        assert {each.date_time for each in zipped.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        listed = json.loads(zipped.read("bundle.json"))["files"]
        assert set(listed) == set(zipped.namelist()) - {"bundle.json"}
