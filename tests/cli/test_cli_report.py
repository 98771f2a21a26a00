"""readoff report: a folder that is written whole or not at all, a page that asks for nothing, tables that are exact."""

import csv
import io
import re
import zipfile

import pytest
from PIL import Image

from readoff.cli import main
from readoff.reports import writing
from support import study_records as records
from support.docs import DOCS
from support.published import outside, read_page
from support.study_bench import answer, bring, prepare, run
from support.walks import dialogue

NAME = "as-found~zero-ws:replay:shown_rate"
TARGET = '\n[[targets]]\nmetric = "shown_rate"\nat = 75\nwords = "playable"\n'


@pytest.fixture(autouse=True)
def drawn_once(request, monkeypatch):
    """Charts take seconds: only the folder that all tests look at has them."""
    if "out" not in request.fixturenames and "charts" not in request.fixturenames:
        monkeypatch.setattr(writing, "figures_of", lambda publication: iter(()))


@pytest.fixture
def charts():
    """Asked for by a test that draws."""


def fill(bench):
    bring(bench, records.boots(records.TURNS))
    (bench / "s.toml").write_text(records.STUDY + TARGET)
    return bench


@pytest.fixture
def bench(tmp_path, monkeypatch):
    return fill(prepare(tmp_path, monkeypatch))


@pytest.fixture(scope="module")
def published(tmp_path_factory):
    """A report with charts and bundle that no test changes."""
    with pytest.MonkeyPatch.context() as patch:
        bench = fill(prepare(tmp_path_factory.mktemp("published"), patch))
        run("report", "out", "--study", "s.toml", "--bundle")
    return bench


@pytest.fixture
def out(published, monkeypatch):
    monkeypatch.chdir(published)
    monkeypatch.setenv("COLUMNS", "4000")
    return published / "out"


