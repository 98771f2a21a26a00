"""readoff schema start: its questions, what it writes, and what it says that it could not do."""

import pytest

from readoff.cli import main
from support import loom
from support.commands import answer, run
from support.walks import dialogue


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine").mkdir()
    (tmp_path / "OUT.TXT").write_bytes(loom.printed(*loom.RUNS[0]))
    return tmp_path


# 2.1 passed over, then metres, seconds, pace; which headlines, name, title; the first line.
ANSWERS = (
    *("", "metres", "metres", "y", "neither", "y", "time", "s", "lower", "pace", "metres/s", "", "higher"),
    *("", "", "pace", ""),
)


def start(*arguments, answers=ANSWERS, status=0):
    return dialogue(main, ["schema", "start", *arguments], answers, status)


def test_start_writes_a_schema_that_reads_its_capture(bench):
    told = start("OUT.TXT", "--out", "mine/loom.toml")
    assert "│ Woven:  »240« metres in »16.50« seconds" in told
    assert "Written: mine/loom.toml" in told
    run("schema", "check", "mine/loom.toml")
    got = answer("schema", "try", "mine/loom.toml", "OUT.TXT")
    assert [(each["metric"], each["value"], each["unit"]) for each in got[0]["readings"]] == [
        ("metres", "240", "metres"),
        ("time", "16.50", "s"),
        ("pace", "14.5", "metres/s"),
    ]
    text = (bench / "mine" / "loom.toml").read_text(encoding="utf-8")
    assert 'headline = ["pace"]' in text and 'units = ["metres", "metres/s"]' in text


def test_start_asks_again_where_an_answer_makes_no_sense(bench):
    told = start(
        "OUT.TXT",
        "--out",
        "mine/loom.toml",
        answers=(
            *(
                "",
                "Metres",
                "metres",
                "metres",
                "y",
                "neither",
                "n",
                "metres",
                "time",
                "s",
                "up",
                "lower",
                ".",
            ),
            *("replay", "loom", "", ""),
        ),
    )
    assert "That is no name; right would be a small letter" in told
    assert "'metres' is taken" in told and "'replay' is taken" in told
    assert "'up' is not one of" in told
    assert "Pace" in told  # among the numbers shown, and passed over


def test_nothing_is_written_where_it_is_broken_off_or_makes_no_schema(bench):
    start("OUT.TXT", "--out", "mine/loom.toml", answers=("", "metres"), status=1)
    told = start("OUT.TXT", "--out", "mine/loom.toml", answers=("", "", "", ""), status=2)
    assert "nothing to compare" in told
    assert list((bench / "mine").iterdir()) == []
    (bench / "BARE.TXT").write_bytes(b"No numbers at all\r\n")
    assert "no number is to be seen" in start("BARE.TXT", answers=(), status=2)


def test_start_never_writes_over_a_file(bench):
    (bench / "mine" / "loom.toml").write_text("mine", encoding="utf-8")
    assert "such a file already" in start("OUT.TXT", "--out", "mine/loom.toml", answers=(), status=2)
    assert (bench / "mine" / "loom.toml").read_text(encoding="utf-8") == "mine"


def test_start_asks_nothing_where_it_cannot_write(bench):
    told = start("OUT.TXT", "--out", "OUT.TXT/loom.toml", answers=(), status=2)
    assert told.startswith("readoff: OUT.TXT: the schema cannot be written there. Name another")


def test_start_says_what_it_could_not_do(bench):
    (bench / "CLOCK.TXT").write_bytes(b"Woven: 1,234,5 metres\r\nDone in 9.5 s\r\n")
    told = start(
        "CLOCK.TXT",
        "--out",
        "mine/loom.toml",
        answers=("woven", "points", "higher", "thousands", "time", "s", "lower", "time", "", ""),
        status=1,
    )
    assert "Not done: woven: '1,234,5' is not read" in told
    run("schema", "check", "mine/loom.toml")


def test_start_keeps_tabs_as_text_and_suggests_what_a_comma_can_only_mean(bench):
    (bench / "SAW.TXT").write_bytes(b"Saw trial\r\nBoards\tsawn:\t1.234,5\tpoints\r\n")
    told = start("SAW.TXT", "--out", "mine/saw.toml", answers=("boards", "points", "higher", "", "", "", ""))
    assert "What does the comma in 1.234,5 mean? (thousands, decimal) [decimal]" in told
    assert "\nBoards\tsawn:\t1.234,5\tpoints\n" in (bench / "mine" / "saw.toml").read_text(encoding="utf-8")
    run("schema", "check", "mine/saw.toml")


def test_start_asks_whether_a_blank_parts_two_numbers(bench):
    (bench / "SAW.TXT").write_bytes(b"Saw trial\r\nCut 1 234 ms\r\nBoards: 1 234 points\r\n")
    answers = ("", "cut", "ms", "lower", "y", "boards", "points", "higher", "n", ".", "", "", "cut", "")
    told = start("SAW.TXT", "--out", "mine/saw.toml", answers=answers, status=1)
    assert "Is 234 in 1 234 a number of its own?" in told and "Is 1 in 1 234 a number of its own?" in told
    assert 'taught by hand: blank = "thousands"' in told
    assert "boards: '1' is not read: '1' of '1 234': thousands or two numbers?" in " ".join(told.split())
    written = (bench / "mine" / "saw.toml").read_text(encoding="utf-8")
    assert written.count('blank = "apart"') == 1 and 'readings = { cut = "234" }' in written


def test_start_shows_alike_lines_once_and_asks_once_for_each_pattern(bench):
    lines = "".join(f"Pass {number} took {number}.5 ms\r\n" for number in range(1, 501))
    (bench / "LONG.TXT").write_text("1 2\r\n" + lines, "ascii", newline="")
    told = start("LONG.TXT", "--out", "mine/long.toml", answers=("", "time", "ms", "lower", "", ""))
    assert "1002 numbers in it" in told and "Pass »3« took »3.5« ms" in told and "Pass »4«" not in told
    assert "and 497 more lines that differ from one of these only in numbers" in told
    assert "A line without a word is not asked about" in told
    assert told.count("Metric:") == 2


def test_start_says_which_other_schema_reads_the_capture_as_well(bench):
    start("OUT.TXT", "--out", "mine/loom.toml")
    answers = list(ANSWERS)
    answers[-4:] = ["", "weaver", "", ""]
    told = start("OUT.TXT", "--out", "mine/weaver.toml", "--schemas", "mine", answers=answers, status=1)
    assert told.startswith("Recognised by loom already; a second schema that matches holds it.\n")
    assert "Recognised by loom as well" in told
    assert "held: 2 schemas" in run("schema", "which", "OUT.TXT", "--schemas", "mine", status=1).output


def test_start_from_a_run_takes_the_first_capture_with_a_number(bench):
    loom.floppy(bench / "floppy")
    run("take", "floppy", status=1)
    told = start("run:1", "--schemas", "mine")
    assert "Written: mine/loom.toml" in told
    assert "it has 1 capture" in start("run:1", "--capture", "2", answers=(), status=2)
    told = run("reread", "--schemas", "mine").output
    assert "24.6 metres/s" in told
