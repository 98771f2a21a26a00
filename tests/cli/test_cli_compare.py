"""readoff compare: findings, refusals, what is left out, and the report of it."""

import pytest

from support import store_samples as samples
from support.commands import answer, run
from support.published import outside


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