def table(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def files(folder):
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


# -- what is in it -------------------------------------------------------------------------------------------------


def test_the_folder_holds_page_charts_tables_and_bundle(out):
    names = set(files(out))
    charts = {f"charts/{name}" for name in ("ratio-zero-ws-against-as-found", "boots-shown-rate-of-replay")}
    charts |= {f"charts/{name}" for name in ("target-shown-rate-of-replay", "worth-shown-rate-of-replay")}
    tables = ("findings", "readings", "configurations", "facts", "left-out")
    assert names == {
        *(f"{chart}{end}" for chart in charts for end in (".svg", ".png", "-clear.png")),
        *(f"tables/{name}.{end}" for name in tables for end in ("csv", "md")),
        *("report.html", "report.md", "bundle.zip", "contents.json"),
    }
    for name in names:
        if name.endswith(".png"):
            assert Image.open(out / name).size == (1920, 1080)


def test_the_page_asks_for_nothing_outside_and_runs_nothing(out):
    html = (out / "report.html").read_text(encoding="utf-8")
    page = read_page(html)
    assert outside(html) == [] and page.active == []
    assert page.policies == ["default-src 'none'; style-src 'unsafe-inline'; img-src data:"]
    assert "http" not in html.replace("http-equiv", "")
    assert len(page.addresses) > 4  # the charts point into themselves


def test_the_findings_as_markdown_have_few_columns_and_those_as_csv_all(out):
    head, _, row = (out / "tables" / "findings.md").read_text("utf-8").splitlines()[2:5]
    assert head.split(" | ")[0] == "| finding" and head.count("|") == row.count("|") == 11
    assert head.endswith("| boots |") and row.endswith("| 3 + 3 |")
    assert (out / "tables" / "findings.csv").read_text("utf-8").splitlines()[0].count(",") > 25


def test_findings_come_as_sentences_first_and_every_one_can_be_traced(out):
    html = (out / "report.html").read_text(encoding="utf-8")
    sentence = answer("study", "judge", "s.toml")["findings"][0]["sentence"]
    text = " ".join(" ".join(read_page(html).text).split())
    assert (
        text.index(sentence)
        < text.index("In charts")
        < text.index("In figures")
        < text.index("How it was done")
    )
    assert NAME in text
    assert answer("why", NAME, "--study", "s.toml")["sentence"] == sentence
    assert "Rate: 72.9 frames/s" in text  # the line that a reading was read from


def test_how_it_was_done_is_said_in_a_paragraph(out):
    text = " ".join(read_page((out / "report.html").read_text(encoding="utf-8")).text)
    for said in (
        "The study was declared in a file (s.toml)",
        "3 cold boots (power off and on) of each and 2 runs of each program in a boot",
        "Boots taken: as-found 3, zero-ws 3, with 12 runs in all.",
        "as-found, zero-ws ×2, as-found ×2, zero-ws",
        "known from the machine's own clock",
        "The boot is the unit of evidence",
        "No boot was excluded.",
        "No run was left out.",
    ):
        assert said in text, said


def test_what_is_invented_says_so_everywhere(bench, charts):
    (bench / "s.toml").write_text(records.STUDY.replace("boots = 3", "boots = 3\ninvented = true"))
    run("report", "out", "--study", "s.toml")
    assert "Invented data" in (bench / "out" / "report.html").read_text("utf-8")
    assert "Invented data" in (bench / "out" / "report.md").read_text("utf-8")
    for path in (bench / "out" / "charts").glob("*.svg"):
        assert "Invented data" in path.read_text("utf-8")
    run("report", "plain", "as-found", "zero-ws")
    assert "Invented data" not in (bench / "plain" / "report.html").read_text("utf-8")
    run("report", "marked", "as-found", "zero-ws", "--invented")
    assert "Invented data" in (bench / "marked" / "report.html").read_text("utf-8")


# -- tables --------------------------------------------------------------------------------------------------------


def test_the_findings_table_read_again_is_the_very_finding(out):
    [told] = answer("study", "judge", "s.toml")["findings"]
    finding = told["finding"]
    [row] = table(out / "tables" / "findings.csv")
    assert row["finding"] == told["name"] and row["sentence"] == told["sentence"]
    for name in ("ratio", "p", "p_adjusted", "df", "margin", "margin_declared", "base_value", "other_value"):
        assert float(row[name]) == finding[name], name
    for name in ("interval95", "interval90"):
        end = name.removeprefix("interval")
        assert [float(row[f"ratio_low{end}"]), float(row[f"ratio_high{end}"])] == finding[name]
    assert [int(row[f"{side}_boots"]) for side in ("base", "other")] == [3, 3]
    assert [int(row[f"{side}_runs"]) for side in ("base", "other")] == [6, 6]
    assert (row["verdict"], row["method"], row["unit"]) == ("faster", "Welch", "frames/s")
    assert (row["program"], row["metric"]) == ("replay", "shown_rate")


def test_the_readings_table_holds_every_reading_with_its_line(out):
    rows = table(out / "tables" / "readings.csv")
    assert sorted(row["value"] for row in rows) == sorted(
        rate for _, rates in records.TURNS for rate in rates
    )
    assert all(f"Rate: {row['value']} frames/s" in row["line"] and row["how"] == "captured" for row in rows)
    assert {(row["label"], row["run"]) for row in rows} == {
        (each["label"], str(each["number"])) for each in answer("runs")["runs"]
    }


def test_the_facts_table_tells_what_differs_first(out):
    rows = table(out / "tables" / "facts.csv")
    assert [row["fact"] for row in rows if row["differs"] == "yes"] == ["cmos.settings", "cmos.sum"]
    assert [row["differs"] for row in rows] == sorted((row["differs"] for row in rows), reverse=True)
    [cpu] = [row for row in rows if row["fact"] == "cpu.class"]
    assert cpu["as-found"] == cpu["zero-ws"] == "i80486"


def test_no_cell_becomes_a_formula(bench):
    octets = records.run(9, "as-found", 9, b"Rate: 1 frames/s\r\n", arguments="=1+1")
    (bench / "x.RDO").write_bytes(octets)
    run("take", "x.RDO", status=None)
    run("report", "out", "as-found", "zero-ws")
    for path in (bench / "out" / "tables").glob("*.csv"):
        for row in table(path):
            assert not [cell for cell in row.values() if re.match(r"[=@+]|-[^0-9]", cell)], path


def test_a_configuration_without_snapshots_makes_nothing_differ(bench):
    for at, nonce in enumerate((60, 61)):
        (bench / f"bare{at}.RDO").write_bytes(records.run(nonce, "bare", 2, b"Rate: 70 frames/s\r\n"))
        run("take", f"bare{at}.RDO", status=None)
    run("report", "out", "as-found", "bare", status=None)
    rows = table(bench / "out" / "tables" / "facts.csv")
    assert {row["differs"] for row in rows} == {"no"} and {row["bare"] for row in rows} == {""}
    text = " ".join(read_page((bench / "out" / "report.html").read_text("utf-8")).text)
    assert "bare has no snapshot, so nothing shows what it was." in text


# -- typed, left out, refused --------------------------------------------------------------------------------------


def test_typed_readings_left_out_runs_and_refusals_are_told(tmp_path, monkeypatch):
    bench = prepare(tmp_path, monkeypatch)
    (bench / "g.toml").write_text(records.gauge_study(top="with_typed = true"))
    (bench / "inbox").mkdir()
    shown = records.gauge_boots(["70.1", "70.2"], ["77.2", "****"])
    shown.append(records.run(9, "zero-ws", 2, b"", program="gauge", path="C:\\GAUGE.COM", ends=False))
    for at, each in enumerate(shown):
        (bench / "inbox" / f"{at:05}.RDO").write_bytes(each)
    run("take", "inbox", status=1)
    (held,) = answer("held", status=1)["held"]
    dialogue(main, ["enter", str(held["number"]), "--unit", "points", "--by", "me"], ("77.3", "77.3"), 0)
    run("report", "out", "--study", "g.toml", status=None)
    rows = table(bench / "out" / "tables" / "readings.csv")
    assert [row["how"] for row in rows if row["value"] == "77.3"] == ["typed"]
    [finding] = table(bench / "out" / "tables" / "findings.csv")
    assert (finding["base_typed"], finding["other_typed"]) == ("0", "1")
    [left] = table(bench / "out" / "tables" / "left-out.csv")
    assert "never ended" in left["reason"]
    text = " ".join(read_page((bench / "out" / "report.html").read_text("utf-8")).text)
    assert "1 number was typed by a person, not captured, and counted" in text
    assert "1 run gave no evidence" in text


def test_one_boot_a_side_is_published_as_a_refusal(tmp_path, monkeypatch):
    bench = prepare(tmp_path, monkeypatch)
    bring(bench, records.boots(records.TURNS[:2]))
    run("report", "out", "--study", "s.toml", status=1)
    text = " ".join(read_page((bench / "out" / "report.html").read_text("utf-8")).text)
    assert "refused" in text and "1 comparison could not be judged" in text
    assert not list((bench / "out" / "charts").glob("ratio*"))
    [row] = table(bench / "out" / "tables" / "findings.csv")
    assert (row["verdict"], row["ratio"]) == ("refused", "")


def test_a_withheld_finding_is_nowhere_in_figures(tmp_path, monkeypatch):
    bench = prepare(tmp_path, monkeypatch)
    octets = records.boots(records.TURNS[:5])
    bring(bench, octets + records.a_boot(6, "zero-ws", ["76.0", "76.1"], residents=[records.MOUSE]))
    run("report", "out", "--study", "s.toml", status=1)
    [row] = table(bench / "out" / "tables" / "findings.csv")
    assert (row["verdict"], row["ratio"]) == ("withheld", "")
    html = (bench / "out" / "report.html").read_text("utf-8")
    assert "The resident program MOUSE" in html and "faster" not in html


# -- hostile -------------------------------------------------------------------------------------------------------


def test_what_a_machine_says_stays_text(tmp_path, monkeypatch, charts):
    bench = prepare(tmp_path, monkeypatch)
    label = "<script>alert(1)</script>"
    order = [(label, ["72.9", "73.0"]), ("b", ["76.1", "76.2"])] * 2
    bring(bench, records.boots(order))
    run("report", "out", label, "b", "--invented")
    page = read_page((bench / "out" / "report.html").read_text("utf-8"))
    assert page.active == []
    assert label in " ".join(page.text)
    prose = re.sub(r"`[^`]*`", "", (bench / "out" / "report.md").read_text("utf-8"))  # code is never markup
    assert "<script" not in prose.replace("\\<script", "")
    for name, octets in files(bench / "out").items():
        if name.endswith(".svg"):
            assert b"<script" not in octets


# -- the command ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["out"], "there is nothing to compare"),
        (["out", "as-found"], "there is nothing to compare"),
        (["out", "as-found", "zero-ws", "zero-ws"], "named twice"),
        (["out", "as-found", "nobody"], "no run carries the label 'nobody'"),
        (["out", "as-found", "--study", "s.toml"], "a study names its own configurations"),
        (["out", "--study", "none.toml"], "the study cannot be read"),
    ],
)
def test_what_makes_no_sense_is_told_and_nothing_is_written(bench, arguments, said):
    assert said in run("report", *arguments, status=2).stderr
    assert not (bench / "out").exists()


