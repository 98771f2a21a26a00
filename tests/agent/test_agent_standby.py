"""STANDBY in the test machine: every way in which a step may go, with a host that says what a test wants."""

from __future__ import annotations

import pytest

from readoff.box import AT, LATE, XT
from readoff.contract import link_contract
from readoff.contract.record import parse_record
from readoff.link.frames import build_message
from readoff.link.framing import frame
from readoff.link.steps import GivenStep, step_values
from support.agent_bench import Bench
from support.agent_box import EXIT_ALL, EXIT_MISSING, EXIT_NOTHING, PROGRAMS, agent_box, record_names
from support.standby_bench import SECOND
from support.standby_scripted import Scripted, stand_by

PERSON = GivenStep("person", "Fit the card.", ("Unplug first.",), seconds=6)


def test_nothing_to_do_gives_the_prompt_back():
    _, host, exit_ = stand_by()
    assert exit_.code == EXIT_ALL and "Done.\r\n" in exit_.console.decode("cp437")
    (asked,) = host.asked
    assert (asked.fresh, asked.warm, asked.token, asked.told) == (True, False, 0, False)


@pytest.mark.parametrize("rate", [1200, 9600, 115200])
def test_without_a_host_the_prompt_is_back_in_a_few_seconds(rate):
    box = agent_box(AT)
    exit_ = box.run("C:\\READOFF.COM", f"STANDBY /S:COM1,{rate}")
    assert exit_.code == EXIT_MISSING and exit_.seconds < 5
    said = exit_.console.decode("cp437")
    assert "no host answers" in said and "no longer standing by" in said
    box.run("C:\\READOFF.COM", "SNAP /L:kept")
    exit_ = box.run("C:\\READOFF.COM", f"STANDBY /S:COM1,{rate}")
    assert exit_.code == EXIT_MISSING and exit_.seconds < 5
    assert exit_.console.decode("cp437").count("no host answers") == 1
    assert len(record_names(box)) == 1


def test_without_a_line_or_with_a_word_too_many_nothing_is_done():
    _, _, exit_ = stand_by(options="")
    assert exit_.code == EXIT_NOTHING and "STANDBY needs a line" in exit_.console.decode("cp437")
    _, _, exit_ = stand_by(options="/S:COM1 NOW")
    assert exit_.code == EXIT_NOTHING and "NOW is not expected here" in exit_.console.decode("cp437")
    _, _, exit_ = stand_by(options="/S:COM4")
    assert exit_.code == EXIT_MISSING and "no such serial port" in exit_.console.decode("cp437")


def test_runs_come_as_run_would_make_them_and_each_before_the_next_question():
    arguments = '02 "12.5" ' + "x" * 115
    label, program = "l" * 64, "two words"
    steps = [
        GivenStep("snapshot", label=label),
        GivenStep("run", label=label, program=program, path="C:\\WAYS.COM", arguments=arguments),
        GivenStep("run", label=label, path="EXITCODE"),
        GivenStep("run", label=label, path="NOTHERE.COM"),
    ]
    box, host, exit_ = stand_by(*steps)
    assert exit_.code == EXIT_ALL
    assert [(r["label"], r["program"], r["path"], r["arguments"]) for r in host.runs] == [
        (label, program, "C:\\WAYS.COM", arguments),
        (label, "EXITCODE.COM", "C:\\EXITCODE.COM", ""),
        (label, "NOTHERE.COM", "NOTHERE.COM", ""),
    ]
    assert all((r["repeat"], r["repeats"]) == (1, 1) for r in host.runs)
    assert record_names(box) == []
    assert [each.token for each in host.asked] == [0, *(each.token for each in steps)]
    assert len({each.boot_nonce for each in host.asked}) == 1
    assert [each.fresh for each in host.asked] == [True] * 5
    kinds = [parse_record(octets).kind for octets in host.store.values()]
    assert kinds == ["snapshot", *["snapshot", "run"] * 3]


def test_a_run_that_can_leave_no_record_is_not_done_for_ever():
    """A batch file goes through COMSPEC, and with it the arguments no longer fit a command tail."""
    step = GivenStep("run", label="base", path="C:\\LONG.BAT", arguments="x" * 120)

    def before(box, host):
        box.drive("C").write("LONG.BAT", b"@ECHO %1\r\n")

    _, host, exit_ = stand_by(*[step] * 9, before=before)
    said = exit_.console.decode("cp437")
    assert exit_.code == EXIT_MISSING and "does not reach the host" in said
    assert said.count("the arguments are too long") == 3 and host.store == {}


def test_a_person_s_key_says_that_it_is_done_and_the_words_stand_once():
    def before(box, host):
        box.type_at(3.0, "x")

    _, host, exit_ = stand_by(PERSON, PERSON, spec=AT, before=before)
    said = exit_.console.decode("cp437")
    assert said.count("Fit the card.\r\n- Unplug first.\r\n") == 1
    assert said.count("That is not all") == 1
    assert [(each.told, each.token) for each in host.asked] == [
        (False, 0),
        (True, PERSON.token),
        (False, PERSON.token),  # 6 s later, nobody has pressed a key
    ]
    assert exit_.code == EXIT_ALL and exit_.seconds > 6


