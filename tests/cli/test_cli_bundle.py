"""The bundle: taken into an empty store it gives the same findings, figure for figure; what was changed is named."""

import json

import pytest

from readoff.reports import bundle as bundles
from readoff.reports import writing
from readoff.store import find, open_store
from readoff.store.attachments import attachments
from readoff.store.notes import notes
from readoff.store.typed import typed
from support import study_records as records
from support.bundles import contents, packed, pick, refused
from support.study_bench import answer, run

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


def test_it_is_moved_where_that_is_wanted_after_it_was_taken(elsewhere):
    run("take", "bundle.zip", "--move-to", "done")
    assert (elsewhere / "done" / "bundle.zip").exists() and not (elsewhere / "bundle.zip").exists()
    (elsewhere / "done" / "bundle.zip").rename(elsewhere / "bundle.zip")
    files = contents(elsewhere / "bundle.zip")
    packed(elsewhere / "bundle.zip", {**files, "study.toml": b"changed"})
    run("take", "bundle.zip", "--move-to", "done", status=None)
    assert (elsewhere / "bundle.zip").exists()


def test_schemas_of_any_name_go_along_each_by_itself():
    names = ["a b.toml", "a-b.toml", "a_b.toml", "Ä.toml", "../x.toml", "y" * 90 + ".toml", "m.glyphs.toml"]
    given = dict(bundles._schema_files({name: name for name in names}))
    assert sorted(given.values()) == sorted(names)
    assert all(bundles._SAFE.fullmatch(f"schemas/{name}") for name in given)


# -- what was changed is named -------------------------------------------------------------------------------------


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


# -- unpacked by another program -----------------------------------------------------------------------------------


def unpacked(elsewhere):
    for name, octets in contents(elsewhere / "bundle.zip").items():
        (elsewhere / "there" / name).parent.mkdir(parents=True, exist_ok=True)
        (elsewhere / "there" / name).write_bytes(octets)
    return elsewhere / "there"


def test_unpacked_in_a_folder_it_gives_the_same(made, elsewhere):
    folder = unpacked(elsewhere)
    got = answer("take", "there")["bundles"][0]
    assert (got["same"], got["findings"], got["unpacked"]) == (True, 1, "there-unpacked")
    with open_store("readoff.db", []) as store:
        assert [each.value for each in typed(store)] == ["77.3"]
    told = run("take", "there", "--move-to", "done", status=1)
    assert "a bundle in a folder stays where it is" in told.output and folder.exists()


def test_a_folder_of_a_bundle_is_believed_in_nothing(elsewhere):
    folder = unpacked(elsewhere)

    def not_taken(said):
        told = run("take", "there", status=None)
        assert told.exit_code != 0 and said in told.stderr, told.stderr
        assert {each.name for each in elsewhere.iterdir()} == {"bundle.zip", "there"}

    (folder / "Thumbs.db").write_bytes(b"x")
    not_taken("'Thumbs.db' is no file of a bundle")
    (folder / "Thumbs.db").unlink()
    name = pick(contents(elsewhere / "bundle.zip"), "arrivals/")
    octets = (folder / name).read_bytes()
    (folder / name).write_bytes(octets + b"x")
    not_taken(f"{name} was changed since the bundle was made")
    (folder / name).unlink()
    not_taken(f"'{name}' is missing")
    (folder / name).symlink_to(elsewhere / "bundle.zip")
    not_taken("is no file of a bundle")


def test_in_a_folder_that_is_taken_a_bundle_is_named_and_left(elsewhere):
    told = run("take", ".").output
    assert "bundle.zip is a bundle, and is taken by its name only: readoff take bundle.zip" in told
