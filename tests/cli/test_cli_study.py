"""readoff study, why and snapshots: small studies through files, the store and the commands. All data invented."""

import re
from datetime import UTC, datetime, timedelta

import pytest

from readoff.cli import main
from readoff.store import open_store
from readoff.studies import load_study
from support import store_samples as samples
from support import study_records as records
from support.docs import DOCS
from support.study_bench import answer, bring, judged, prepare, run

NAME = "as-found~zero-ws:replay:shown_rate"


@pytest.fixture
def bench(tmp_path, monkeypatch):
    return prepare(tmp_path, monkeypatch)


@pytest.fixture
def taken(bench):
    bring(bench, records.boots(records.TURNS))
    return bench


# -- the commands themselves -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(main.commands["study"].commands))
def test_every_subcommand_has_help_an_example_and_a_place_in_the_docs(name):
    text = run("study", name, "--help").output
    assert re.search(rf"Examples?:\n\s+readoff study {name} ", text), text
    docs = (DOCS / "commands.md").read_text(encoding="utf-8")
    section = re.search(r"^## readoff study\n(.*?)(?=^## )", docs, re.M | re.S)[1]
    row = next(line for line in section.splitlines() if f"readoff study {name} " in line)
    own = [option for p in main.commands["study"].commands[name].params for option in p.opts]
    for option in own:
        if option.startswith("--") and option not in ("--store", "--schemas", "--json", "--help"):
            assert option in row


def test_a_study_that_is_not_there_or_wrong(bench):
    assert (
        "Write one with: readoff study start none.toml" in run("study", "plan", "none.toml", status=2).stderr
    )
    (bench / "bad.toml").write_text("boots = 0\n")
    text = run("study", "judge", "bad.toml", status=5).stderr
    assert "bad.toml, line 1, boots: 0; right would be a whole number from 1 to 500" in text
    assert "study: missing" in text and "no program" in text
    (bench / "bad.toml").write_bytes(b"\xff")
    said = run("study", "plan", "bad.toml", status=2).stderr
    assert "not UTF-8" in said and "Save it as UTF-8." in said


ANSWERS = """\
wait states
desk-486
as-found

5
1

zero-ws
no wait states, in the setup
n
cmos.settings, cmos.sum
10

card:
card
a faster card
y
display.*
cheap
25
15
the green one
1

EUR
replay
C:\\REPLAY.COM

0.5

shown_rate
1

80
playable
printer
disk
memory, disk
y

3
2
y
1
4
"""


def test_start_asks_and_writes_a_study(bench):
    output = run("study", "start", "new.toml", stdin=ANSWERS).output
    assert "That is no label" in output and "That is no price" in output
    study = load_study("new.toml", (bench / "new.toml").read_text(encoding="utf-8"))
    assert study.labels == ("as-found", "zero-ws", "card")
    assert [each.price for each in study.configurations] == [None, 10, 25]
    assert study.configurations[1].may_differ == ("cmos.settings", "cmos.sum")
    assert study.configurations[2].specimen == "the green one"
    assert study.configurations[2].minutes == 15
    assert [each.caches for each in study.configurations] == [1, None, 1]
    assert (study.probes, study.probe_once) == (("memory", "disk"), True)
    assert study.send_programs
    assert "That is no number of levels." in output and "There is no probe 'printer'." in output
    assert "only the memory probe shows" in output and "?:" not in output
    assert (study.boots, study.repeats, study.minutes_a_boot, study.currency) == (3, 2, 4, "EUR")
    assert study.wanted[0].margin == 0.01 and study.targets[0].at == 80
    assert study.begun
    run("study", "plan", "new.toml")
    assert "such a file already" in run("study", "start", "new.toml", stdin=ANSWERS, status=2).stderr


def test_answers_that_make_no_study_are_not_lost(bench):
    wrong = ANSWERS.replace("C:\\REPLAY.COM", "C:/REPLAY.COM")
    said = run("study", "start", "new.toml", stdin=wrong, status=5)
    assert "Written: new.toml" in said.output
    assert "programs[0].path: 'C:/REPLAY.COM'" in said.stderr and "new.toml, line" in said.stderr
    text = (bench / "new.toml").read_text(encoding="utf-8")
    assert load_study("new.toml", text.replace("C:/", "C:\\\\")).labels == ("as-found", "zero-ws", "card")


