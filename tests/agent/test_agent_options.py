"""The command line, and the environment variable READOFF."""

from __future__ import annotations

import pytest

from readoff.box import AT
from support.agent_box import EXIT_ALL, EXIT_NOTHING, AgentRan, agent_box, readoff


def start(ran: AgentRan) -> dict[str, object]:
    return dict(ran.run.values("run_start") or {})


def test_help_fits_one_screen() -> None:
    exit_ = agent_box(AT).run("C:\\READOFF.COM")
    lines = exit_.console.decode("cp437").split("\r\n")
    assert exit_.code == EXIT_ALL
    assert len(lines) <= 25 and max(map(len, lines)) <= 79
    for word in ("SNAP", "RUN", "SEND", "/L:", "/P:", "/N:", "/D:", "/S:", "/KEEP", "Exit code"):
        assert any(word in line for line in lines), word


def test_help_can_be_redirected() -> None:
    box = agent_box(AT)
    box.command("READOFF /? > HELP.TXT")
    assert box.drive("C").read("HELP.TXT").startswith(b"READOFF")


@pytest.mark.parametrize(
    ("tail", "named"),
    [
        ("FOO", "FOO"),
        ("RUN /X:3 WAYS", "/X:3"),
        ("RUN /X WAYS", "/X"),
        ("RUN /L WAYS", "/L"),
        ("RUN /L: WAYS", "/L:"),
        ('RUN /L:"open WAYS', '/L:"open'),
        (f"RUN /L:{'x' * 65} WAYS", "/L:xxx"),
        ("RUN /N:0 WAYS", "/N:0"),
        ("RUN /N:70000 WAYS", "/N:70000"),
        ("RUN /N:3a WAYS", "/N:3a"),
        ("RUN /S:COM5 WAYS", "/S:COM5"),
        ("RUN /S:LPT1 WAYS", "/S:LPT1"),
        ("RUN /S:COM1,1234 WAYS", "/S:COM1,1234"),
        ("RUN /S:COM1,960 WAYS", "/S:COM1,960"),
        ("SNAP WAYS", "WAYS"),
        ("RUN", "needs a program"),
        ("RUN /L:base", "needs a program"),
    ],
)
def test_a_wrong_line_is_named_and_nothing_is_done(tail: str, named: str) -> None:
    ran = readoff(agent_box(AT, "WAYS.COM"), tail)
    assert named in ran.said
    assert (ran.exit.code, ran.records) == (EXIT_NOTHING, {})
    assert "Ways:" not in ran.said


@pytest.mark.parametrize(
    ("tail", "label", "repeats"),
    [
        ("RUN /L:base WAYS 02", "base", 1),
        ("run /l:base ways 02", "base", 1),
        ('RUN /L:"zero wait" WAYS 02', "zero wait", 1),
        ("/L:base /N:2 RUN WAYS 02", "base", 2),
        ("RUN\t/N:2\t/L:Base\tWAYS 02", "Base", 2),
        (f"RUN /L:{'x' * 64} WAYS 02", "x" * 64, 1),
        ("RUN WAYS 02", "", 1),
    ],
)
def test_options_in_all_their_forms(tail: str, label: str, repeats: int) -> None:
    ran = readoff(agent_box(AT, "WAYS.COM"), tail)
    assert ran.exit.code == EXIT_ALL
    runs = ran.of_kind("run")
    assert len(runs) == repeats
    asked = dict(runs[0].values("run_start") or {})
    assert (asked["label"], asked["repeats"]) == (label, repeats)
    assert str(asked["arguments"]).strip() == "02"


def test_what_follows_the_program_is_its_own() -> None:
    ran = readoff(agent_box(AT, "WAYS.COM"), "RUN WAYS 02 5 /L:not-mine /N:9")
    assert (start(ran)["label"], start(ran)["repeats"]) == ("", 1)
    assert start(ran)["arguments"] == "02 5 /L:not-mine /N:9"


def test_a_program_name_of_its_own_with_a_long_tail() -> None:
    tail = "x" * 100
    ran = readoff(agent_box(AT, "EXITCODE.COM"), f"RUN EXITCODE {tail}")
    assert start(ran)["arguments"] == tail


def test_the_variable_is_read_and_the_line_wins() -> None:
    box = agent_box(AT, "WAYS.COM")
    box.command("SET READOFF=/L:outer /N:2")
    box.command("READOFF RUN WAYS 02")
    box.command("READOFF RUN /L:inner WAYS 02")
    from readoff.contract.record import parse_record
    from support.agent_box import record_names

    labels = []
    for name in record_names(box):
        record = parse_record(box.drive("C").read(name))
        if values := record.values("run_start"):
            labels.append((values["label"], values["repeats"]))
    assert labels == [("outer", 2)] * 2 + [("inner", 2)] * 2


def test_a_wrong_variable_is_named() -> None:
    box = agent_box(AT, "WAYS.COM")
    box.command("SET READOFF=/Z:1")
    assert b"/Z:1" in box.command("READOFF RUN WAYS 02").console
