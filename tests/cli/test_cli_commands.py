"""The commands: each answers, in words and in JSON, with an exit status that says how it went."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import readoff
from readoff.cli import main
from support import store_samples as samples
from support.published import outside

HOST = Path(readoff.__file__).resolve().parents[1]
DOCS = HOST.parent / "docs" / "commands.md"
COMMANDS = sorted(main.commands)


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A folder to work in, with two labels of three boots and two repeats each, and its snapshots."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("READOFF_STORE", raising=False)
    monkeypatch.delenv("READOFF_SCHEMAS", raising=False)
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    rates = {"as-found": ("72.9", "72.8", "73.0"), "zero-ws": ("76.1", "76.3", "76.0")}
    for side, (label, boots) in enumerate(rates.items()):
        for boot, rate in enumerate(boots):
            nonce = side * 16 + boot + 1
            snapshot = samples.snapshot_record(
                1, nonce, label=label, memory={"extended_88_kb": 3072 * (1 + side)}
            )
            (inbox / f"S{nonce}.RDO").write_bytes(snapshot)
            for repeat in (1, 2):
                octets = samples.run_record(
                    1 + repeat, nonce, console=samples.printed(rate), start={"label": label, "repeat": repeat}
                )
                (inbox / f"R{nonce}{repeat}.RDO").write_bytes(octets)
    (inbox / "SERIAL.RDO").write_bytes(b"\x44\x33\x22\x11")
    (inbox / "AUTOEXEC.BAT").write_bytes(b"@ECHO OFF\r\n")
    return tmp_path


def run(*arguments, status=0):
    result = CliRunner().invoke(main, [str(each) for each in arguments], prog_name="readoff")
    assert result.exit_code == status, (result.output, result.exception)
    if status not in (0, 1):
        assert "Traceback" not in result.output
    return result


def answer(*arguments, status=0):
    return json.loads(run(*arguments, "--json", status=status).stdout)


@pytest.fixture
def taken(bench):
    run("take", "inbox")
    return bench


# -- every command -------------------------------------------------------------------------------------------


def test_the_commands_of_the_job_are_there():
    assert {"watch", "take", "runs", "show", "held", "compare", "reread", "agent"} <= set(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_an_example_and_a_place_in_the_docs(name):
    command = main.commands[name]
    text = run(name, "--help").output
    assert command.help and len(command.help.split("\n")[0]) > 10
    assert re.search(rf"Examples?:\n\s+readoff {name}\b", text), text
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help or parameter.is_eager, f"{name}: {parameter.name} has no help"
    docs = DOCS.read_text(encoding="utf-8")
    section = re.search(rf"^## readoff {name}\n(.*?)(?=^## |\Z)", docs, re.M | re.S)
    assert section, f"docs/commands.md has no section on {name}"
    for parameter in command.params:
        for option in parameter.opts if isinstance(parameter, click.Option) else ():
            shared = option in ("--store", "--schemas", "--json", "--help")
            assert option in (docs if shared else section[1]), (
                f"docs/commands.md does not tell {name} {option}"
            )


def test_docs_name_no_command_that_is_not_there():
    docs = DOCS.read_text(encoding="utf-8")
    assert set(re.findall(r"^## readoff (\w+)$", docs, re.M)) - {"demo"} <= set(COMMANDS)


def test_help_imports_nothing_heavy():
    code = (
        "import sys\nsys.argv = ['readoff', '--help']\nfrom readoff.cli import main\n"
        "try: main()\nexcept SystemExit: pass\n"
        "heavy = {'pandas', 'scipy', 'numpy', 'sqlite_utils', 'rich', 'construct', 're2', 'unicorn', 'serial',"
        " 'watchdog', 'matplotlib', 'starlette', 'uvicorn', 'jinja2'}\n"
        "print('heavy:', sorted(heavy & set(sys.modules)), len(sys.modules))\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(HOST)}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True, timeout=60
    )
    last = done.stdout.splitlines()[-1]
    assert last.startswith("heavy: [] ")
    assert int(last.split()[-1]) < 400


def test_version():
    assert run("--version").output == f"readoff {readoff.__version__}\n"


@pytest.mark.parametrize("command", [("runs",), ("show", "1"), ("held",), ("compare", "a", "b")])
def test_the_first_start_says_how_to_begin(bench, command):
    result = run(*command, status=1)
    assert result.stdout == ""
    for way in ("readoff demo", "readoff take", "readoff watch"):
        assert way in result.stderr
    assert not (bench / "readoff.db").exists()


def test_a_file_that_is_no_store(bench):
    (bench / "readoff.db").write_text("notes")
    result = run("runs", status=3)
    assert result.stderr.startswith("readoff: readoff.db: this is not a store of Readoff.")
    assert (bench / "readoff.db").read_text() == "notes"


def test_the_store_by_option_and_environment(bench, monkeypatch):
    run("take", "inbox", "--store", "one.db")
    monkeypatch.setenv("READOFF_STORE", "two.db")
    run("take", "inbox")
    assert {each.name for each in bench.iterdir()} == {"inbox", "one.db", "two.db"}


# -- take ----------------------------------------------------------------------------------------------------


def test_take_a_folder(bench):
    result = run("take", "inbox")
    assert result.output == "18 files taken: 18 records new, 1 file without a record ignored.\n"
    assert "18 known already" in run("take", "inbox").output


def test_take_in_json(bench):
    got = answer("take", "inbox/R11.RDO", "inbox/AUTOEXEC.BAT", status=1)
    assert [each["new"] for each in got["taken"]] == [["11223344-00000001-0002"], []]
    assert "no record" in got["taken"][1]["held"][0]["reason"]


def test_take_what_is_not_there(bench):
    assert "there is no such file or folder" in run("take", "nowhere", status=2).stderr


def test_take_what_cannot_be_read(bench, monkeypatch):
    """By a fault put in: the tests may run as root, who reads everything."""
    right = Path.open

    def bad_sector(self, *how, **more):
        if self.name == "R11.RDO":
            raise OSError(5, "Input/output error")
        return right(self, *how, **more)

    monkeypatch.setattr(Path, "open", bad_sector)
    output = run("take", "inbox", status=1).output
    assert "R11.RDO: cannot be read (Input/output error)" in output
    assert "17 records new" in output


# -- watch ---------------------------------------------------------------------------------------------------


def test_watch_a_folder_until_idle(bench):
    result = run("watch", "--folder", "inbox", "--until-idle", "0.3")
    assert "zero-ws · replay 1/2, complete, " in result.output
    assert "+ inbox/S1.RDO: snapshot 11223344-00000001-0001 of as-found\n" in result.output
    assert "Done: 18 new." in result.output
    again = run("watch", "--folder", "inbox", "--until-idle", "0.3").output
    assert again.count("known already") == 18 and "Done: 0 new." in again
    lines = run("watch", "--folder", "inbox", "--until-idle", "0.3", "--json").output.splitlines()
    assert all(json.loads(line) for line in lines)


def test_watch_nothing(bench):
    assert "nothing to watch" in run("watch", status=2).stderr
    assert "no such folder" in run("watch", "--folder", "nowhere", status=2).stderr
    assert run("watch", "--port", "COM1,7", status=4).stderr
    assert "no line is written nonsense://" in run("watch", "--port", "nonsense://x", status=4).stderr


# -- runs, show, held ----------------------------------------------------------------------------------------


def test_runs_and_its_filters(taken):
    got = answer("runs")
    assert len(got["runs"]) == 12
    assert got["snapshots"] == []
    assert len(answer("runs", "--snapshots")["snapshots"]) == 6
    assert {each["label"] for each in answer("runs", "--label", "zero-ws")["runs"]} == {"zero-ws"}
    assert len(answer("runs", "--program", "REPLAY", "--state", "complete")["runs"]) == 12
    assert answer("runs", "--state", "cut short")["runs"] == []
    text = run("runs").output
    assert max(map(len, text.splitlines())) <= 100
    assert text.count("zero-ws") == 6


def test_where_no_run_is_it_is_said_what_is_there_instead(bench):
    (bench / "S.RDO").write_bytes(samples.snapshot_record(1, 1, label="as-found"))
    run("take", "S.RDO")
    text = run("runs").output
    assert text.startswith("No run has come yet, but 1 snapshot:\n")
    assert "as-found" in text and "fits" not in text
    assert run("runs", "--label", "as-found").output.startswith(
        "No run has come yet, but 1 snapshot of as-found:"
    )
    told = run("runs", "--state", "complete").output
    assert told == "No run has come yet, but 1 snapshot: readoff runs --snapshots\n"
    (bench / "R.RDO").write_bytes(samples.run_record(2, 2, start={"label": "zero-ws"}))
    run("take", "R.RDO")
    assert run("runs", "--label", "as-found").output.startswith(
        "None of the 1 run fits, but 1 snapshot does:\n"
    )
    assert run("runs", "--program", "nothing").output.startswith("None of the 1 run fits.\n")


def test_show_a_run(taken):
    number = answer("runs", "--label", "as-found")["runs"][0]["number"]
    text = run("show", number).output
    assert "Rate: »72.9« frames/s" in text
    assert "│ Replay: 2134 frames in 1024 ticks (35 ticks/s)" in text
    assert "memory.conventional_kb: 640 KB" in text
    assert "COMMAND 216" in text
    got = answer("show", number)
    assert bytes.fromhex(got["captures"][0]["octets"]) == samples.printed()
    assert got["snapshot"]["label"] == "as-found"
    assert "startup.AUTOEXEC.BAT" in run("show", number, "--facts").output


def test_show_by_record_id(taken):
    ident = answer("runs")["runs"][0]["id"]
    assert f"record {ident}" in run("show", ident.lower()).output
    assert "Snapshot" in run("show", ident[:-4] + "0001").output
    assert "more than one run" in run("show", ident[:-1], status=2).stderr
    assert "there is no run '99'" in run("show", "99", status=2).stderr


def test_held(taken):
    assert run("held").output == "Nothing is held.\n"
    (taken / "NOISE.BIN").write_bytes(b"modem words")
    run("take", "NOISE.BIN", status=1)
    text = run("held", status=1).output
    assert "11 octets that are no record" in text
    assert "from NOISE.BIN" in text
    assert answer("held", status=1)["held"][0]["length"] == 11


def test_a_capture_cannot_reach_the_terminal(bench):
    octets = samples.run_record(console=b"\x1b[2J\x1b]0;mine\x07\r\n" + samples.printed())
    (bench / "R.RDO").write_bytes(octets)
    run("take", "R.RDO")
    for command in (("show", "1"), ("runs",), ("held",)):
        result = CliRunner().invoke(main, list(command))
        assert "\x1b" not in result.output
        assert "\x07" not in result.output


def test_a_terminal_without_our_letters_is_no_obstacle(taken):
    environment = {**os.environ, "PYTHONPATH": str(HOST), "PYTHONIOENCODING": "iso8859-1"}  # has », lacks │
    code = "from readoff.cli import main; main(['show', '1'])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, env=environment, check=True, timeout=60
    )
    assert "? Rate: 72.9 frames/s" in done.stdout.decode("iso8859-1")
    assert "Rate: »72.9« frames/s" in done.stdout.decode("iso8859-1")


# -- compare -------------------------------------------------------------------------------------------------


def test_compare(taken):
    text = run("compare", "as-found", "zero-ws", "--metric", "shown_rate").output
    assert "zero-ws is faster than as-found" in text
    assert "memory.extended_88_kb: 3072 KB → 6144 KB" in text
    got = answer("compare", "as-found", "zero-ws", "--metric", "shown_rate")
    (rate,) = got["compared"]
    assert rate["finding"]["verdict"] == "faster"
    # Geometric means of the boots: (76.1 * 76.3 * 76.0 / 72.9 / 72.8 / 73.0) ^ (1/3)
    assert rate["finding"]["ratio"] == pytest.approx((76.1 * 76.3 * 76.0 / 72.9 / 72.8 / 73.0) ** (1 / 3))
    assert (rate["finding"]["base_boots"], rate["finding"]["other_boots"]) == (3, 3)
    assert len(rate["base_readings"]) == 6
    assert got["warnings"] == []


def test_compare_judges_the_headlines_unless_asked_for_more(taken):
    got = answer("compare", "as-found", "zero-ws")
    assert [each["metric"] for each in got["compared"]] == ["frames_per_second"]
    assert got["unasked"] == ["elapsed", "shown_rate"]
    every = answer("compare", "as-found", "zero-ws", "--every-metric")
    assert sorted(each["metric"] for each in every["compared"]) == [
        "elapsed",
        "frames_per_second",
        "shown_rate",
    ]
    assert every["unasked"] == []
    assert "--every-metric" in run("compare", "as-found", "zero-ws").output


def test_the_agents_own_time_is_judged_where_no_schema_read_anything(bench):
    for nonce, label in ((1, "a"), (2, "a"), (17, "b"), (18, "b")):
        octets = samples.run_record(2, nonce, start={"label": label}, console=b"nothing known\r\n")
        (bench / f"{nonce}.RDO").write_bytes(octets)
        run("take", f"{nonce}.RDO", status=1)
    assert [each["metric"] for each in answer("compare", "a", "b")["compared"]] == ["elapsed"]


def test_compare_refuses_one_boot_a_side(bench):
    for nonce in (1, 17):
        for repeat in (1, 2):
            run("take", f"inbox/R{nonce}{repeat}.RDO")
    result = run("compare", "as-found", "zero-ws", status=1)
    assert "one boot of 'as-found' shows nothing" in " ".join(result.output.split())
    assert "has no snapshot" in result.output


def test_compare_says_what_is_left_out(taken):
    whole = samples.run_record(9, 1, start={"label": "zero-ws"})
    (taken / "CUT.RDO").write_bytes(whole[:-60])
    ended = samples.run_record(8, 1, start={"label": "as-found"}, end={"outcome": "ctrl_c"})
    (taken / "CTRLC.RDO").write_bytes(ended)
    odd = samples.run_record(7, 1, start={"label": "as-found"}, end={"flags": {"clock_ambiguous": True}})
    (taken / "CLOCK.RDO").write_bytes(odd)
    held = samples.run_record(6, 1, start={"label": "as-found"}, console=samples.printed("7.2.9"))
    (taken / "HELD.RDO").write_bytes(held)
    run("take", "CUT.RDO", "CTRLC.RDO", "CLOCK.RDO", "HELD.RDO", status=1)
    told = {
        (each["metric"], each["reason"].split(":")[0])
        for each in answer("compare", "as-found", "zero-ws", "--every-metric")["left_out"]
    }
    assert ("elapsed", "the agent's clock was ambiguous") in told
    assert ("", "the program did not end by itself (ctrl c)") in told
    assert any(metric == "" and reason.startswith("its record is cut short") for metric, reason in told)
    assert any(metric == "shown_rate" and reason == "held" for metric, reason in told)


def test_compare_warns_when_nothing_differs_and_when_a_label_disagrees_with_itself(bench):
    for nonce in (1, 17):
        (bench / "inbox" / f"S{nonce}.RDO").unlink()
    for boot in (2, 3, 18, 19):
        label = "as-found" if boot < 16 else "zero-ws"
        (bench / "inbox" / f"S{boot}.RDO").write_bytes(samples.snapshot_record(1, boot, label=label))
    run("take", "inbox")
    assert (
        "differ in nothing that the agent can see" in answer("compare", "as-found", "zero-ws")["warnings"][0]
    )
    other = samples.snapshot_record(1, 1, label="as-found", cpu={"fpu": "absent"})
    (bench / "S.RDO").write_bytes(other)
    run("take", "S.RDO")
    warnings = answer("compare", "as-found", "zero-ws")["warnings"]
    assert "do not agree with one another" in warnings[0]
    assert "cpu.fpu" in warnings[0]


def test_other_arguments_are_other_work(bench):
    for nonce, label, arguments in ((1, "a", "10"), (2, "a", "10"), (17, "b", "20"), (18, "b", "20")):
        octets = samples.run_record(2, nonce, start={"label": label, "arguments": arguments})
        (bench / f"{nonce}.RDO").write_bytes(octets)
        run("take", f"{nonce}.RDO")
    result = run("compare", "a", "b", status=2)
    assert "only a has frames_per_second (frames/s) of replay 10" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "match"),
    [
        (("as-found", "nothing"), "no run carries the label 'nothing'"),
        (("as-found", "as-found"), "the same label"),
        (("as-found", "zero-ws", "--metric", "speed"), "no readings in common"),
        (("as-found", "zero-ws", "--margin", "0"), "--margin"),
    ],
)
def test_compare_what_cannot_be(taken, arguments, match):
    assert match in run("compare", *arguments, status=2).stderr


def test_the_report_opens_without_asking_anybody(taken):
    run("compare", "as-found", "zero-ws", "--metric", "shown_rate", "--report", "out")
    page = (taken / "out" / "report.html").read_text(encoding="utf-8")
    assert "zero-ws is faster than as-found" in page
    assert "Rate: 72.9 frames/s" in page
    assert outside(page) == [] and "http" not in page.replace("http-equiv", "")
    text = (taken / "out" / "report.md").read_text(encoding="utf-8")
    assert "Rate: 72.9 frames/s" in text


def test_the_report_shows_markup_as_text(bench):
    label = "<script>alert(1)</script>"
    for nonce, name in ((1, label), (2, label), (17, "b"), (18, "b")):
        octets = samples.run_record(2, nonce, start={"label": name, "arguments": "<b>&"})
        (bench / f"{nonce}.RDO").write_bytes(octets)
        run("take", f"{nonce}.RDO")
    run("compare", label, "b", "--report", "out")
    page = (bench / "out" / "report.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "<b>&" not in page


# -- reread, agent -------------------------------------------------------------------------------------------

SCREEN_SCHEMA = (
    samples.SCHEMA.replace('schema = "replay"', 'schema = "mine"')
    .replace("Replay", "Replaying")
    .replace("Rate", "Rating")
)


def test_reread_after_a_schema_was_taught(bench):
    console = b"Replaying: 2134 frames in 1024 ticks (35 ticks/s)\r\nRating: 72.9 frames/s\r\n"
    (bench / "R.RDO").write_bytes(samples.run_record(console=console))
    assert "no schema recognises" in run("take", "R.RDO", status=1).output
    (bench / "mine").mkdir()
    (bench / "mine" / "mine.toml").write_text(SCREEN_SCHEMA, encoding="utf-8")
    got = answer("reread", "--schemas", "mine")
    assert [(each[1], each[3]) for each in got["new"]] == [
        ("frames", "2134 frames"),
        ("rate", "72.9 frames/s"),
    ]
    assert "0 readings are new, 0 changed, 0 gone" in run("reread", "--schemas", "mine").output


def test_a_faulty_schema_is_told_before_anything_is_taken(bench):
    (bench / "mine").mkdir()
    (bench / "mine" / "mine.toml").write_text("schema = 1", encoding="utf-8")
    run("take", "inbox", "--schemas", "mine", status=5)
    assert not (bench / "readoff.db").exists()
    run("take", "inbox", "--schemas", "nowhere", status=5)


def test_a_faulty_schema_does_not_hide_what_there_is(taken):
    (taken / "mine").mkdir()
    (taken / "mine" / "mine.toml").write_text("schema = 1", encoding="utf-8")
    assert len(answer("runs", "--schemas", "mine")["runs"]) == 12


def test_agent(bench, monkeypatch):
    source = bench / "AGENT"
    source.write_bytes(b"\xcd\x20")
    monkeypatch.setattr("readoff.resources.agent", lambda: source)
    assert "READOFF.COM: 2 octets" in run("agent", "inbox").output
    assert (bench / "inbox" / "READOFF.COM").read_bytes() == b"\xcd\x20"
    assert "no such folder" in run("agent", "nowhere", status=2).stderr
