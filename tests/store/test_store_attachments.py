"""Notes and photographs: kept once by their content, with who and when; harmless; checked, gathered, taken back."""

import io
import sqlite3
import zlib
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from readoff.errors import StoreError, UsageError
from readoff.store import find, keep, migrations, open_store
from readoff.store.attachments import Entry, attach, attachments, photograph, take_back
from readoff.store.check import check
from readoff.store.gather import gather
from readoff.store.photographs import KINDS, LONGEST_SIDE, MOST_OCTETS, clean
from support import store_samples as samples
from support.photographs import GPS, MAKE, SECRET
from support.photographs import photograph as taken

NOW = datetime(2001, 2, 3, 4, 5, 6, tzinfo=UTC)


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "bench.db") as store:
        store.take(samples.snapshot_record(label="zero-ws"), "a")
        store.take(samples.run_record(2, start={"label": "zero-ws"}), "a")
        yield store


def run_id(store):
    return find.runs(store)[0].id


def put(store, **entry):
    return attach(store, Entry(**{"person": "A. Tester", "label": "zero-ws", **entry}), NOW)


# -- photographs ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", list(KINDS))
def test_nothing_of_a_photographs_file_but_its_points_is_kept(kind):
    octets = taken(kind)
    assert SECRET in octets
    assert Image.open(io.BytesIO(octets)).getexif().get_ifd(GPS)
    found = clean(octets)
    assert SECRET not in found.octets and b"A maker" not in found.octets
    picture = Image.open(io.BytesIO(found.octets))
    assert not picture.getexif()
    assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert (found.kind, picture.size) == ("image/png" if kind == "PNG" else "image/jpeg", (640, 480))
    assert picture.convert("RGB").getpixel((10, 10))[0] > 150


def test_the_sample_has_what_is_to_go():
    exif = Image.open(io.BytesIO(taken())).getexif()
    assert exif[MAKE] == "A maker"


def test_a_photograph_is_turned_upright_by_its_own_mark():
    """Exif 2.3, tag 0112h, value 6: the 0th row is at the right side, so the left half comes to the top."""
    picture = Image.open(io.BytesIO(clean(taken(orientation=6)).octets))
    assert picture.size == (480, 640)
    red, _, blue = picture.getpixel((240, 20))
    assert red > blue
    red, _, blue = picture.getpixel((240, 620))
    assert blue > red


