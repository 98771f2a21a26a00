"""The commands about schemas: which one reads what and why, what is unknown, trying and checking them."""

import pytest

from readoff import resources
from readoff.readings import Capture, CaptureKind
from readoff.readings.likeness import likeness
from support import store_samples as samples
from support.commands import answer, run

MILL = """\
schema = "mill"
title = "Sacks ground"
units = ["sacks"]
headline = ["time"]

[recognise]
all = ['^Mill \\S+: \\S+ sacks ground$', '^Time: +\\S+ seconds$']

[metrics.time]
pattern = '^Time: +(?P<number>\\S+) seconds$'
unit = "s"
better = "lower"
once = true

[[samples]]
text = '''
Mill 1.2: 48 sacks ground
Time: 16.50 seconds
'''
readings = { time = "16.50" }
"""
OUTPUT = b"Mill 1.2: 48 sacks ground\r\nTime: 16.50 seconds\r\n"


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "mill.toml").write_text(MILL, encoding="utf-8")
    (tmp_path / "OUT.TXT").write_bytes(OUTPUT)
    return tmp_path


def take(bench, ordinal, console, **start):
    (bench / "R.RDO").write_bytes(samples.run_record(ordinal, console=console, start=start))
    run("take", "R.RDO", status=int(b"Replay" not in console))


# -- which ---------------------------------------------------------------------------------------------------


def test_which_says_for_each_schema_what_matched_and_what_did_not(bench):
    told = run("schema", "which", "OUT.TXT", "--schemas", "mine").output
    assert "OUT.TXT: file OUT.TXT, 48 octets" in told
    assert "recognised by mill" in told
    first, second = told.index("mill: matches"), told.index("replay: does not match")
    assert first < second
    assert r"met      '^Time: +\S+ seconds$' was found at octets 27 to 46" in told
    assert told.count("NOT MET") >= 5  # replay alone has two patterns


def test_which_looks_at_every_condition_after_one_has_failed(bench):
    (bench / "NEAR.TXT").write_bytes(b"Mill 1.2: 48 sacks\r\nTime: 16.50 seconds\r\n")
    got = answer("schema", "which", "NEAR.TXT", "--schemas", "mine", status=1)
    (mill,) = [each for each in got[0]["captures"][0]["schemas"] if each["schema"] == "mill"]
    assert [each["met"] for each in mill["conditions"]] == [False, True]
    assert got[0]["captures"][0]["recognised"] == []


def test_two_that_match_are_a_hold_and_said_so(bench):
    (bench / "mine" / "other.toml").write_text(MILL.replace('"mill"', '"other"'), encoding="utf-8")
    told = run("schema", "which", "OUT.TXT", "--schemas", "mine", status=1).output
    assert "held: 2 schemas recognise it: mill, other" in told
    assert "Nothing is chosen by order" in told


def test_which_of_a_run_in_the_store_knows_its_program(bench):
    take(bench, 2, samples.printed())
    told = run("schema", "which", "run:1").output
    assert "run 1: console, 69 octets" in told
    assert "recognised by replay" in told


def test_which_of_a_record_in_a_file(bench):
    (bench / "R.RDO").write_bytes(samples.run_record())
    assert "R.RDO: console" in run("schema", "which", "R.RDO").output


def test_a_file_may_be_printed_output_or_a_screen(bench):
    narrow = MILL.replace("[recognise]", '[recognise]\ncaptures = ["screen"]')
    narrow = narrow.replace("[[samples]]", '[[samples]]\ncapture = "screen"\ncolumns = 40')
    (bench / "mine" / "mill.toml").write_text(narrow, encoding="utf-8")
    cells = b"".join(line.ljust(40) for line in OUTPUT.splitlines())
    (bench / "SCREEN.BIN").write_bytes(bytes(octet for code in cells for octet in (code, 7)))
    run("schema", "which", "SCREEN.BIN", "--schemas", "mine", status=1)
    run("schema", "which", "SCREEN.BIN", "--as", "screen", "--columns", "40", "--schemas", "mine")


def test_what_is_no_capture_is_said(bench):
    assert "cannot be read" in run("schema", "which", "NOWHERE.TXT", status=2).stderr
    assert "no store" in run("schema", "which", "run:1", status=1).stderr
    take(bench, 2, samples.printed())
    assert "there is no run '9'" in run("schema", "which", "run:9", status=2).stderr
    (bench / "TWO.RDO").write_bytes(samples.run_record(2) + samples.run_record(3))
    assert "holds 2 records" in run("schema", "which", "TWO.RDO", status=2).stderr


