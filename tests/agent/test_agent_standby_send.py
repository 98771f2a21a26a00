"""STANDBY's step send in the test machine: a program's file comes home, and one that was changed is named."""

from readoff.box import AT
from readoff.contract.record import parse_record
from readoff.link.steps import GivenStep
from readoff.reports.study import read_study
from readoff.studies import load_study, progress_of
from support.agent_box import EXIT_ALL, PROGRAMS
from support.standby_bench import WAITS, Room, StudyHost
from support.standby_scripted import stand_by

STUDY = load_study(
    "sends.toml",
    WAITS.replace("boots = 3", "boots = 1").replace("repeats = 2", "repeats = 1\nsend_programs = true"),
)


def test_a_file_comes_as_send_would_bring_it():
    step = GivenStep("send", "Send.", path="C:\\EXITCODE.COM")
    _, host, exit_ = stand_by(step, GivenStep("run", label="base", path="C:\\EXITCODE.COM"), spec=AT)
    assert exit_.code == EXIT_ALL
    records = [parse_record(octets) for octets in host.store.values()]
    (sent,) = [each for each in records if each.kind == "file"]
    assert sent.values("file")["name"] == "C:\\EXITCODE.COM"
    content = b"".join(section.payload for section in sent.all("file_data"))
    assert content == (PROGRAMS / "EXITCODE.COM").read_bytes()


def test_a_file_that_is_not_there_is_said_and_the_next_step_asked_for():
    step = GivenStep("send", "Send.", path="C:\\NOTHING.COM")
    _, host, exit_ = stand_by(step, GivenStep("run", label="base", path="C:\\EXITCODE.COM"), spec=AT)
    assert exit_.code == EXIT_ALL and "NOTHING.COM" in exit_.console.decode("cp437")
    assert [each["path"] for each in host.runs] == ["C:\\EXITCODE.COM"]


def test_a_program_that_was_changed_between_two_boots_is_named(tmp_path):
    """Another octet at the end of INTLOOP.COM, which does the same work."""
    host = StudyHost(tmp_path / "s.db", STUDY)
    room = Room(host)
    steps = []

    def on_step(asked, step):
        steps.append((step.what, step.path))
        if step.what == "person":
            room.in_a_while(1.5, room.person)
        if room.label == "no-wait" and step.what == "send":
            room.drive.write("INTLOOP.COM", (PROGRAMS / "INTLOOP.COM").read_bytes() + b"\0")

    host.on_step = on_step
    room.start_until_done(20)
    seen = read_study(host.store, STUDY)
    assert not progress_of(STUDY, seen.done).open
    assert steps.count(("send", "C:\\INTLOOP.COM")) == steps.count(("send", "C:\\REPLAY.COM")) == 3
    told = {each.about: each.sentence for each in seen.notices}
    assert set(told) == {f"{label}:program.loop" for label in STUDY.labels}
    assert "loop is not the same file everywhere" in told["no-wait:program.loop"]
    host.store.close()
