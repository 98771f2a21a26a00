"""readoff study judge: worked small studies through the whole command, and what must never end in a NaN.

All data is invented; facts of the trade are marked as such, with the arithmetic beside them.
"""

import pytest

from support import store_samples as samples
from support import study_records as records
from support.study_bench import answer, bring, judged, prepare, run

NAME = "as-found~zero-ws:replay:shown_rate"


@pytest.fixture
def bench(tmp_path, monkeypatch):
    return prepare(tmp_path, monkeypatch)


@pytest.fixture
def taken(bench):
    bring(bench, records.boots(records.TURNS))
    return bench


def test_judge_a_clear_change(taken):
    got = answer("study", "judge", "s.toml")
    [one] = got["findings"]
    assert (one["name"], one["finding"]["verdict"], one["blocked"]) == (NAME, "faster", [])
    assert one["finding"]["ratio"] == pytest.approx(76.15 / 72.95, rel=1e-4)
    assert got["guard"] == [] and got["order"] == [] and got["left_out"] == []
    text = run("study", "judge", "s.toml").output
    assert "zero-ws costs 2.28 EUR for each per cent gained" in " ".join(text.split())
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


def test_a_boot_that_another_study_used_is_no_business_of_the_guard(bench):
    """Two studies on one machine, with the base's label in common; the other's boots have a driver and were warm."""
    (bench / "g.toml").write_text(records.gauge_study().replace("zero-ws", "cache-on"))
    mine = records.boots(records.TURNS[:3]) + records.boots(records.TURNS[3:], first=4)
    others = [
        record
        for nonce, label in ((0x20, "as-found"), (0x21, "cache-on"), (0x22, "as-found"))
        for record in records.gauge_boot(
            nonce, label, ["50"], residents=[records.MOUSE], warm=label == "as-found"
        )
    ]
    bring(bench, mine + others)
    assert run("study", "judge", "s.toml").output.count("faster") >= 1
    status = answer("study", "status", "s.toml")
    assert status["notices"] == [] and status["incomplete"] == []
    warm = answer("study", "judge", "g.toml", status=1)["guard"][0]
    assert warm["about"] == "as-found:warm" and "00000001" not in warm["sentence"]
    # The step goes on in the boot that the machine is in, whatever ran in it before: then it is evidence, and told.
    bring(bench, [records.run(0x22, "as-found", 9, samples.printed("72.9"))])
    [warm, mouse] = answer("study", "judge", "s.toml", status=1)["guard"]
    assert (warm["about"], mouse["about"]) == ("as-found:warm", "as-found:residents.MOUSE")


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


# -- what the reader sees --------------------------------------------------------------------------------------


def test_the_table_of_figures_has_no_silent_holes(bench):
    octets = records.boots(records.TURNS)
    third = (
        '\n[[configurations]]\nlabel = "fastest"\nchanges = "the fastest setting"\nmay_differ = ["cmos.*"]\n'
    )
    (bench / "s.toml").write_text(records.STUDY + third)
    bring(bench, octets)
    run("study", "note", "s.toml", "--label", "fastest", "does not start")
    lines = run("study", "judge", "s.toml").output.splitlines()
    table = lines[next(at for at, line in enumerate(lines) if line.startswith("finding ")) :]
    assert [line.split()[-1] for line in table[2:5]] == ["faster", "failed", "failed"]
    assert table[3].startswith("as-found~fastest:replay:shown_rate")


def test_how_to_explain_what_the_guard_found_is_said_and_does_it(bench):
    octets = records.boots(records.TURNS[:5]) + records.a_boot(6, "zero-ws", ["76.0", "76.1"], warm=True)
    bring(bench, octets)
    lines = [line.strip() for line in run("study", "judge", "s.toml", status=1).output.splitlines()]
    at = lines.index("[[explanations]]")
    assert lines[at + 1] == 'about = "zero-ws:warm"'
    (bench / "s.toml").write_text(records.STUDY + "\n" + "\n".join(lines[at : at + 3]) + "\n")
    assert answer("study", "judge", "s.toml")["findings"][0]["verdict"] == "faster"


def test_before_the_first_run_the_next_step_is_told(bench):
    text = run("study", "judge", "s.toml", status=1).output
    assert "There are no runs of it yet." in text and "readoff study status s.toml" in text


def test_an_early_look_is_told(bench):
    bring(bench, records.boots(records.TURNS[:4]))
    assert "The plan is not done: 4 of 6 boots." in run("study", "judge", "s.toml").output
    bring(bench, records.boots(records.TURNS[4:], first=5))
    assert "The plan is not done" not in run("study", "judge", "s.toml").output
