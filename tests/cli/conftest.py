"""What several files of tests work in: two labels to compare, and a study with everything that a bundle can carry."""

import pytest

from readoff.cli import main
from readoff.reports import writing
from support import bundles
from support import store_samples as samples
from support import study_records as records
from support.photographs import photograph
from support.study_bench import answer, prepare, run
from support.walks import dialogue


@pytest.fixture(scope="session")
def made(tmp_path_factory):
    """A study with its own schema, a typed number, an excluded boot, notes, a photograph and a hung run; its bundle."""
    with pytest.MonkeyPatch.context() as patch:
        bench = prepare(tmp_path_factory.mktemp("made"), patch)
        patch.setattr(writing, "figures_of", lambda publication: iter(()))
        (bench / "g.toml").write_text(bundles.STUDY)
        (bench / "inbox").mkdir()
        shown = records.gauge_boots(["70.1", "70.2", "70.3"], ["77.1", "77.2", "****", "60.0"])
        shown.append(records.snapshot(9, "zero-ws", minute=45))
        hung = records.run(9, "zero-ws", 2, b"", program="gauge", path="C:\\GAUGE.COM", ends=False, minute=46)
        shown.append(hung)
        other = records.a_boot(40, "another", ["72.9"])
        for at, each in enumerate([*other, *shown]):
            (bench / "inbox" / f"{at:05}.RDO").write_bytes(each)
        run("take", "inbox", status=1)
        (held,) = answer("held", status=1)["held"]
        dialogue(main, ["enter", str(held["number"]), "--unit", "points", "--by", "me"], ("77.3", "77.3"), 0)
        run("study", "note", "g.toml", "--label", "as-found", "--remark", "taken back later")
        run("study", "note", "g.toml", "--label", "as-found", "--remark", "hums")
        run("study", "note", "g.toml", "--take-back", "1", "by mistake")
        (bench / "p.jpg").write_bytes(photograph())
        run("attach", "--label", "zero-ws", "--photo", "p.jpg", "--by", "me", "J7 open")
        run("report", "out", "--study", "g.toml", "--bundle")
        findings = answer("study", "judge", "g.toml")
    return bench, findings


@pytest.fixture
def elsewhere(made, tmp_path, monkeypatch):
    """An empty folder with the bundle in it, and nothing of its maker's settings."""
    (tmp_path / "bundle.zip").write_bytes((made[0] / "out" / "bundle.zip").read_bytes())
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "4000")
    for name in ("READOFF_STORE", "READOFF_SCHEMAS"):
        monkeypatch.delenv(name, raising=False)
    return tmp_path


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A folder to work in, with two labels of three boots and two repeats each, and its snapshots."""
    monkeypatch.chdir(tmp_path)
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


@pytest.fixture
def taken(bench):
    """The same, taken into a store."""
    run("take", "inbox")
    return bench
