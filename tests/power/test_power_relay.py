"""The commands of a bench against a relay box on a (played) serial line: what it is told, in which order."""

import os

import pytest
from click.testing import CliRunner

from readoff.cli import main
from readoff.power import Bench, cycle
from support.relay import relay_box, relay_command

pytestmark = pytest.mark.skipif(os.name != "posix", reason="ptys are POSIX")


@pytest.fixture
def relay():
    with relay_box() as box:
        yield box


@pytest.fixture
def bench(tmp_path, relay):
    """The screen on outlet 1, the machine on outlet 3."""
    off = tuple(relay_command(tmp_path, relay, "OFF", outlet) for outlet in (1, 3))
    on = tuple(relay_command(tmp_path, relay, "ON", outlet) for outlet in (3, 1))
    return Bench("desk", ("11223344",), off, on, command_seconds=60, hold=str(tmp_path / "HANDS-OFF"))


def switched(bench, relay, told=None):
    """A cycle whose time without power is an entry in the relay's log."""
    tell = (told if told is not None else []).append
    return cycle(bench, tell, pause=lambda seconds: relay.log.append(f"{seconds:g} s without power"))


def test_off_in_the_order_of_the_file_then_a_time_without_power_then_on(bench, relay):
    told = []
    assert switched(bench, relay, told).why_not == ""
    assert relay.log == ["OFF 1", "OFF 3", "45 s without power", "ON 3", "ON 1"]
    assert relay.powered == {"1": True, "3": True}
    assert sum("[relay: OK 3 OFF]" in line for line in told) == 1  # what a command printed is told


def test_a_relay_that_refuses_leaves_the_machine_off_or_on_and_nothing_is_tried_again(bench, relay):
    relay.answers["OFF 3"] = "ERR no such outlet"
    cycled = switched(bench, relay)
    assert not cycled.off and "ERR no such outlet" in cycled.why_not
    assert relay.log == ["OFF 1", "refused OFF 3"]
    relay.log.clear()
    relay.answers = {"ON 3": "ERR"}
    cycled = switched(bench, relay)
    assert cycled.off and cycled.why_not.startswith("switching on: ")
    assert relay.log == ["OFF 1", "OFF 3", "45 s without power", "refused ON 3"]
    assert relay.powered["3"] is False


def test_a_relay_that_says_nothing_is_not_waited_for_for_ever(bench, relay):
    relay.answers["OFF 1"] = ""
    told = []
    bench = Bench(bench.name, bench.agents, bench.off, bench.on, command_seconds=5)
    assert "had not ended after 5 s, and was killed" in switched(bench, relay, told).why_not
    assert relay.powered == {}  # and nothing was switched on, either


def test_a_hand_that_comes_while_the_power_is_off_keeps_it_off(bench, relay, tmp_path):
    relay.on_switched = lambda what: (tmp_path / "HANDS-OFF").touch() if what == "OFF 3" else None
    assert switched(bench, relay).off
    assert relay.log == ["OFF 1", "OFF 3", "45 s without power"]


def test_the_command_of_the_guide_switches_once(tmp_path, relay):
    """``readoff power FILE --switch``, with the least time without power that a file may say."""
    off, on = (list(relay_command(tmp_path, relay, word, 3)) for word in ("OFF", "ON"))
    file = tmp_path / "desk.toml"
    file.write_text(f'bench = "desk"\nagents = ["11223344"]\noff = {off!r}\non = {on!r}\noff_seconds = 10\n')
    file.chmod(0o600)
    shown = CliRunner().invoke(main, ["power", str(file)])
    assert shown.exit_code == 0 and relay.log == []
    done = CliRunner().invoke(main, ["power", str(file), "--switch", "--yes"])
    assert done.exit_code == 0 and relay.log == ["OFF 3", "ON 3"]