def test_start_that_is_broken_off_writes_nothing(bench):
    run("study", "start", "new.toml", stdin="wait states\n", status=1)
    assert not (bench / "new.toml").exists()


# -- plan and status -------------------------------------------------------------------------------------------


def test_plan_without_a_store_says_what_it_assumes(bench):
    text = run("study", "plan", "s.toml").output
    assert "3.57 % if it were alone" in text  # 3.51 boot SDs of 1 %, see tests/studies/test_studies_plan.py
    assert "assumed: boots differ by 1 %" in text
    assert "What it could not conclude" in text
    assert not (bench / "readoff.db").exists()
    got = answer("study", "plan", "s.toml")
    assert [each["number"] for each in got["order"]] == [1, 2, 3, 4, 5, 6]


def test_plan_with_runs_takes_their_noise(taken):
    [one] = answer("study", "plan", "s.toml")["detectable"]
    assert one["noise"]["known"] and one["noise"]["sd"] == pytest.approx(0.00134, rel=0.01)
    assert "seen in 6 boots of as-found, zero-ws" in run("study", "plan", "s.toml").output


def test_status_goes_with_the_runs(bench):
    assert answer("study", "status", "s.toml")["next"]["kind"] == "person needed"
    octets = records.boots(records.TURNS)
    bring(bench, octets[:2])  # a snapshot and one run of the first boot
    got = answer("study", "status", "s.toml")
    assert (got["next"]["kind"], got["next"]["repeat"], got["next"]["label"]) == ("run", 2, "as-found")
    assert got["incomplete"] == [{"boot": "11223344-00000001", "label": "as-found", "missing": {"replay": 1}}]
    text = run("study", "status", "s.toml").output
    assert "0 of 6 boots done" in text and "Next: run" in text
    bring(bench, octets[2:])
    got = answer("study", "status", "s.toml")
    assert (got["next"]["kind"], got["open"], got["order_from"]) == (
        "finished",
        [],
        "the machine's own clock",
    )
    assert "6 of 6 boots done" in run("study", "status", "s.toml").output
    run("take", "inbox")
    run("reread")
    assert answer("study", "status", "s.toml") == got  # nothing but the store's runs counts


def test_a_clock_that_begins_anew_at_each_boot_gives_no_order(bench):
    for at, (label, rates) in enumerate(records.TURNS, 1):
        bring(bench, records.a_boot(at, label, rates, minute=9 - at % 2))
    got = answer("study", "status", "s.toml")
    assert got["order_from"] == "the order in which the records came"
    assert [each["boot"][-1] for each in got["boots"]] == list("123456")


def test_the_machines_clock_gives_the_order_of_files_that_came_home_together(bench):
    octets = [
        record for at, turn in enumerate(records.TURNS, 1) for record in reversed(records.a_boot(at, *turn))
    ]
    bring(bench, octets[::-1])
    got = answer("study", "status", "s.toml")
    assert got["order_from"] == "the machine's own clock"
    assert [each["boot"][-1] for each in got["boots"]] == list("123456")


def test_a_clock_that_jumped_is_pointed_at(bench):
    """The second boot's clock stands before the first's, although its records came ten minutes later."""
    minutes = [200, 10, 210, 220, 230, 240]
    begun = datetime(2026, 1, 31, 9, tzinfo=UTC)
    for number, at in enumerate(minutes, 1):
        came = begun + timedelta(minutes=10 * number)
        with open_store(bench / "readoff.db", now=lambda came=came: came) as store:
            for octets in records.a_boot(number, records.TURNS[number - 1][0], ["72.9"], minute=at):
                store.take(octets, "line")
    got = answer("study", "status", "s.toml")
    assert [each["boot"][-1] for each in got["boots"]] == list("213456")
    assert got["order_from"].startswith("the machine's own clock; the records came in another order")


def test_runs_under_a_label_that_the_study_does_not_have_are_told(bench):
    bring(bench, records.a_boot(1, "Zero-WS", ["72.9", "73.0"]))
    assert answer("study", "status", "s.toml")["strangers"] == {"Zero-WS": 2}
    assert "'Zero-WS': 2 runs of its programs" in run("study", "status", "s.toml").output
    joined = records.STUDY + '[[earlier]]\njoins = "zero-ws"\nlabel = "Zero-WS"\n'
    (bench / "s.toml").write_text(joined)
    assert answer("study", "status", "s.toml")["strangers"] == {}


