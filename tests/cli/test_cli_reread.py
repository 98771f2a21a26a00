"""readoff reread, and what a faulty schema of one's own stands in the way of."""

from support import store_samples as samples
from support.commands import answer, run

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
