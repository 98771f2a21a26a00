"""The host killed outright (SIGKILL) at any moment: what an agent was told kept is in the store, whole and once."""

import os
import random
import subprocess
import sys
import textwrap
from contextlib import closing, contextmanager, suppress

import pytest

from readoff.contract.record import parse_record
from readoff.link import Sender, Spooled, Verdict
from readoff.store import open_store
from readoff.store.find import counts
from support.agent_twin import over_socket, play
from support.records import a_record

_PROGRAM = """
    import re, sys
    from readoff.arrivals.told import Note
    from readoff.arrivals.watch import Watch
    from readoff.store import open_store

    def told(what):
        if isinstance(what, Note) and what.what.startswith("listening"):
            print(re.search(r"[0-9]+$", what.what)[0], flush=True)

    with open_store(sys.argv[1]) as store:
        Watch(store, [sys.argv[2]], ["listen:127.0.0.1:0"], told=told, every=0.05).run()
"""


@contextmanager
def a_host(store, inbox):
    """A watch in a process of its own; gives (the process, its TCP port). Killed at the end, whatever it does."""
    command = [sys.executable, "-c", textwrap.dedent(_PROGRAM), str(store), str(inbox)]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as program:
        try:
            yield program, int(program.stdout.readline())
        finally:
            program.kill()


@pytest.mark.parametrize("seed", range(6))
def test_killed_at_any_moment(tmp_path, seed):
    draw = random.Random(seed)
    store, inbox = tmp_path / "readoff.db", tmp_path / "inbox"
    inbox.mkdir()
    records = [a_record(n + 1, draw.randbytes(draw.randrange(1, 3000))) for n in range(30)]
    for number, octets in enumerate(records[:10]):  # some of them by file as well
        (inbox / f"{number:08}.RDO").write_bytes(octets)
    spool = [Spooled(parse_record(octets).id, octets) for octets in records]
    sender = Sender(0x11223344, 0xA1B2C3D4, spool, patience=0.3)
    kill_after = draw.randrange(160)  # rounds of the line: all 30 records take about as many
    rounds = iter(range(10_000))
    with (
        a_host(store, inbox) as (program, tcp_port),
        closing(over_socket(tcp_port)) as port,
        suppress(OSError),
    ):
        play(sender, port, until=lambda: next(rounds) >= kill_after)
        program.kill()
    told_kept = [each for each in spool if sender.verdicts[each.id] is Verdict.KEPT]
    with open_store(store) as opened:
        for each in told_kept:
            assert opened.known(each.id, len(each.octets), each.check)
    left = [each for each in spool if each not in told_kept]
    again = Sender(0x11223344, 0xA1B2C3D4, left, patience=0.3)
    with a_host(store, inbox) as (_, tcp_port), closing(over_socket(tcp_port)) as port:
        play(again, port)
    assert set(again.verdicts.values()) <= {Verdict.KEPT}
    with open_store(store) as opened:
        assert counts(opened)["records"] == len(spool)
        assert all(opened.known(each.id, len(each.octets), each.check) for each in spool)
