"""readoff study, why and snapshots: small studies through files, the store and the commands. All data invented."""

import json
import re

import pytest
from click.testing import CliRunner

from readoff.cli import main
from readoff.studies import load_study
from support import store_samples as samples
from support import study_records as records
from support.docs import DOCS

NAME = "as-found~zero-ws:replay:shown_rate"
GAUGE = "as-found~zero-ws:gauge:level"


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A folder with a study of REPLAY and its six boots in an inbox, and schemas that read the gauge."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("READOFF_STORE", raising=False)
    monkeypatch.setenv("COLUMNS", "4000")  # no sentence is broken at a hyphen
    (tmp_path / "own").mkdir()
    for name, text in records.GAUGE_SCHEMAS.items():
        (tmp_path / "own" / name).write_text(text)
    monkeypatch.setenv("READOFF_SCHEMAS", str(tmp_path / "own"))
    (tmp_path / "s.toml").write_text(records.STUDY)
    return tmp_path


def run(*arguments, status=0, stdin=None):
    result = CliRunner().invoke(main, [str(each) for each in arguments], input=stdin, prog_name="readoff")
    if not isinstance(result.exception, SystemExit | None):
        raise result.exception
    assert result.exit_code == status, result.output
    assert not re.search(r"\bnan\b|\binf\b|Traceback", result.output), result.output
    return result


def refuse_constant(name):
    raise AssertionError(f"{name} in JSON")


def answer(*arguments, status=0):
    return json.loads(run(*arguments, "--json", status=status).stdout, parse_constant=refuse_constant)


def bring(folder, octets):
    inbox = folder / "inbox"
    inbox.mkdir(exist_ok=True)
    start = len(list(inbox.iterdir()))
    for at, each in enumerate(octets, start):
        (inbox / f"{at:05}.RDO").write_bytes(each)
    run("take", "inbox")


@pytest.fixture
def taken(bench):
    bring(bench, records.boots(records.TURNS))
    return bench


def judged(bench, octets, study=None, status=0):
    """(finding in JSON, what is printed) of a study of the gauge."""
    (bench / "g.toml").write_text(study or records.gauge_study())
    bring(bench, octets)
    text = " ".join(run("study", "judge", "g.toml", status=status).output.split())
    return answer("study", "judge", "g.toml", status=status), text


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
    assert "not UTF-8" in run("study", "plan", "bad.toml", status=2).stderr