def test_what_the_study_file_names_and_nobody_has_is_told(taken):
    named = '[[excluded]]\nboot = "11223344-000000FF"\nwhy = "x"\n'
    named += '[[earlier]]\njoins = "as-found"\nlabel = "old"\n'
    named += '[[earlier]]\njoins = "zero-ws"\nids = ["11223344-000000AA"]\n'
    (taken / "s.toml").write_text(f"{records.STUDY}\n{named}")
    told = answer("study", "status", "s.toml")["unfound"]
    assert [line.split(",")[0].split(":")[0] for line in told] == [
        "Boot 11223344-000000FF is excluded",
        "Nothing joins as-found from before the study",
        "Nothing joins zero-ws from before the study",
    ]
    for command in ("status", "judge"):
        assert "by label 'old'." in run("study", command, "s.toml").output
    bring(taken, records.a_boot(9, "old", ["72.7", "72.8"]))
    assert len(answer("study", "status", "s.toml")["unfound"]) == 2


def test_cautions_come_with_the_step(bench):
    text = run("study", "status", "s.toml").output
    assert "Caution: Write down how it was before you change it." in text


def test_a_hanging_program_stops_the_plan_until_it_is_noted(bench):
    order = [each["label"] for each in answer("study", "plan", "s.toml")["order"]]
    for nonce in (1, 2):
        bring(bench, [records.snapshot(nonce, order[0], minute=nonce)])
        bring(bench, [records.run(nonce, order[0], 2, b"", minute=nonce, ends=False)])
    step = answer("study", "status", "s.toml")["next"]
    assert step["kind"] == "person needed"
    assert "did not go through in 2 boots" in step["words"] and "hung or lost power" in step["words"]
    run("study", "note", "s.toml", "--label", order[0], "--program", "replay", "hangs in its second scene")
    assert "did not go through" not in answer("study", "status", "s.toml")["next"]["words"]


# -- why, snapshots, disk --------------------------------------------------------------------------------------


def test_why_goes_down_to_the_lines(taken):
    text = run("why", NAME, "--study", "s.toml").output
    assert "Rate: »72.9« frames/s" in text and "boot 11223344-00000001: 72.95 frames/s" in text
    got = answer("why", NAME, "--study", "s.toml")
    boots = got["metrics"]["shown_rate of replay"]["zero-ws"]
    assert [each["boot"][-1] for each in boots] == ["2", "3", "6"]
    reading = boots[0]["readings"][0]
    assert reading["line"] == "Rate: »76.1« frames/s"
    begin, end = reading["octets"]
    assert samples.printed("76.1")[begin:end] == b"76.1"
    assert got["sentence"] == answer("study", "judge", "s.toml")["findings"][0]["sentence"]


def test_why_without_a_study(taken):
    got = answer("why", NAME)
    assert len(got["metrics"]["shown_rate of replay"]["as-found"]) == 3


def test_why_of_one_among_three_judges_as_the_report_of_the_three(bench):
    values = [("as-found", 70.1), ("zero-ws", 71.9), ("another", 70.9)]
    boots = [(label, value + 0.3 * turn) for turn in range(3) for label, value in values]
    inbox = bench / "inbox"
    inbox.mkdir(exist_ok=True)
    for number, (label, value) in enumerate(boots, 1):
        for at, each in enumerate(records.gauge_boot(number, label, [f"{value:.1f}"])):
            (inbox / f"{number:03}{at}.RDO").write_bytes(each)
    run("take", "inbox")
    name = "as-found~zero-ws:gauge:level"
    every = answer("report", "out", "as-found", "zero-ws", "another", "--margin", "1")["findings"]
    reported = every[0]["compared"][0]["sentence"]
    assert "among 2" in reported and "the 1 %" in reported
    assert answer("why", name, "--beside", "another", "--margin", "1")["sentence"] == reported
    html = (bench / "out" / "report.html").read_text("utf-8")
    asked = "--beside zero-ws --beside another --margin 1"
    assert f"readoff why {name} {asked}</code>" in html
    assert answer("why", name, *asked.split())["sentence"] == reported
    alone = answer("why", name, "--margin", "1")["sentence"]
    assert (
        alone
        == answer("compare", "as-found", "zero-ws", "--margin", "1")["compared"][0]["sentence"]
        != reported
    )
    said = run("why", name, "--study", "s.toml", "--beside", "another", status=2).stderr
    assert "a study says itself what is compared" in said


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["x", "--study", "s.toml"], f"It has: {NAME}."),
        (["x"], "BASE~OTHER:PROGRAM:METRIC"),
        (["a~b:replay:shown_rate"], "names no two labels"),
        (["as-found~zero-ws:replay:height"], "no readings in common"),
    ],
)
def test_why_of_what_is_not_there(taken, arguments, said):
    assert said in run("why", *arguments, status=2).stderr