# -- unknown -------------------------------------------------------------------------------------------------


def test_what_nothing_recognises_is_listed_by_how_often_its_like_has_been_seen(bench):
    take(bench, 2, b"Sieve: 12.5 s\r\n", program="sieve")
    take(bench, 3, OUTPUT, program="mill")
    take(bench, 4, OUTPUT.replace(b"16.50", b"9.75").replace(b": 9", b":  9"), program="mill")
    take(bench, 5, samples.printed())
    got = answer("schema", "unknown", status=1)
    assert [(each["seen"], each["programs"], each["runs"]) for each in got] == [
        (2, ["mill"], [2, 3]),
        (1, ["sieve"], [1]),
    ]
    told = run("schema", "unknown", status=1).output
    assert "│ Time: 0 seconds" in told
    assert "readoff schema start run:3" in told
    got = answer("schema", "unknown", "--schemas", "mine", status=1)
    assert [each["programs"] for each in got] == [["sieve"]]


def test_nothing_unknown(bench):
    take(bench, 2, samples.printed())
    assert "is recognised" in run("schema", "unknown").output


def test_captures_are_alike_but_for_their_numbers():
    def like(octets, kind=CaptureKind.CONSOLE):
        return likeness(Capture(kind, octets, 80))

    assert like(b"A: 1,234.5 x\r\n\r\n") == like(b"A:   7 x") == like(b"A: 7 x", CaptureKind.FILE) == "A: 0 x"
    assert like(b"A: **** x") != like(b"A: 7 x")
    assert like(b"B: 7 x") != like(b"A: 7 x")
    assert like(b" \r\n\x00\r\n") == ""


# -- try -----------------------------------------------------------------------------------------------------


def test_try_marks_what_is_read_and_names_every_number_that_is_not(bench):
    told = run("schema", "try", "mine/mill.toml", "OUT.TXT").output
    assert "│ Mill ‹1.2›: ‹48› sacks ground" in told
    assert "│ Time: »16.50« seconds" in told
    assert "16.50 s" in told
    assert "48  (file, line 1: Mill 1.2: 48 sacks ground)" in told
    assert "1 reading, 0 held, 2 numbers not read." in told


def test_try_ends_by_what_is_held(bench):
    (bench / "WIDE.TXT").write_bytes(OUTPUT.replace(b"16.50", b"****"))
    told = run("schema", "try", "mine/mill.toml", "OUT.TXT", "WIDE.TXT", status=1).output
    assert "│ Time: ‼****‼ seconds" in told
    assert "did not fit its field" in told
    got = answer("schema", "try", "mill", "WIDE.TXT", "--schemas", "mine", status=1)
    assert [hold["metric"] for hold in got[0]["held"]] == ["time"]
    assert [each["text"] for each in got[0]["not_read"]] == ["1.2", "48"]


def test_try_of_what_is_not_recognised(bench):
    (bench / "ELSE.TXT").write_bytes(b"Kiln: 3 s\r\n")
    told = run("schema", "try", "mine/mill.toml", "ELSE.TXT", status=1).output
    assert r"not recognised: '^Mill \S+: \S+ sacks ground$' was not found" in told
    assert "mill recognises none of it, so nothing is read." in told and "not read." not in told


def test_try_with_a_shipped_schema_by_name_on_a_run(bench):
    take(bench, 2, samples.printed())
    told = run("schema", "try", "replay", "run:1").output
    assert "│ Replay: »2134« frames in »1024« ticks (»35« ticks/s)" in told
    assert "derived from" in told
    assert "no schema of that name" in run("schema", "try", "reply", "run:1", status=2).stderr


def test_a_capture_with_control_codes_does_not_reach_the_terminal(bench):
    (bench / "EVIL.TXT").write_bytes(OUTPUT + b"\x1b[2J\x9b1;1H 7\r\n")
    told = run("schema", "try", "mine/mill.toml", "EVIL.TXT").output
    assert "\x1b" not in told and "\x9b" not in told


# -- check, list ---------------------------------------------------------------------------------------------


def test_check_of_what_is_shipped():
    assert "without a fault" in run("schema", "check").output
    for part in ("readings", "glyphs"):
        if list((resources.protocols() / part).glob("*.toml")):
            run("schema", "check", resources.protocols() / part)


