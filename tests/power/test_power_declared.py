"""Bench files: what they say, every fault, and that nothing but such a file can name a command."""

import os
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.errors import PowerError, StudyError
from readoff.power import load_bench
from readoff.power.declared import TOP_KEYS
from readoff.studies import load_study
from support import study_records as records

TEXT = """
bench = "the desk by the window"
agents = ["1122aabb"]
off = ["/usr/local/bin/outlet", "3", "off; rm -rf $HOME"]
on = [["/usr/local/bin/outlet", "3", "on"], ["/usr/local/bin/outlet", "4", "on"]]
"""


def test_a_small_file():
    bench = load_bench("desk.toml", TEXT)
    assert bench.agents == ("1122AABB",)
    assert bench.off == (("/usr/local/bin/outlet", "3", "off; rm -rf $HOME"),)  # words stay as they are
    assert len(bench.on) == 2
    assert (bench.off_seconds, bench.rest_seconds, bench.dry_run, bench.hold) == (45, 120, False, "")
    assert bench.most_seconds == 3 * 20 + 45


def test_the_bench_file_of_the_guide_is_read_and_every_key_told():
    guide = (Path(__file__).resolve().parents[2] / "docs" / "power.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"```toml\n(.*?)```", guide, re.S)
    bench = load_bench("docs/power.md", block)
    assert bench.agents == ("11223344",) and bench.on == (("/usr/local/bin/outlet", "3", "on"),)
    told = set(re.findall(r"`(\w+)`", " ".join(re.findall(r"^\| (`.*?) \|", guide, re.M))))
    assert told == set(TOP_KEYS)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('agents = ["1122aabb"]', ""), "agents: no agent"),
        (("1122aabb", "1122aabbcc"), "the first 8 digits"),
        (
            ('off = ["/usr/local/bin/outlet", "3", "off; rm -rf $HOME"]', 'off = "outlet 3 off"'),
            "line 4, off: 'outlet 3 off'",
        ),
        (('["/usr/local/bin/outlet", "3", "off; rm -rf $HOME"]', "[]"), "a command as a list of words"),
        (('["/usr/local/bin/outlet", "3", "off; rm -rf $HOME"]', '["outlet", "3"]'), "an absolute path"),
        (
            ('["/usr/local/bin/outlet", "3", "off; rm -rf $HOME"]', '["/bin/true", 3]'),
            "a command as a list of words",
        ),
        (('["/usr/local/bin/outlet", "4", "on"]', "[]"), "a command as a list of words"),
        (
            ("bench =", "off_seconds = 2\nbench ="),
            "off_seconds: 2; right would be seconds: a number from 10 to 3600",
        ),
        (("bench =", "command_seconds = nan\nbench ="), "command_seconds: nan"),
        (("bench =", "dry_run = 1\nbench ="), "dry_run: 1; right would be true or false"),
        (("bench =", 'hold = "hands"\nbench ='), "hold: 'hands'; right would be an absolute path"),
        (("bench =", 'shell = "x"\nbench ='), "'shell' is not known"),
        (("bench =", "bench"), "not TOML"),
    ],
)
def test_faults(change, said):
    with pytest.raises(PowerError) as error:
        load_bench("desk.toml", TEXT.replace(*change))
    assert said in str(error.value)


@given(
    st.dictionaries(
        st.sampled_from(["off", "on", "agents", "off_seconds", "hold"]),
        st.one_of(st.integers(), st.text(max_size=5), st.booleans()),
    )
)
def test_any_values_end_in_faults_or_a_bench(values):
    lines = [
        f"{key} = {str(value).lower() if isinstance(value, bool) else value if isinstance(value, int) else repr(value)}"
        for key, value in values.items()
    ]
    with pytest.raises(PowerError):
        load_bench("desk.toml", "\n".join(lines))


@pytest.mark.parametrize("key", ["off", "on", "power", "bench", "command", "hold", "log"])
def test_a_study_file_cannot_name_a_command(key):
    """Somebody else's study must not be able to start anything here."""
    with pytest.raises(StudyError, match="is not known"):
        load_study("s.toml", f'{key} = ["/bin/sh", "-c", "true"]\n{records.STUDY}')
    with pytest.raises(StudyError, match="is not known"):
        load_study("s.toml", f'{records.STUDY}\n[[{key}]]\ncommand = "/bin/sh"\n')


def test_names_of_the_system_are_not_needed_to_read_a_bench_file():
    assert os.name and load_bench("x", TEXT)  # nothing is opened: the paths need not be there