@pytest.mark.parametrize("rate", [38400, 115200])
@pytest.mark.parametrize("spec", [XT, AT, LATE])
def test_the_longest_words_arrive_at_any_rate(spec, rate):
    """A frame comes at once, and on a slow machine faster than it is looked at."""
    longest = GivenStep("wait", "word " * 500, seconds=1)
    shorter = GivenStep("wait", "word " * 120, seconds=1)
    _, host, exit_ = stand_by(longest, shorter, spec=spec, options=f"/S:COM1,{rate}")
    assert [each.token for each in host.asked] == [0, longest.token, shorter.token]
    assert exit_.code == EXIT_ALL


def test_a_key_that_was_typed_before_the_words_is_no_answer():
    def before(box, host):
        box.type_at(0.01, "x")

    _, host, exit_ = stand_by(PERSON, before=before)
    assert [each.told for each in host.asked] == [False, False]
    assert exit_.seconds > 6


@pytest.mark.parametrize(
    "step", [PERSON, GivenStep("wait", "Busy.", seconds=9), GivenStep("reset", "Reset.")]
)
def test_escape_gives_the_prompt_back(step):
    def before(box, host):
        def on_step():
            box.type_at(0.5, "\x1b")

        host.steps = Then(host.steps, on_step)

    _, _, exit_ = stand_by(step, before=before)
    assert (exit_.kind, exit_.code) == ("ended", EXIT_MISSING)
    assert exit_.seconds < 6
    assert "no longer standing by" in exit_.console.decode("cp437")


class Then(list):
    """Steps, with something that happens when one is given."""

    def __init__(self, steps, what):
        super().__init__(steps)
        self.what = what

    def pop(self, index=-1):
        self.what()
        return super().pop(index)


def test_a_wait_is_as_long_as_the_host_says():
    _, host, exit_ = stand_by(GivenStep("wait", "Busy.", seconds=7))
    assert len(host.asked) == 2 and 7 < exit_.seconds < 12


@pytest.mark.parametrize(("spec", "how"), [(AT, "port 64h"), (LATE, "port 64h"), (XT, "FFFF:0000")])
def test_a_reset_is_warm_and_leaves_no_mark(spec, how):
    box, host, exit_ = stand_by(GivenStep("reset", "Reset."), spec=spec)
    assert (exit_.kind, exit_.how) == ("reset", how)
    box.boot(cold=False)
    box.line(1).attach(host)
    assert box.run("C:\\READOFF.COM", "STANDBY /S:COM1,38400").code == EXIT_ALL
    first, second = host.asked
    assert first.boot_nonce != second.boot_nonce
    assert (second.fresh, second.warm, second.token) == (True, True, 0)


def test_where_the_keyboard_controller_does_not_reset_the_bios_does():
    marks = []

    def before(box, host):
        box.on.ports.add(0x64, lambda: 0x14, marks.append)

    _box, _, exit_ = stand_by(GivenStep("reset", "Reset."), before=before)
    assert (exit_.kind, exit_.how) == ("reset", "FFFF:0000")
    assert marks == [0xFE]


def test_the_reset_word_is_set_and_the_mark_gone_when_the_reset_comes():
    seen = []

    def before(box, host):
        memory = box.on.engine.memory
        note = lambda value: seen.append((memory.word(0x472), bytes(memory.octets[0x4F0:0x500])))  # noqa: E731
        box.on.ports.add(0x64, lambda: 0x14, note)

    stand_by(GivenStep("reset", "Reset."), before=before)
    assert seen == [(0x1234, bytes(16))]


def test_a_host_that_was_there_is_waited_for():
    def before(box, host):
        def gone():
            host.silent = True
            boot = box.on
            boot.timetable.at(boot.engine.now() + 8 * SECOND, lambda: setattr(host, "silent", False))

        host.steps = Then(host.steps, gone)

    _, host, exit_ = stand_by(GivenStep("wait", "Busy.", seconds=1), before=before)
    assert exit_.code == EXIT_ALL and 8 < exit_.seconds < 20 and len(host.asked) == 2
    assert "waits for the host to come back" in exit_.console.decode("cp437")


def test_a_host_that_stays_away_is_given_up():
    """The routine that decides, on the bench: a minute of waiting is much for the test machine."""
    bench = Bench()
    bench.word("standby_token", 0)
    assert bench.call("standby_patience"), "there never was a host"
    bench.word("standby_token", 5)
    bench.put("standby_alone", bytes([12]))
    assert bench.call("standby_patience")
    bench.put("standby_alone", bytes([0]))
    bench.put("ctrl_c_seen", b"\1")
    assert bench.call("standby_patience"), "the person has had enough"


