"""The bundle: taken into an empty store it gives the same findings, figure for figure; a stranger's does no harm."""

import hashlib
import io
import json
import zipfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from readoff.arrivals.bundled import is_bundle
from readoff.cli import main
from readoff.errors import MalformedError, ReadoffError
from readoff.reports import bundle as bundles
from readoff.reports import writing
from readoff.store import find, open_store
from readoff.store.attachments import attachments
from readoff.store.notes import notes
from readoff.store.typed import typed
from support import study_records as records
from support.photographs import photograph
from support.study_bench import answer, prepare, run
from support.walks import dialogue

STUDY = records.gauge_study(
    top='with_typed = true\nbegun = 2001-01-01\ncurrency = "EUR"',
    more="price = 10\n",
    end='[[targets]]\nmetric = "level"\nat = 75\n[[excluded]]\nboot = "11223344-00000007"\nwhy = "a fan stood"\n',
)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A study with its own schema, a typed number, an excluded boot, notes, a photograph and a hung run; its bundle."""
    with pytest.MonkeyPatch.context() as patch:
        bench = prepare(tmp_path_factory.mktemp("made"), patch)
        patch.setattr(writing, "figures_of", lambda publication: iter(()))
        (bench / "g.toml").write_text(STUDY)
        (bench / "inbox").mkdir()
        shown = records.gauge_boots(["70.1", "70.2", "70.3"], ["77.1", "77.2", "****", "60.0"])
        shown.append(records.snapshot(9, "zero-ws", minute=45))
        hung = records.run(9, "zero-ws", 2, b"", program="gauge", path="C:\\GAUGE.COM", ends=False, minute=46)
        shown.append(hung)
        other = records.a_boot(40, "another", ["72.9"])
        for at, each in enumerate([*other, *shown]):
            (bench / "inbox" / f"{at:05}.RDO").write_bytes(each)
        run("take", "inbox", status=1)
        (held,) = answer("held", status=1)["held"]
        dialogue(main, ["enter", str(held["number"]), "--unit", "points", "--by", "me"], ("77.3", "77.3"), 0)
        run("study", "note", "g.toml", "--label", "as-found", "--remark", "taken back later")
        run("study", "note", "g.toml", "--label", "as-found", "--remark", "hums")
        run("study", "note", "g.toml", "--take-back", "1", "by mistake")
        (bench / "p.jpg").write_bytes(photograph())
        run("attach", "--label", "zero-ws", "--photo", "p.jpg", "--by", "me", "J7 open")
        run("report", "out", "--study", "g.toml", "--bundle")
        findings = answer("study", "judge", "g.toml")
    return bench, findings


@pytest.fixture
def elsewhere(made, tmp_path, monkeypatch):
    """An empty folder with the bundle in it, and nothing of its maker's settings."""
    (tmp_path / "bundle.zip").write_bytes((made[0] / "out" / "bundle.zip").read_bytes())
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "4000")
    for name in ("READOFF_STORE", "READOFF_SCHEMAS"):
        monkeypatch.delenv(name, raising=False)
    return tmp_path


def contents(path):
    with zipfile.ZipFile(path) as zipped:
        return {each.filename: zipped.read(each) for each in zipped.infolist()}


def packed(path, files, **more):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as zipped:
        for name, octets in files.items():
            zipped.writestr(name, octets)


def resealed(files):
    """The files with a manifest that fits them again: what somebody would make who means harm."""
    manifest = json.loads(files["bundle.json"])
    manifest["files"] = {
        name: {"octets": len(octets), "sha256": hashlib.sha256(octets).hexdigest()}
        for name, octets in files.items()
        if name != "bundle.json"
    }
    return {**files, "bundle.json": json.dumps(manifest).encode()}


def refused(elsewhere, said):
    told = run("take", "bundle.zip", status=None)
    assert told.exit_code not in (0,), told.output
    assert said in told.stderr, told.stderr
    assert {each.name for each in elsewhere.iterdir()} == {"bundle.zip"}


# -- the same on another machine -----------------------------------------------------------------------------------


def test_an_empty_store_elsewhere_gives_identical_findings(made, elsewhere):
    told = run("take", "bundle.zip", "--store", "check.db").output
    assert "Judged again: 1 finding, the same as in the bundle." in told
    again = answer(
        "study",
        "judge",
        "bundle-unpacked/study.toml",
        *("--store", "check.db", "--schemas", "bundle-unpacked/schemas"),
    )
    assert again == made[1]  # every figure, every run's number, every reason for what was left out
    assert again["typed"] == 1 and again["findings"][0]["remarks"]
    assert json.loads((elsewhere / "bundle-unpacked" / "findings.json").read_bytes()) == again
    run("store", "check", "--store", "check.db", "--schemas", "bundle-unpacked/schemas")


