"""Files that a study wants of a program: read, written, put into batch files and steps; or refused."""

import pytest

from readoff.errors import StudyError
from readoff.link.steps import GivenStep, step_values
from readoff.studies import batch_files, boots_in_order, load_study, study_text
from support.study_records import STUDY

FILES = r"C:\BENCH\*.LOG;D:\OUT.TXT"


def with_files(files):
    """The sample study, its first program with files."""
    head, mark, rest = STUDY.partition("[[programs]]\n")
    return f"{head}{mark}files = '{files}'\n{rest}"


def test_files_are_read_written_and_put_into_batch_files_and_steps():
    study = load_study("s", with_files(FILES))
    assert study.programs[0].files == FILES
    assert load_study("s", study_text(study)) == study
    lines = batch_files(study, boots_in_order(study), "A:")["B001.BAT"].decode("cp437")
    assert r" /F:C:\BENCH\*.LOG /F:D:\OUT.TXT " in lines
    step = GivenStep("run", path="C:\\X.COM", files=FILES)
    assert step_values(step)["files"] == FILES
    assert step.token != GivenStep("run", path="C:\\X.COM").token


@pytest.mark.parametrize(
    "files", ["*.LOG", r"C:\A B.LOG", r"C:\A%1.LOG", r"C:\A;", r"C:\\" + "x" * 130, r"C:\\é"]
)
def test_what_the_agent_would_not_take_is_refused(files):
    with pytest.raises(StudyError, match="files"):
        load_study("s", with_files(files))