STEP = build_message("step", **step_values(GivenStep("snapshot", "Now.", label="base")))
WHATS = link_contract().declarations.enums["what"].values.values()
NOT_STEPS = [
    STEP[:-3],  # shorter than its words say
    STEP[:-2] + b"\x05ab",  # keys longer than the frame
    STEP[:-2] + b"\x03[no\x00",  # keys that mean nothing
    STEP[:-1] + b"\x05ab",  # files longer than the frame
    STEP[:3],
    STEP[:1] + bytes([1 + max(WHATS)]) + STEP[2:],  # there is no such thing to do
    STEP[:8] + b"\xff" + STEP[9:],  # a label longer than the frame
    STEP[:8] + bytes([65]) + b"x" * 65 + STEP[13:],  # a label longer than one may be
    STEP[:-10] + b"\xff\xff" + STEP[-8:],  # words beyond the end of the segment
]


@pytest.mark.parametrize("wrong", NOT_STEPS)
def test_a_step_that_is_not_as_it_must_be_is_asked_for_again(wrong):
    class Wrong(Scripted):
        def exchange(self, now, octets):
            questions = len(self.asked)
            out = super().exchange(now, octets)
            return frame(wrong) if len(self.asked) == 1 > questions else out

    box, host = agent_box(AT), Wrong()
    box.line(1).attach(host)
    exit_ = box.run("C:\\READOFF.COM", "STANDBY /S:COM1,38400")
    assert (exit_.kind, exit_.code) == ("ended", EXIT_ALL)
    assert host.store == {} and len(host.asked) == 2


def test_a_host_that_asks_for_what_only_newer_agents_know_is_told_from_a_silent_one():
    class Newer(Scripted):
        def exchange(self, now, octets):
            questions = len(self.asked)
            out = super().exchange(now, octets)
            return frame(NOT_STEPS[5]) if len(self.asked) > questions else out

    box, host = agent_box(AT), Newer()
    box.line(1).attach(host)
    exit_ = box.run("C:\\READOFF.COM", "STANDBY /S:COM1,38400", keys="")
    said = exit_.console.decode("cp437")
    assert "COM1: this READOFF.COM is too old for what the host asks." in said
    assert "no longer standing by" in said and exit_.code == EXIT_MISSING
    assert host.store == {}


def test_keys_come_with_a_step_and_go_with_it():
    """A run with keys, then one without; an older host's step has no such field, a later one's may have more."""

    def before(box, host):
        for name in ("MENU.COM", "WAYS.COM"):
            box.drive("C").write(name, (PROGRAMS / name).read_bytes())

    keys = "[enter][after page 2]x[after 12.5][esc]"
    menu = GivenStep("run", label="base", path="C:\\MENU.COM", arguments="08", keys=keys)
    ways = GivenStep("run", label="base", path="C:\\WAYS.COM", arguments="02")
    _, host, exit_ = stand_by(menu, ways, before=before)
    assert exit_.code == EXIT_ALL
    first, second = [record for record in map(parse_record, host.store.values()) if record.kind == "run"]
    assert (first.values("keys") or {})["script"] == keys
    assert (first.values("keys_end") or {})["typed"] == 3
    assert second.values("keys") is None and second.values("run_end") is not None


def test_files_come_with_a_step_and_go_with_it():
    """A run that writes a file, then one for which none are asked."""

    def before(box, host):
        box.drive("C").write("WAYS.COM", (PROGRAMS / "WAYS.COM").read_bytes())

    wrote = GivenStep("run", label="base", path="C:\\WAYS.COM", arguments="F", files="C:\\*.OUT")
    plain = GivenStep("run", label="base", path="C:\\WAYS.COM", arguments="F 7")
    _, host, exit_ = stand_by(wrote, plain, before=before)
    assert exit_.code == EXIT_ALL
    first, second = [record for record in map(parse_record, host.store.values()) if record.kind == "run"]
    assert (first.values("files_after") or {})["kept"] == 1
    assert first.values("file")["name"] == "C:\\WAYS.OUT"
    assert second.values("files_before") is None


@pytest.mark.parametrize("octets", [STEP[:-2], STEP[:-1], STEP + b"!"])
def test_a_step_of_an_older_or_a_later_host_is_taken(octets):
    class Other(Scripted):
        def exchange(self, now, octets_):
            questions = len(self.asked)
            out = super().exchange(now, octets_)
            return frame(octets) if len(self.asked) == 1 > questions else out

    box, host = agent_box(AT), Other()
    box.line(1).attach(host)
    exit_ = box.run("C:\\READOFF.COM", "STANDBY /S:COM1,38400")
    assert (exit_.kind, exit_.code) == ("ended", EXIT_ALL)
    assert [parse_record(each).kind for each in host.store.values()] == ["snapshot"]
