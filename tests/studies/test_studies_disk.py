"""Batch files: what DOS takes, whatever the study says."""

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.errors import UsageError
from readoff.studies import ChangeBack, Program, batch_files, boots_in_order, load_study
from support.study_records import STUDY

SMALL = load_study("s", STUDY)


def files(study, **more):
    return batch_files(study, boots_in_order(study), "A:", **more)


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=300), st.integers(1, 30))
def test_names_lines_and_letters(changes, boots):
    base = replace(SMALL.base, changes=changes)
    made = files(replace(SMALL, configurations=(base, SMALL.configurations[1]), boots=boots))
    assert len(made) == 2 * boots + 1
    for name, octets in made.items():
        assert re.fullmatch(r"[A-Z0-9]{1,8}\.(BAT|TXT)", name)
        assert octets.endswith(b"\r\n") and octets.count(b"\n") == octets.count(b"\r\n") == octets.count(
            b"\r"
        )
        for line in octets.split(b"\r\n"):
            assert len(line) <= 127
            if name.endswith(".BAT") and line.startswith(b"ECHO"):
                assert not set(line) & set(b"<>|%")


def test_a_boot_says_what_the_machine_must_be_before_it_runs():
    lines = files(SMALL)["B002.BAT"].decode("cp437").split("\r\n")
    before = " ".join(lines[: lines.index("PAUSE")])
    assert "no wait states, in the setup" in before.replace("ECHO ", "")
    runs = [line for line in lines if "READOFF RUN" in line]
    assert runs == [r"A:\READOFF RUN /L:zero-ws /P:replay /N:2 /D:A:\SPOOL C:\REPLAY.COM"]


def test_the_plan_has_the_cautions_of_its_changes():
    text = files(SMALL)["PLAN.TXT"].decode("cp437")
    assert "Caution: Write down how it was before you change it." in text
    assert "unplug" not in text
    fitted = replace(SMALL.configurations[1], how=ChangeBack.FITTING)
    text = files(replace(SMALL, configurations=(SMALL.base, fitted)))["PLAN.TXT"].decode("cp437")
    assert "Caution: Switch off and unplug before anything is plugged or pulled" in text


def test_labels_with_blanks_are_quoted():
    base = replace(SMALL.base, label="as found")
    made = files(replace(SMALL, configurations=(base, SMALL.configurations[1])))
    assert b'/L:"as found" ' in made["B001.BAT"]


def test_a_command_that_dos_would_cut_is_refused():
    program = Program("replay", "C:\\" + "LONGER\\" * 8 + "REPLAY.COM", "-d 2 " * 8)
    with pytest.raises(UsageError, match="DOS takes 127"):
        files(replace(SMALL, programs=(program,)))
