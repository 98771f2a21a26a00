"""Real hosts in processes of their own, killed outright (SIGKILL) at any moment; one, or two on the same store."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import textwrap
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path

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
ROUNDS_MOST = 160
"""Rounds of the line: all records take about as many."""


@contextmanager
def a_host(store: Path, inbox: Path) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """A watch in a process of its own; gives (the process, its TCP port). Killed at the end, whatever it does."""
    command = [sys.executable, "-c", textwrap.dedent(_PROGRAM), str(store), str(inbox)]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as program:
        try:
            assert program.stdout is not None
            yield program, int(program.stdout.readline())
        finally:
            program.kill()


def killed_run(seed: int, folder: Path, watchers: int = 1) -> int:
    """One run: some records by file, all over the line, a kill; then another host, and the rest. Gives their number.

    watchers: how many watch the same store and folder at once, each with a line of its own over which the same spool
    comes; the first is killed. AssertionError where the invariant does not hold.
    """
    draw = random.Random(seed)
    store, inbox = folder / "readoff.db", folder / "inbox"
    inbox.mkdir()
    records = [a_record(n + 1, draw.randbytes(draw.randrange(1, 3000))) for n in range(30)]
    for number, octets in enumerate(records[:10]):  # some of them by file as well
        (inbox / f"{number:08}.RDO").write_bytes(octets)
    spool = [Spooled(parse_record(octets).id, octets) for octets in records]
    senders = [_sender(spool) for _ in range(watchers)]
    kill_after, rounds = draw.randrange(ROUNDS_MOST), 0
    with ExitStack() as stack:
        hosts = [stack.enter_context(a_host(store, inbox)) for _ in range(watchers)]
        ports = [stack.enter_context(closing(over_socket(tcp_port))) for _, tcp_port in hosts]
        while rounds < kill_after and not all(sender.over for sender in senders):
            rounds += 1
            for sender, port in zip(senders, ports, strict=True):
                one = iter((False,))
                with suppress(OSError):
                    play(sender, port, until=lambda one=one: next(one, True))  # type: ignore[misc]
        hosts[0][0].kill()
        _check(store, spool, senders)
    again = _sender([each for each in spool if senders[0].verdicts[each.id] is not Verdict.KEPT])
    with a_host(store, inbox) as (_, tcp_port), closing(over_socket(tcp_port)) as port:
        play(again, port)
    assert set(again.verdicts.values()) <= {Verdict.KEPT}
    with open_store(store) as opened:
        assert counts(opened)["records"] == len(spool)
        assert all(opened.known(each.id, len(each.octets), each.check) for each in spool)
    return len(spool)


def _sender(spool: Sequence[Spooled]) -> Sender:
    return Sender(0x11223344, 0xA1B2C3D4, spool, patience=0.3)


def _check(store: Path, spool: Sequence[Spooled], senders: Sequence[Sender]) -> None:
    """What any of the senders was told kept is in the store."""
    with open_store(store) as opened:
        for each in spool:
            if any(sender.verdicts[each.id] is Verdict.KEPT for sender in senders):
                assert opened.known(each.id, len(each.octets), each.check)