def test_check_tells_all_faults_of_all_schemas_and_samples_at_once(bench):
    (bench / "mine" / "bad.toml").write_text(
        MILL.replace('"mill"', '"bad"').replace('"lower"', '"less"').replace('unit = "s"', 'unit = "sec"'),
        encoding="utf-8",
    )
    (bench / "mine" / "cut.toml").write_bytes(b'schema = "cut"\ntitle = "\xff"\n')
    (bench / "mine" / "off.toml").write_text(
        MILL.replace('"mill"', '"off"').replace('time = "16.50"', 'time = "16.5"'), encoding="utf-8"
    )
    result = run("schema", "check", "mine", status=5)
    assert "4 faults" in result.stderr
    assert "mine/cut.toml, line 2: not UTF-8" in result.stderr
    assert "mine/bad.toml, line 12, metrics.time.better: 'less' is not known" in result.stderr
    assert (
        "mine/bad.toml, line 11, metrics.time.unit: 'sec' is not known; right would be 's', or units = ['sec']"
        in result.stderr
    )
    assert (
        "mine/off.toml, line 15, samples[0].readings.time: read: 16.50; right would be 16.5" in result.stderr
    )
    assert result.stderr.index("bad.toml, line 11") < result.stderr.index("bad.toml, line 12")
    assert len(answer("schema", "check", "mine", status=5)["faults"]) == 4
    told = run("schema", "list", "--schemas", "mine", status=5).stderr
    assert "3 faults" in told and "cut.toml, line 2: not UTF-8" in told and "bad.toml, line 12" in told


def test_a_schema_may_begin_with_a_byte_order_mark(bench):
    (bench / "mine" / "mill.toml").write_text(MILL, encoding="utf-8-sig")
    assert "1 schema without a fault, 1 sample read as told." in run("schema", "check", "mine").output


def test_check_says_which_schema_carries_no_sample(bench):
    (bench / "mine" / "mill.toml").write_text(MILL.partition("[[samples]]")[0], encoding="utf-8")
    assert "carries no sample" in run("schema", "check", "mine").output
    assert "there is no schema" in run("schema", "check", "nowhere", status=2).stderr


def test_list_tells_shipped_ones_from_ones_own(bench):
    got = {each["schema"]: each for each in answer("schema", "list", "--schemas", "mine")}
    assert got["mill"] == {
        "schema": "mill",
        "from": "mine/mill.toml",
        "kind": "text",
        "headline": ["time"],
        "title": "Sacks ground",
    }
    assert got["replay"]["from"] == "shipped"
    told = run("schema", "list", "--schemas", "mine").output
    assert "Timed replay" in told and "Sacks ground" in told


# -- reread --------------------------------------------------------------------------------------------------


def test_reread_says_what_each_edit_did_to_which_readings(bench):
    take(bench, 2, OUTPUT, program="mill")
    take(bench, 3, OUTPUT.replace(b"16.50", b"9.75"), program="mill")
    told = run("reread", "--schemas", "mine").output
    assert "2 readings are new, 0 changed, 0 gone; held: 2 before, 0 now." in told
    assert "mill: 2 new" in told and "not there" in told
    edited = MILL.replace('unit = "s"', 'unit = "ms"\nshown_in = "s"').replace('"16.50"', '"16500.00"')
    (bench / "mine" / "mill.toml").write_text(edited, encoding="utf-8")
    told = run("reread", "--schemas", "mine").output
    assert "mill: 2 changed" in told
    assert [line.split() for line in told.splitlines() if " ms" in line] == [
        ["1", "time", "16.50", "s", "16500.00", "ms"],
        ["2", "time", "9.75", "s", "9750.00", "ms"],
    ]
    (bench / "mine" / "mill.toml").write_text(edited + "\n# a remark\n", encoding="utf-8")
    told = run("reread", "--schemas", "mine").output
    assert "Edited, and reading what it read before: mill." in told
    told = run("reread").output
    assert "Not among the schemas any more: mill. Their folder is named by --schemas" in told
    run("reread", "--schemas", "mine")
    (bench / "mine" / "mill.toml").unlink()
    got = answer("reread", "--schemas", "mine")
    assert [(each["before"], each["after"], each["schema"]) for each in got["edits"]] == [
        ("16500.00 ms", "", "mill"),
        ("9750.00 ms", "", "mill"),
    ]
    assert "no schema recognises" in got["edits"][0]["held"]