def test_several_labels_are_one_family(bench):
    bring(bench, [each for at in range(3) for each in records.a_boot(20 + at, "third", [f"80.{at}", "80.1"])])
    got = answer("report", "out", "as-found", "zero-ws", "third")
    family = {each["finding"]["family"] for result in got["findings"] for each in result["compared"]}
    assert family == {2}
    rows = table(bench / "out" / "tables" / "findings.csv")
    assert [row["finding"] for row in rows] == [
        "as-found~zero-ws:replay:frames_per_second",
        "as-found~third:replay:frames_per_second",
    ]
    assert set(got) == {"folder", "page", "bundle", "findings"}


def test_the_markdown_is_whole_and_points_at_its_charts(out):
    text = (out / "report.md").read_text("utf-8")
    for name in re.findall(r"\]\((charts/[^)]+)\)", text):
        assert (out / name).is_file()
    assert text.count("](charts/") == 4
    assert "How it was done" in text


def test_nothing_but_the_answer_is_said_in_a_pipe(bench):
    result = run("report", "out", "--study", "s.toml")
    assert "…" not in result.output and "\x1b" not in result.output
    assert io.StringIO(result.stdout).readline().startswith("zero-ws is faster than as-found")


# -- the guide -----------------------------------------------------------------------------------------------------

GUIDE = (DOCS / "publishing.md").read_text(encoding="utf-8")


def test_the_guide_shows_what_the_command_says(published, tmp_path, monkeypatch):
    [shown] = re.findall(r"^\$ readoff take bundle.zip --store check.db\n(.*?)```", GUIDE, re.M | re.S)
    (tmp_path / "bundle.zip").write_bytes((published / "out" / "bundle.zip").read_bytes())
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "4000")
    monkeypatch.delenv("READOFF_SCHEMAS", raising=False)
    own = " --schemas bundle-unpacked/schemas"  # the tests' own, which the guide's study does without
    assert run("take", "bundle.zip", "--store", "check.db").output.replace(own, "") == shown


def test_the_guide_tells_everything_in_the_folder_and_in_the_bundle(out):
    for name in files(out):
        assert f"`{name.split('/')[0]}" in GUIDE or f"{name.split('/')[0]}/`" in GUIDE, name
    with zipfile.ZipFile(out / "bundle.zip") as zipped:
        for name in zipped.namelist():
            assert f"`{name.split('/')[0]}" in GUIDE, name
    for name in re.findall(r"\]\((published/[a-z]+\.png)\)", GUIDE):
        assert (DOCS / name).is_file()