def test_a_boot_of_several_units_has_no_mean(bench):
    octets = records.gauge_boots(["100.1", "99.8"], ["105.3"])
    octets.append(
        records.run(3, "as-found", 3, b"Level: 2.0 seconds\r\n", program="gauge", path="C:\\GAUGE.COM")
    )
    judged(bench, octets, status=1)
    got = answer("why", "as-found~zero-ws:gauge:level", "--study", "g.toml")
    [side] = [sides["as-found"] for sides in got["metrics"].values()]
    values = {boot["boot"][-1]: boot["value"] for boot in side}
    assert values["3"] is None and sum(each is not None for each in values.values()) == 1
    assert "boot 11223344-00000003: has no mean" in run("why", got["finding"], "--study", "g.toml").output


def test_why_of_the_overall_figure(bench):
    study = records.gauge_study(end='[[metrics]]\nmetric = "elapsed"\n')
    octets = records.gauge_boots(["100.1", "99.8", "99.9"], ["105.3", "105.1", "105.2"])
    got, _ = judged(bench, octets, study)
    assert got["overall"][0]["name"] == "as-found~zero-ws:overall"
    assert got["overall"][0]["finding"]["ratio"] == pytest.approx((105.2 / 99.93) ** 0.5, rel=1e-3)
    ground = answer("why", "as-found~zero-ws:overall", "--study", "g.toml")
    assert set(ground["metrics"]) == {"level of gauge", "elapsed of gauge"}


def test_snapshots_expected_and_not(taken):
    got = answer("snapshots", "as-found", "zero-ws", "--study", "s.toml")
    assert [each["fact"] for each in got["expected"]] == ["cmos.settings", "cmos.sum"]
    assert got["unexpected"] == [] and got["snapshots"] == [3, 3]
    got = answer("snapshots", "as-found", "zero-ws", status=1)
    assert [each["fact"] for each in got["unexpected"]] == ["cmos.settings", "cmos.sum"]
    text = run("snapshots", "11223344-00000001-0001", "11223344-00000002-0001", status=1).output
    assert "octet 15h 80 → 81" in text
    assert "differ in nothing" in run("snapshots", "as-found", "11223344-00000001-0001").output
    assert "no snapshot of 'x'" in run("snapshots", "as-found", "x", status=2).stderr


def test_snapshots_that_disagree_with_themselves(taken):
    bring(taken, [records.snapshot(9, "zero-ws", residents=[records.MOUSE])])
    text = run("snapshots", "as-found", "zero-ws", "--study", "s.toml").output
    assert "In what zero-ws disagrees with itself" in text and "residents.MOUSE" in text


def test_disk_holds_what_is_still_to_be_done(bench):
    run("study", "disk", "s.toml", "disk")
    names = sorted(path.name for path in (bench / "disk").iterdir())
    assert names == [*(f"B00{n}.BAT" for n in range(1, 7)), "PLAN.TXT", "READOFF.COM"]
    first = (bench / "disk" / "B001.BAT").read_bytes().decode("cp437")
    assert "A:\\READOFF RUN /L:as-found /P:replay /N:2 /D:A:\\SPOOL C:\\REPLAY.COM\r\n" in first
    bring(bench, records.boots(records.TURNS[:4]))
    got = answer("study", "disk", "s.toml", "disk", "--drive", "b:", "--send-programs")
    assert got["boots"] == 2
    left = sorted(path.name for path in (bench / "disk").glob("*.BAT"))
    assert left == ["B005.BAT", "B006.BAT"]
    assert "B:\\READOFF SEND /D:B:\\SPOOL C:\\REPLAY.COM" in (bench / "disk" / "B005.BAT").read_text()
    bring(bench, records.boots(records.TURNS[4:], first=5))
    assert "Nothing is left to do." in run("study", "disk", "s.toml", "disk").output
    assert "All boots of the plan are done." in (bench / "disk" / "PLAN.TXT").read_text()
    assert "is no drive" in run("study", "disk", "s.toml", "disk", "--drive", "C:\\X", status=2).stderr
