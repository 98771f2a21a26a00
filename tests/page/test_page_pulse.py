"""How often viewers are told: the more there are, the seldomer, so that the line beside them goes first."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

from readoff.page.bench import Bench
from readoff.page.pulse import A_VIEWER, EVERY, VIEWERS, Pulse
from readoff.page.readers import Readers
from readoff.store import open_store


def _run(coroutine):
    """In a thread of its own: the browser's driver may have left a loop running in this one."""
    with ThreadPoolExecutor(1) as apart:
        return apart.submit(asyncio.run, coroutine).result()


def test_all_viewers_together_ask_at_most_fifty_times_a_second(tmp_path):
    open_store(tmp_path / "s.db").close()

    async def follow():
        readers = Readers(tmp_path / "s.db")
        pulse = Pulse(readers, Bench())
        streams = [pulse.beats() for _ in range(VIEWERS)]
        told = []
        for count, stream in enumerate(streams, 1):
            await anext(stream)
            told.append((count, pulse.every))
        for stream in streams:
            await stream.aclose()
        told.append((0, pulse.every))
        readers.close()
        return told

    told = _run(follow())
    assert told[0] == (1, EVERY) and told[-1] == (0, EVERY)
    assert all(count / every <= 1 / A_VIEWER + 1e-9 for count, every in told)


def test_what_the_page_wrote_itself_is_told_at_once(tmp_path):
    open_store(tmp_path / "s.db").close()

    async def follow():
        readers = Readers(tmp_path / "s.db")
        pulse = Pulse(readers, Bench())
        stream = pulse.beats()
        before = await anext(stream)
        await pulse.changed()
        after = await anext(stream)
        await stream.aclose()
        readers.close()
        return before, after

    before, after = _run(follow())
    assert after.store == before.store + 1