def test_what_was_typed_noted_and_attached_comes_along(elsewhere):
    got = answer("take", "bundle.zip")["bundles"][0]
    assert (got["same"], got["differ"], got["trouble"]) == (True, [], "")
    with open_store("readoff.db", []) as store:
        assert [each.value for each in typed(store)] == ["77.3"]
        assert [(each.number, each.text) for each in notes(store, "desk-486")] == [(2, "hums")]
        [one] = attachments(store)
        assert (one.label, one.text, one.kind) == ("zero-ws", "J7 open", "image/jpeg")


def test_notes_and_photographs_are_in_the_report_too(made):
    out = made[0] / "out"
    [picture] = (out / "photographs").iterdir()
    assert picture.read_bytes()[:3] == b"\xff\xd8\xff"  # JPEG (ITU-T T.81, B.1.1.3: SOI)
    text = (out / "report.md").read_text("utf-8")
    assert f"(photographs/{picture.name})" in text and "J7 open" in text
    html = (out / "report.html").read_text("utf-8")
    assert "data:image/jpeg;base64," in html and "J7 open" in html and "as-found: hums" in html
    assert "taken back later" not in html + text


def test_only_the_studys_boots_go_along_and_no_folder_of_its_maker(made, elsewhere):
    answer("take", "bundle.zip")
    with open_store("readoff.db", []) as store:
        assert {each.label for each in find.runs(store)} == {"as-found", "zero-ws"}
    whole = b"".join(contents(elsewhere / "bundle.zip").values())
    assert str(made[0]).encode() not in whole and b"inbox" not in whole


def test_taken_twice_nothing_is_doubled(elsewhere):
    answer("take", "bundle.zip")
    got = answer("take", "bundle.zip")["bundles"][0]
    assert got["same"] is True
    assert (got["gathered"]["new"], got["gathered"]["notes"], got["gathered"]["typed"]) == (0, 0, 0)


def test_a_store_with_other_runs_of_the_labels_says_what_differs(made, elsewhere):
    (elsewhere / "more.RDO").write_bytes(records.gauge_boot(77, "zero-ws", ["90.0"])[1])
    run("take", "more.RDO", "--schemas", str(made[0] / "own"))
    result = run("take", "bundle.zip", status=1)
    assert "Judged again, these are not the same as in the bundle" in result.output
    assert "as-found~zero-ws:gauge:level" in result.output


def test_labels_without_a_study_come_back_the_same(made, elsewhere, monkeypatch):
    monkeypatch.setattr(writing, "figures_of", lambda publication: iter(()))
    where = ("--store", str(made[0] / "readoff.db"), "--schemas", str(made[0] / "own"))
    run("report", "labels", "as-found", "zero-ws", "--bundle", "--margin", "1", *where)
    got = answer("take", "labels/bundle.zip", "--unpack", "there")["bundles"][0]
    assert (got["same"], got["differ"], got["trouble"]) == (True, [], "")
    assert got["findings"] == 1


def test_the_same_store_makes_the_same_bundle(made, monkeypatch):
    bench, _ = made
    monkeypatch.chdir(bench)
    monkeypatch.setattr(writing, "figures_of", lambda publication: iter(()))
    before = (bench / "out" / "bundle.zip").read_bytes()
    run("report", "out2", "--study", "g.toml", "--bundle", "--schemas", "own")
    assert (bench / "out2" / "bundle.zip").read_bytes() == before


# -- what was changed is named -------------------------------------------------------------------------------------


def pick(files, start):
    return next(name for name in sorted(files) if name.startswith(start))


@pytest.mark.parametrize(
    "start", ["arrivals/", "schemas/", "study", "store", "findings", "photographs/", "README"]
)
def test_a_changed_file_is_named_and_nothing_is_taken(elsewhere, start):
    files = contents(elsewhere / "bundle.zip")
    name = pick(files, start)
    files[name] = files[name][:-1] + bytes([files[name][-1] ^ 1])
    packed(elsewhere / "bundle.zip", files)
    refused(elsewhere, f"{name} was changed since the bundle was made")


def test_a_file_more_or_less_is_named(elsewhere):
    files = contents(elsewhere / "bundle.zip")
    packed(elsewhere / "bundle.zip", {**files, "arrivals/000999.rdo": b"x"})
    refused(elsewhere, "arrivals/000999.rdo was added")
    name = pick(files, "arrivals/")
    packed(elsewhere / "bundle.zip", {key: value for key, value in files.items() if key != name})
    refused(elsewhere, f"'{name}' is missing")


def test_a_truncated_bundle_is_no_whole_zip(elsewhere):
    octets = (elsewhere / "bundle.zip").read_bytes()
    (elsewhere / "bundle.zip").write_bytes(octets[: len(octets) // 2])
    refused(elsewhere, "this is no whole zip file")


# -- a stranger's file ---------------------------------------------------------------------------------------------

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