ANSWERS = """\
wait states
desk-486
as-found


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
the green one

EUR
replay
C:\\REPLAY.COM

0.5

shown_rate
1

80
playable
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
    assert (study.boots, study.repeats, study.minutes_a_boot, study.currency) == (3, 2, 4, "EUR")
    assert study.wanted[0].margin == 0.01 and study.targets[0].at == 80
    assert study.begun
    run("study", "plan", "new.toml")
    assert "such a file already" in run("study", "start", "new.toml", stdin=ANSWERS, status=2).stderr


def test_start_that_is_broken_off_writes_nothing(bench):
    run("study", "start", "new.toml", stdin="wait states\n", status=1)
    assert not (bench / "new.toml").exists()


# -- plan and status -------------------------------------------------------------------------------------------


def test_plan_without_a_store_says_what_it_assumes(bench):
    text = run("study", "plan", "s.toml").output
    assert "3.12 % if it were alone" in text  # 3.07 boot SDs of 1 %, see tests/studies/test_studies_plan.py
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


# -- judge -----------------------------------------------------------------------------------------------------


def test_judge_a_clear_change(taken):
    got = answer("study", "judge", "s.toml")
    [one] = got["findings"]
    assert (one["name"], one["finding"]["verdict"], one["blocked"]) == (NAME, "faster", [])
    assert one["finding"]["ratio"] == pytest.approx(76.15 / 72.95, rel=1e-4)
    assert got["guard"] == [] and got["order"] == [] and got["left_out"] == []
    text = run("study", "judge", "s.toml").output
    assert "zero-ws costs 2.28 for each per cent gained" in " ".join(text.split())
    assert "What it is worth (in EUR)" in text
    assert "No drift over the 6 boots" in " ".join(text.split())


def test_a_tampered_configuration_is_named_and_its_finding_withheld_until_explained(bench):
    octets = records.boots(records.TURNS[:5]) + records.a_boot(
        6, "zero-ws", ["76.0", "76.1"], residents=[records.MOUSE]
    )
    bring(bench, octets)
    got = answer("study", "judge", "s.toml", status=1)
    [one] = got["findings"]
    assert one["finding"] is None
    assert [each["about"] for each in one["blocked"]] == ["zero-ws:residents.MOUSE"]
    text = run("study", "judge", "s.toml", status=1).output
    assert "withheld, for the guard stands against it (zero-ws:residents.MOUSE)" in " ".join(text.split())
    assert "faster" not in text
    assert "The resident program MOUSE was in memory in 1 of 3 snapshots of zero-ws only" in " ".join(
        text.split()
    )
    assert "zero-ws:residents.MOUSE" in run("study", "status", "s.toml").output
    why = '\n[[explanations]]\nabout = "zero-ws:residents.MOUSE"\nwhy = "loaded by mistake, and idle"\n'
    (bench / "s.toml").write_text(records.STUDY + why)
    text = run("study", "judge", "s.toml").output
    assert "faster" in text and "Explained: loaded by mistake, and idle" in " ".join(text.split())


def test_warm_boots_block(bench):
    octets = records.boots(records.TURNS[:5]) + records.a_boot(6, "zero-ws", ["76.0", "76.1"], warm=True)
    bring(bench, octets)
    [notice] = answer("study", "judge", "s.toml", status=1)["guard"]
    assert notice["about"] == "zero-ws:warm" and "11223344-00000006" in notice["sentence"]


def test_all_of_one_before_all_of_the_other_is_said(bench):
    order = sorted(records.TURNS, key=lambda turn: turn[0])
    bring(bench, records.boots(order))
    got = answer("study", "judge", "s.toml")
    assert any("(A-B-A)" in remark for remark in got["findings"][0]["remarks"])
    assert any("(A-B-A)" in line for line in got["order"])


def test_failures_are_results(bench):
    bring(bench, records.boots([turn for turn in records.TURNS if turn[0] == "as-found"]))
    said = run("study", "note", "s.toml", "--label", "zero-ws", "does not start at the fastest setting")
    assert said.output == "Noted as 1: zero-ws: does not start at the fastest setting\n"
    got = answer("study", "judge", "s.toml", status=1)
    assert got["findings"][0]["sentence"] == (
        "A failure is the result here: zero-ws: does not start at the fastest setting."
    )
    assert answer("study", "status", "s.toml")["next"]["kind"] == "finished"
    assert "failed, as noted" in run("study", "status", "s.toml").output
    run("study", "note", "s.toml", "--take-back", "1", "the card sat loose")
    assert answer("study", "status", "s.toml")["next"]["kind"] == "person needed"
    run("study", "note", "s.toml", "--label", "as-found", "--remark", "hums")
    assert "as-found: hums" in run("study", "judge", "s.toml", status=1).output


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--label", "nobody", "x"], "no configuration 'nobody'"),
        (["x"], "no configuration ''"),
        (["--label", "zero-ws", "--program", "x", "x"], "no program 'x'"),
        (["--label", "zero-ws", " "], "the note is empty"),
        (["--take-back", "7", "x"], "no note 7"),
    ],
)
def test_notes_that_make_no_sense(bench, arguments, said):
    assert said in run("study", "note", "s.toml", *arguments, status=2).stderr


def test_an_excluded_boot_is_left_out_and_both_results_are_shown(taken):
    bring(taken, records.a_boot(7, "zero-ws", ["60.0", "60.1"], minute=70))
    excluded = '\n[[excluded]]\nboot = "11223344-00000007"\nwhy = "the turbo key was off"\n'
    (taken / "s.toml").write_text(records.STUDY + excluded)
    got = answer("study", "judge", "s.toml")
    [one] = got["findings"]
    assert one["finding"]["other_boots"] == 3
    [remark] = one["remarks"]
    assert remark.startswith("With the excluded boots it would be undecided")
    assert "11223344-00000007: the turbo key was off" in remark
    assert {each["reason"] for each in got["left_out"]} == {"excluded: the turbo key was off"}


def test_earlier_runs_join_by_name_only(bench):
    bring(bench, records.boots(records.TURNS))
    bring(bench, records.a_boot(9, "old", ["72.7", "72.8"], settings=records.SETTINGS["as-found"]))
    begun = records.STUDY.replace("boots = 3", "boots = 3\nbegun = 2999-01-01")
    (bench / "s.toml").write_text(begun)
    got = answer("study", "judge", "s.toml", status=1)
    assert len(got["left_out"]) == 12 and "before the study began" in got["left_out"][0]["reason"]
    joined = begun + '[[earlier]]\njoins = "as-found"\nlabel = "old"\n'
    joined += "".join(f'[[earlier]]\njoins = "{n}"\nlabel = "{n}"\n' for n in ("as-found", "zero-ws"))
    (bench / "s.toml").write_text(joined)
    [one] = answer("study", "judge", "s.toml")["findings"]
    assert one["finding"]["base_boots"] == 4
    assert any("7 of the boots come from before the study" in remark for remark in one["remarks"])
    by_id = records.STUDY + '[[earlier]]\njoins = "as-found"\nids = ["11223344-00000009"]\n'
    (bench / "s.toml").write_text(by_id)
    [one] = answer("study", "judge", "s.toml")["findings"]
    assert one["finding"]["base_boots"] == 4
    status = answer("study", "status", "s.toml")
    assert [each["joined"] for each in status["boots"]].count(True) == 1


def test_another_machine_beside_it_is_a_ratio_of_machines(taken):
    octets = [
        record
        for at in (1, 2, 3)
        for record in records.a_boot(at, "attic", [f"50.{at}", "50.2"], serial=0xAABBCCDD, minute=100 + at)
    ]
    bring(taken, octets)
    beside = (
        '\n[[configurations]]\nlabel = "attic"\nchanges = "the one in the attic"\nmachine = "attic-386"\n'
    )
    (taken / "s.toml").write_text(records.STUDY + beside)
    got = answer("study", "judge", "s.toml")
    one = next(each for each in got["findings"] if each["name"].startswith("as-found~attic"))
    assert one["finding"]["verdict"] == "slower"
    assert "a ratio of machines (attic-386 to desk-486), not a finding about a part" in one["remarks"][0]
    assert got["family"] == 3


# -- what must never end in a traceback or a NaN ---------------------------------------------------------------


def test_one_boot_a_side(bench):
    got, text = judged(bench, records.gauge_boots(["100.1"], ["105.3"]), status=1)
    assert got["findings"][0]["finding"] is None
    assert "one boot of 'as-found' shows nothing about how much its boots differ" in text


def test_two_boots_a_side(bench):
    got, text = judged(bench, records.gauge_boots(["100.1", "100.2"], ["100.2", "100.1"]))
    assert got["findings"][0]["finding"]["verdict"] == "undecided"
    assert 'Two boots never show "no difference".' in text


def test_all_zeros(bench):
    got, text = judged(bench, records.gauge_boots(["0.0"] * 3, ["0.0"] * 3), status=1)
    assert "is zero (0 points), and a ratio needs readings above zero" in text
    assert got["findings"][0]["finding"] is None


def test_equal_readings(bench):
    got, text = judged(bench, records.gauge_boots(["100.0"] * 3, ["100.0"] * 3))
    assert got["findings"][0]["finding"]["verdict"] == "no difference that matters"
    assert got["findings"][0]["finding"]["interval95"][0] < 1 < got["findings"][0]["finding"]["interval95"][1]
    assert "No difference that matters" in text


def test_a_missing_metric(bench):
    study = records.gauge_study(end='[[metrics]]\nmetric = "height"\n')
    got, text = judged(bench, records.gauge_boots(["100.1", "99.8"], ["105.3", "105.1"]), study)
    assert got["findings"][0]["finding"]["verdict"] == "faster"
    assert "there is no reading of 'height of gauge' in configuration 'as-found'" in text
    assert got["findings"][1]["refusal"]
    assert "there is no such reading in it (its readings: elapsed, level)" in text


def test_mixed_units(bench):
    octets = records.gauge_boots(["100.1", "99.8"], ["105.3"])
    octets += records.gauge_boot(9, "zero-ws", ["105.2"], "seconds")
    got, text = judged(bench, octets, status=1)
    assert "a reading of 'level of gauge' is in 's' and the metric in 'points'" in text
    assert got["findings"][0]["finding"] is None


def test_a_negative_reading(bench):
    got, text = judged(bench, records.gauge_boots(["100.1", "99.8"], ["105.3", "-105.1"]), status=1)
    assert got["findings"][0]["finding"] is None
    assert "negative" in text or "held" in text


def test_two_against_thirty_boots(bench):
    many = [f"{104 + at % 7 / 10:.1f}" for at in range(30)]
    got, text = judged(bench, records.gauge_boots(["100.1", "99.9"], many))
    finding = got["findings"][0]["finding"]
    assert (finding["base_boots"], finding["other_boots"]) == (2, 30)
    assert finding["verdict"] in ("faster", "undecided") and finding["interval95"][0] < finding["ratio"]
    assert "2 boots of as-found (2 runs), 30 of zero-ws (30 runs)" in text


def test_an_empty_store(bench):
    (bench / "g.toml").write_text(records.gauge_study())
    got = answer("study", "judge", "g.toml", status=1)
    assert "there is no reading" in got["findings"][0]["refusal"]


# -- facts of the trade: common practice, no source ------------------------------------------------------------


@pytest.mark.parametrize(
    ("base", "other", "change", "shown"),
    [("1023", "1056", 3.2, "3.2 %"), ("1056", "1059", 0.28, "+0.28 %"), ("25", "29", 16, "16.0 %")],
)
def test_percentages_of_the_trade(bench, base, other, change, shown):
    spread = [lambda v, at=at: f"{float(v) * (1 + at):.2f}" for at in (-0.0001, 0, 0.0001)]
    octets = records.gauge_boots([each(base) for each in spread], [each(other) for each in spread])
    got, text = judged(bench, octets, records.gauge_study(metric="margin = 0.1"))
    assert (got["findings"][0]["finding"]["ratio"] - 1) * 100 == pytest.approx(change, abs=0.05)
    assert shown.removeprefix("+") in text


def test_from_10_to_12_shown_to_the_unit(bench):
    """+20 % by arithmetic, but rounding alone allows +9.5 to +31.6 % (11.5/10.5 to 12.5/9.5)."""
    got, text = judged(bench, records.gauge_boots(["10"] * 3, ["12"] * 3))
    finding = got["findings"][0]["finding"]
    assert finding["ratio"] == pytest.approx(1.2)
    assert finding["rounding_alone"] == pytest.approx([11.5 / 10.5, 12.5 / 9.5])
    assert "Rounding alone allows +9.5 % to +31.6 %" in text
    assert finding["interval95"][0] <= 11.5 / 10.5 and finding["interval95"][1] >= 12.5 / 9.5


@pytest.mark.parametrize("spread", [0.05, 2.5])
def test_differences_within_a_machines_own_spread_are_no_change(bench, spread):
    """0.05 to 2.5 % between two configurations of one machine are commonly within its own spread."""
    off = [-spread / 100, 0, spread / 100]
    base = [f"{1000 * (1 + each):.2f}" for each in off]
    other = [f"{1000 * (1 + each) * (1 + spread / 200):.2f}" for each in off]
    got, _ = judged(bench, records.gauge_boots(base, other))
    assert got["findings"][0]["finding"]["verdict"] in ("no difference that matters", "undecided")


def test_a_target_with_its_chance(bench):
    study = records.gauge_study(end='[[targets]]\nmetric = "level"\nat = 20\nwords = "playable"\n')
    _, text = judged(bench, records.gauge_boots(["18.1", "18.3", "18.2"], ["22.1", "22.4", "22.2"]), study)
    assert "playable, by level of gauge: as-found does not reach 20 points or more." in text
    assert "zero-ws reaches 20 points or more. [mean 22.23 points over 3 boots; chance over 99.9 %" in text


def test_drift_is_seen(bench):
    values = [f"{100 + at / 2:.1f}" for at in range(8)]
    _, text = judged(bench, records.gauge_boots(values[::2], values[1::2]))
    assert "The readings rose over the session, whatever the configuration" in text


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
    assert "is no drive" in run("study", "disk", "s.toml", "disk", "--drive", "C:\\X", status=2).stderr
