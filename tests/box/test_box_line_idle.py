"""Waiting that is skipped: the guest and the far end see the same, only sooner by the host's clock."""

from __future__ import annotations

import pytest

from readoff.box import AT, LATE, XT, Box, MachineSpec
from support.agent_box import EXIT_ALL, agent_box, readoff
from support.box_host import BoxHost


def sent(spec: MachineSpec, *, skipping: bool, delay: int = 0) -> tuple[list[bytes], int, float, int]:
    """A snapshot sent: what the host has, octets it heard, virtual seconds, looks at a port."""
    box: Box = agent_box(spec)
    box.drive("C").write("CONFIG.SYS", bytes(3000))
    assert readoff(box, "SNAP /L:a").exit.code == EXIT_ALL
    host, line = BoxHost(), box.line(1)
    line.attach(host, every=200)
    line.delay = delay
    line.skip_idle(skipping)
    box.on.ports.log = looks = []
    ran = readoff(box, "SEND /S:COM1,38400")
    assert ran.exit.code == EXIT_ALL, ran.said
    assert line.uart.lost == 0
    return list(host.store.values()), host.heard, ran.exit.seconds, len(looks)


@pytest.mark.parametrize("spec", [AT, XT, LATE])
@pytest.mark.parametrize("delay", [0, 16_000])
def test_what_is_sent_and_heard_is_the_same(spec: MachineSpec, delay: int) -> None:
    plain, skipped = (sent(spec, skipping=skipping, delay=delay) for skipping in (False, True))
    assert skipped[0] == plain[0]
    assert skipped[1] == plain[1]
    assert skipped[2] == pytest.approx(plain[2], abs=0.2)  # the guest looks at its clock once in a while
    assert skipped[3] < plain[3] * (0.9 if spec is XT else 0.6)  # an 8088 waits little
