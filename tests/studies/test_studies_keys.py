"""Keys that a study has typed for a program: read, written, put into batch files and steps; or refused."""

import pytest

from readoff.errors import StudyError
from readoff.studies import batch_files, boots_in_order, load_study, study_text
from support.study_records import STUDY

KEYS = "[enter][after Press a key]3y[pause 2][esc]"


def with_keys(keys):
    """The sample study, its first program with keys."""
    head, mark, rest = STUDY.partition("[[programs]]\n")
    return f"{head}{mark}keys = '{keys}'\n{rest}"


def test_keys_are_read_written_and_put_into_batch_files():
    study = load_study("s", with_keys(KEYS))
    assert study.programs[0].keys == KEYS and not any(each.keys for each in study.programs[1:])
    assert load_study("s", study_text(study)) == study
    lines = batch_files(study, boots_in_order(study), "A:")["B001.BAT"].decode("cp437")
    assert f' /K:"{KEYS}" ' in lines


@pytest.mark.parametrize("keys", ["50%", 'a"b', "a<b", "é", "x" * 113])
def test_what_a_command_line_would_not_take_is_refused(keys):
    with pytest.raises(StudyError, match="keys"):
        load_study("s", with_keys(keys))
