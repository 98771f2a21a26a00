"""readoff power, and the power beside readoff watch: commands of the tester's own, named in a file on this computer."""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff.cli.common import echo_json, json_option
from readoff.errors import PowerError, UsageError

if TYPE_CHECKING:
    from readoff.arrivals.watch import Watch
    from readoff.power import Bench, Keeper


@click.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--switch", is_flag=True, help="Really switch off and on, once, after a question.")
@click.option("--yes", is_flag=True, help="With --switch: do not ask.")
@json_option
def power(file: Path, switch: bool, yes: bool, as_json: bool) -> None:
    """Show what FILE would start to switch a machine's power off and on; nothing is started.

    FILE is a bench file: commands of your own, with their times. readoff watch --study … --power FILE uses it for
    cold boots. Read docs/power.md before you let a computer switch anything.

    \b
    Example:
      readoff power desk.toml
    """
    from readoff.power import cycle
    from readoff.power.cycle import dry, held

    bench = read_bench(file)
    if as_json:
        if switch:
            raise UsageError("--json only shows; it goes without --switch", where="readoff power")
        echo_json({**asdict(bench), "held": held(bench)})
        return
    click.echo(f"{bench.name}: agents {', '.join(bench.agents)}")
    for line in dry(bench):
        click.echo(f"  {line}")
    click.echo(
        f"  at least {bench.rest_seconds:g} s until the next time; {bench.boot_seconds:g} s to come back in"
    )
    for words, there in ((f"hold file: {bench.hold}", bench.hold), (f"log: {bench.log}", bench.log)):
        if there:
            click.echo(f"  {words}")
    if not switch:
        click.echo("Nothing was started. --switch does it once.")
        return
    if held(bench):
        raise UsageError(
            "somebody holds the power", where=bench.hold, next_step="Ask them; then remove the file."
        )
    question = "Is nobody near the inside of that machine, and nothing being written on its disks?"
    if not yes and not click.confirm(question, default=False):
        click.echo("Nothing was started.")
        click.get_current_context().exit(1)
    cycled = cycle(bench, logged(bench, click.echo))
    if cycled.why_not:
        after = " The machine may be without power." if cycled.off else ""
        raise PowerError(f"{cycled.why_not}.{after}".rstrip("."), where=str(file))


def read_bench(path: Path) -> Bench:
    """A bench file that is safe to use. Raises PowerError for what is not, UsageError where it cannot be read."""
    from readoff.power import load_bench

    try:
        text = path.read_text(encoding="utf-8-sig")
        mode = path.stat().st_mode
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        raise UsageError(f"the bench file cannot be read ({reason})", where=str(path)) from error
    if os.name == "posix" and mode & stat.S_IWOTH:
        raise PowerError(
            "everybody on this computer may write the bench file, and so choose what is started",
            where=str(path),
            next_step=f"chmod o-w {path}",
        )
    bench = load_bench(str(path), text)
    for command in (*bench.off, *bench.on):
        if not os.access(command[0], os.X_OK) or Path(command[0]).is_dir():
            raise PowerError(f"{command[0]} is no program that can be started", where=str(path))
    return bench


def logged(bench: Bench, tell: Callable[[str], None]) -> Callable[[str], None]:
    """Tells, and writes the same with its time into the bench's log, where it has one."""

    def both(line: str) -> None:
        if bench.log:
            at = datetime.now(UTC).isoformat(timespec="milliseconds")
            # A log that cannot be written must not leave a machine switched half-way.
            with contextlib.suppress(OSError), Path(bench.log).open("a", encoding="utf-8") as log:
                log.write(f"{at} {bench.name}: {line}\n")
        tell(line)

    return both


@contextmanager
def kept(file: Path | None, watching: Watch, say: Callable[[str], None]) -> Iterator[Keeper | None]:
    """The keeper of the power beside a watch; None without a file. say: for what is told after the watch has ended."""
    if file is None:
        yield None
        return
    from readoff.arrivals.told import About
    from readoff.power import Keeper

    bench = read_bench(file)
    ended = False

    def tell(line: str) -> None:
        if ended:
            say(f"{bench.name}: {line}")
        else:
            watching.note(About.POWER, bench.name, line)

    keeper = Keeper(bench, logged(bench, tell))
    try:
        yield keeper
    finally:
        ended = True
        if keeper.switching:
            say(
                f"{bench.name}: the power is being switched; it is waited for. Ctrl-C leaves it as it is then."
            )
        keeper.finish()