def test_a_large_photograph_becomes_smaller():
    found = clean(taken(size=(5000, 2500)))
    assert (found.width, found.height) == (LONGEST_SIDE, LONGEST_SIDE // 2)


def test_what_is_transparent_becomes_white():
    written = io.BytesIO()
    Image.new("RGBA", (8, 8), (255, 0, 0, 0)).save(written, "PNG")
    assert Image.open(io.BytesIO(clean(written.getvalue()).octets)).getpixel((3, 3)) == (255, 255, 255)


def huge_png():
    octets = bytearray(taken("PNG"))
    octets[16:24] = (10_000).to_bytes(4, "big") * 2  # width and height of IHDR (PNG specification, 11.2.2)
    octets[29:33] = zlib.crc32(octets[12:29]).to_bytes(4, "big")
    return bytes(octets)


@pytest.mark.parametrize(
    ("octets", "reason"),
    [
        (b"", "no whole photograph"),
        (b"<svg xmlns='http://www.w3.org/2000/svg' onload='x()'/>", "no whole photograph"),
        (b"GIF89a" + bytes(100), "no whole photograph"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n", "no whole photograph"),
        (taken()[:2000], "no whole photograph"),
        (taken("PNG")[:900], "no whole photograph"),
        (b"x" * (MOST_OCTETS + 1), "24 MiB"),
        (huge_png(), "24 million points"),
    ],
)
def test_what_is_no_photograph_is_refused(octets, reason):
    with pytest.raises(UsageError, match=reason):
        clean(octets, "x.jpg")


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_damaged_photographs_are_refused_or_harmless(data):
    octets = bytearray(taken(data.draw(st.sampled_from(list(KINDS))), (40, 30)))
    for _ in range(data.draw(st.integers(1, 12))):
        octets[data.draw(st.integers(0, len(octets) - 1))] = data.draw(st.integers(0, 255))
    try:
        found = clean(bytes(octets))
    except UsageError:
        return
    Image.open(io.BytesIO(found.octets)).load()
    assert SECRET not in found.octets


# -- kept ----------------------------------------------------------------------------------------------------


def test_a_note_and_a_photograph_are_kept_with_who_and_when(store):
    picture = clean(taken())
    put(store, text="  J7 closed  ", photograph=picture)
    put(store, label="", id=run_id(store), text="fan off", person=" B.  Tester ")
    first, second = attachments(store)
    assert (first.label, first.text, first.person, first.at) == (
        "zero-ws",
        "J7 closed",
        "A. Tester",
        "2001-02-03T04:05:06+00:00",
    )
    assert (first.kind, first.width, first.height, first.length) == (
        "image/jpeg",
        640,
        480,
        len(picture.octets),
    )
    assert photograph(store, first.sha256) == picture
    assert (second.label, second.run, second.person, second.sha256, second.file_name) == (
        "",
        1,
        "B. Tester",
        "",
        "",
    )
    assert attachments(store, label="zero-ws") == [first]
    assert attachments(store, id=run_id(store)) == [second]
    store.reread()
    assert attachments(store) == [first, second]


def test_the_same_photograph_is_kept_once(store):
    put(store, photograph=clean(taken()))
    put(store, photograph=clean(taken()), label="", id=run_id(store))
    assert store.db.execute("SELECT count(*) FROM photographs").fetchone()[0] == 1
    assert len({each.sha256 for each in attachments(store)}) == 1


@pytest.mark.parametrize(
    ("entry", "reason"),
    [
        ({"text": "x", "label": "zreo-ws"}, "nothing carries the label"),
        ({"text": "x", "label": ""}, "one configuration or one run"),
        ({"text": "x", "id": "00000001-00000001-0001"}, "one configuration or one run"),
        ({"text": "x", "label": "", "id": "00000001-00000001-0099"}, "no run with the record"),
        ({"text": " \n"}, "nothing to attach"),
        ({"text": "x" * 4001}, "4000 characters"),
        ({"text": "x", "person": " "}, "who attaches it"),
        ({"text": "x", "person": "p" * 81}, "80 characters"),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_kept(store, entry, reason):
    with pytest.raises(UsageError, match=reason):
        put(store, **entry)
    assert attachments(store) == []


def test_a_label_that_a_study_announces_may_have_one_before_anything_came(store):
    attach(store, Entry("A. Tester", label="planned", text="as bought"), NOW, announced=("planned",))
    assert attachments(store, label="planned")[0].text == "as bought"


def test_taken_back_it_is_shown_no_more_and_still_there(store):
    number = put(store, photograph=clean(taken()))
    (first,) = attachments(store)
    assert take_back(store, number, person="A. Tester", text="the wrong board", at=NOW) == first
    assert attachments(store) == []
    with pytest.raises(UsageError, match="no such photograph"):
        photograph(store, first.sha256)
    for again in (number, 99):
        with pytest.raises(UsageError, match="no attachment"):
            take_back(store, again, person="A. Tester", text="again", at=NOW)
    assert store.db.execute("SELECT count(*) FROM attachments").fetchone()[0] == 2


# -- checked, gathered, brought up to date -------------------------------------------------------------------


def test_a_spoiled_photograph_is_found_not_given_out_and_not_gathered(store, tmp_path):
    put(store, text="seen", photograph=clean(taken()))
    put(store, text="only a note")
    assert check(store).flaws == ()
    with sqlite3.connect(store.path) as other:
        other.execute("UPDATE photographs SET octets = zeroblob(9)")
    other.close()
    (flaw,) = check(store).flaws
    assert "SHA-256 is another" in flaw.what and "attachment 1" in flaw.where and not flaw.derivable
    with pytest.raises(StoreError, match="not what was kept"):
        photograph(store, attachments(store)[0].sha256)
    with open_store(tmp_path / "club.db") as club:
        assert gather(club, store.path).attachments == 1
        assert [each.text for each in attachments(club)] == ["only a note"]


def test_attachments_are_gathered_once_with_what_was_taken_back(store, tmp_path):
    put(store, label="", id=run_id(store), text="fan off", photograph=clean(taken()))
    gone = put(store, text="wrong")
    take_back(store, gone, person="A. Tester", text="it was the other", at=NOW)
    put(store, text="right")
    with open_store(tmp_path / "club.db") as club:
        club.take(samples.run_record(9, 77), "b")
        attach(club, Entry("C. Tester", label=find.runs(club)[0].label, text="ours"), NOW)
        assert gather(club, store.path).attachments == 4
        assert gather(club, store.path).attachments == 0
        assert [each.text for each in attachments(club)] == ["ours", "fan off", "right"]
        moved = attachments(club)[1]
        assert moved.run == find.run_of(club, moved.id).number
        assert photograph(club, moved.sha256) == clean(taken())
        assert check(club).flaws == ()


def test_a_store_from_before_there_were_attachments_gets_them(tmp_path, monkeypatch):
    path = tmp_path / "old.db"
    at = migrations.MIGRATIONS.index(migrations._attachments)
    with monkeypatch.context() as older:
        for module in (migrations, keep):
            older.setattr(module, "MIGRATIONS", migrations.MIGRATIONS[:at])
        with open_store(path) as store:
            store.take(samples.run_record(), "a")
    with open_store(tmp_path / "new.db") as store:
        assert gather(store, path).attachments == 0  # gathering only reads an older one
    with open_store(path) as store:
        put(store, label=find.runs(store)[0].label, text="later")
        assert len(attachments(store)) == 1
