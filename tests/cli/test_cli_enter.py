"""readoff enter: typed twice, held against its neighbours, kept for good, and never mixed with what was captured."""

import pytest

from readoff.cli import main
from readoff.store import find, open_store
from readoff.store.gather import gather
from readoff.store.typed import typed
from support import store_samples as samples
from support.commands import answer, run
from support.walks import dialogue

RATES = {"as-found": ("72.9", "72.8", "73.0"), "zero-ws": ("76.1", "****", "76.0")}


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """Two labels of three boots with two runs each; the second boot of the second label shows its rate as ****."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "inbox").mkdir()
    for side, (label, rates) in enumerate(RATES.items()):
        for boot, rate in enumerate(rates):
            for repeat in (1, 2):
                console = samples.printed(rate).replace(b"Replay", b"Mill")
                start = {"label": label, "repeat": repeat, "program": "mill"}
                octets = samples.run_record(1 + repeat, side * 16 + boot + 1, console=console, start=start)
                (tmp_path / "inbox" / f"R{side}{boot}{repeat}.RDO").write_bytes(octets)
    mine = tmp_path / "mine"
    mine.mkdir()
    schema = samples.SCHEMA.replace('"replay"', '"mill"').replace("Replay", "Mill")
    (mine / "mill.toml").write_text(schema.replace("[0-9.]+) frames/s", "\\S+) frames/s"), encoding="utf-8")
    monkeypatch.setenv("READOFF_SCHEMAS", "mine")
    run("take", "inbox", status=1)
    return tmp_path


def enter(*arguments, answers, status=0):
    return dialogue(main, ["enter", *map(str, arguments)], answers, status)


def holds():
    return [(each["number"], each["run"]) for each in answer("held", status=1)["held"]]


def test_a_number_is_typed_twice_and_kept_with_who_and_when(bench):
    (hold, number), _ = holds()
    told = enter(hold, answers=("76.2", "76.2", "A. Tester"))
    assert "│ Rate: **** frames/s" in told
    assert "Metric" not in told and "Unit" not in told  # the schema knows both
    assert f"Kept: rate 76.2 frames/s of run {number}, typed by a person: A. Tester, " in told
    shown = run("show", number).output
    assert "Typed by a person" in shown and "A. Tester" in shown
    (kept,) = answer("show", number)["typed"]
    assert (kept["value"], kept["better"], kept["headline"], kept["last"]) == ("76.2", "higher", True, True)
    assert "rate" not in [each["metric"] for each in answer("show", number)["readings"]]
    held = run("held", status=1).output
    assert "rate 76.2 frames/s, typed by a person: A. Tester" in held


def test_the_two_must_agree_digit_for_digit(bench):
    hold = holds()[0][0]
    told = enter(hold, "--by", "me", answers=("76.2", "76.20", "76.2", "76.2"))
    assert "The two do not agree: '76.2' and '76.20'" in told
    told = enter(holds()[1][0], "--by", "me", answers=("76.2", "76.3") * 3, status=2)
    assert "nothing was kept" in told
    told = enter(holds()[1][0], "--by", "me", answers=("7O", "<3", "****"), status=2)
    assert "is a bound" in told
    with open_store("readoff.db") as store:
        assert len(typed(store)) == 1


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ("762", "762: ten times its neighbours (76.0 to 76.1), did you mean 76.2 (a lost decimal point)?"),
        ("776.1", "776.1: far from its neighbours (76.0 to 76.1), did you mean 76.1 (a digit too many)"),
        ("67.1", "67.1: far from its neighbours (76.0 to 76.1), did you mean 76.1 (two digits swapped)?"),
    ],
)
def test_a_slip_is_named_and_nothing_kept_unless_it_stands(bench, wrong, sentence):
    hold = holds()[0][0]
    assert sentence in enter(hold, "--by", "me", answers=(wrong, wrong, "n"), status=1)
    with open_store("readoff.db") as store:
        assert typed(store) == []
    assert "Kept" in enter(hold, "--by", "me", answers=(wrong, wrong, "y"))


def test_neighbours_are_of_the_same_label_program_and_arguments(bench):
    octets = samples.run_record(
        9,
        0x99,
        console=samples.printed("****").replace(b"Replay", b"Mill"),
        start={"program": "mill", "arguments": "-x"},
    )
    (bench / "X.RDO").write_bytes(octets)
    run("take", "X.RDO", status=1)
    told = enter(holds()[-1][0], "--by", "me", answers=("762", "762"))
    assert "It has no neighbours yet" in told


def test_what_is_typed_survives_a_rereading_and_gives_way_to_a_reading(bench):
    hold, number = holds()[0]
    enter(hold, "--by", "me", answers=("76.2", "76.2"))
    run("reread")
    with open_store("readoff.db") as store:
        assert [(each.value, each.stands) for each in typed(store)] == [("76.2", True)]
    text = (bench / "mine" / "mill.toml").read_text(encoding="utf-8")
    readable = (
        text.replace("\\S+) frames/s", "2134) frames in")
        .replace("Rate: (", "Mill: (")
        .partition("[[samples]]")[0]
    )
    (bench / "mine" / "mill.toml").write_text(readable, encoding="utf-8")
    run("reread")
    with open_store("readoff.db") as store:
        assert [(each.value, each.held, each.stands) for each in typed(store)] == [("76.2", False, False)]
    assert "no longer held" in run("show", number).output


def test_typed_again_the_last_one_stands_and_both_are_kept(bench):
    hold, number = holds()[0]
    enter(hold, "--by", "me", answers=("76.2", "76.2"))
    enter(hold, "--by", "her", answers=("76.1", "76.1"))
    with open_store("readoff.db") as store:
        assert [(each.value, each.person, each.stands) for each in typed(store)] == [
            ("76.2", "me", False),
            ("76.1", "her", True),
        ]
    assert "typed again since" in run("show", number).output


def test_compare_says_how_many_were_typed_and_counts_them_only_when_asked(bench):
    for hold, _ in holds():
        enter(hold, "--by", "me", answers=("76.2", "76.2"))
    plain = answer("compare", "as-found", "zero-ws")
    (compared,) = [each for each in plain["compared"] if each["metric"] == "rate"]
    assert len(compared["other_readings"]) == 4
    assert plain["warnings"][0].startswith("2 numbers were typed by a person, not captured, and not counted")
    assert any("typed by a person: me" in each["reason"] for each in plain["left_out"])
    counted = answer("compare", "as-found", "zero-ws", "--with-typed")
    (compared,) = [each for each in counted["compared"] if each["metric"] == "rate"]
    assert len(compared["other_readings"]) == 6
    assert [e["line"][:22] for e in compared["other_readings"] if e["value"] == "76.2"] == [
        "typed by a person: me,"
    ] * 2
    assert counted["warnings"][0] == "2 numbers were typed by a person, not captured, and counted."
    assert not [each for each in counted["left_out"] if each["metric"] == "rate"]


def test_output_that_nothing_recognises_may_be_typed_with_its_metric(bench):
    octets = samples.run_record(9, 0x99, console=b"Kiln at 12\x01 sacks\r\n", start={"program": "kiln"})
    (bench / "X.RDO").write_bytes(octets)
    run("take", "X.RDO", status=1)
    told = enter(holds()[-1][0], answers=("pace", "sacks", "higher", "12.5", "12.5", "me"))
    assert "│ Kiln at 12" in told
    assert "Kept: pace 12.5 sacks of run 13" in told


def test_only_a_number_of_a_run_can_be_typed(bench):
    (bench / "JUNK.RDO").write_bytes(b"no record")
    run("take", "JUNK.RDO", status=1)
    junk = answer("held", status=1)["held"][-1]["number"]
    assert "no number of a run" in enter(junk, answers=(), status=2)
    assert "nothing is held under the number 999" in enter(999, answers=(), status=2)


def test_captured_readings_that_look_like_a_slip_are_only_warned_of(bench):
    console = samples.printed("761").replace(b"Replay", b"Mill")
    (bench / "X.RDO").write_bytes(samples.run_record(9, 0x99, console=console, start={"program": "mill"}))
    run("take", "X.RDO")
    shown = run("show", "13").output
    assert "Look at these again (a warning; nothing was changed)" in shown
    assert (
        "rate 761: ten times its neighbours (76.0 to 76.1), did you mean 76.1 (a lost decimal point)?"
        in shown
    )
    assert [each["value"] for each in answer("show", "13")["readings"] if each["metric"] == "rate"] == ["761"]
    assert answer("show", "1")["doubts"] == []


def test_typed_numbers_come_along_when_stores_are_gathered(bench):
    enter(holds()[0][0], "--by", "me", answers=("76.2", "76.2"))
    with open_store("all.db", ()) as store:
        for _ in range(2):
            gather(store, bench / "readoff.db")
        assert [(each.value, each.person) for each in typed(store)] == [("76.2", "me")]
        assert len(find.runs(store)) == 12


def test_what_is_held_is_saved_to_be_looked_at(bench):
    hold = holds()[0][0]
    enter(hold, "--by", "me", "--save", "held.txt", answers=("76.2", "76.2"))
    assert (bench / "held.txt").read_bytes() == samples.printed("****").replace(b"Replay", b"Mill")
    told = enter(hold, "--by", "me", "--save", "held.txt", answers=(), status=2)
    assert "cannot be written (File exists)" in told


def test_a_file_that_is_no_text_is_not_poured_out(bench):
    content = samples.printed("****").replace(b"Replay", b"Mill") + b"\0\1\2"
    (bench / "F.RDO").write_bytes(samples.file_record(9, 0x99, content=content))
    run("take", "F.RDO", status=1)
    told = enter(holds()[-1][0], "--by", "me", answers=("76.2", "76.2"))
    assert "no text; --save FILE" in told and "│" not in told
    assert "file C:\\WAYS.OUT\nheld: " in told
