"""How answers look on a terminal, at 80 columns and in a pipe. What was captured is shown as text, never obeyed."""

from __future__ import annotations

import os
import sys
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

_PIPE_WIDTH = 100
_UNBROKEN = "\N{NO-BREAK SPACE}"


def console() -> Console:
    """Standard output; where it is no terminal without colour, and 100 columns wide or what COLUMNS says."""
    from rich.console import Console

    told = os.environ.get("COLUMNS", "")
    terminal = sys.stdout is not None and sys.stdout.isatty()
    width = None if terminal else max(40, int(told)) if told.isdecimal() else _PIPE_WIDTH
    height = (
        None if width is None else 25
    )  # with both, the library does not guess either (TERM=dumb: 80 by 25)
    return Console(width=width, height=height, highlight=False, soft_wrap=False, emoji=False, markup=False)


def harmless(text: str) -> str:
    """Text without control characters: a captured escape sequence must not reach the terminal."""
    return "".join(c if c.isprintable() or c == "\n" else "·" for c in text)


def table(columns: Sequence[str], rows: Iterable[Sequence[str]], *, right: Sequence[str] = ()) -> Table:
    """A plain table. A column named in ``right`` is flush right; the last column takes the room that is left."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    made = Table(
        box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, header_style="bold", padding=(0, 1, 0, 0)
    )
    for name in columns:
        last = name == columns[-1]
        made.add_column(
            name,
            justify="right" if name in right else "left",
            overflow="fold",
            no_wrap=False,
            ratio=1 if last else None,
        )
    for row in rows:
        made.add_row(*(Text(harmless(cell)) for cell in row))
    return made


def print_table(columns: Sequence[str], rows: Iterable[Sequence[str]], *, right: Sequence[str] = ()) -> None:
    """Prints a plain table, without blanks at the ends of its lines."""
    made = console()
    with made.capture() as capture:
        made.print(table(columns, rows, right=right))
    click.echo("\n".join(line.rstrip() for line in capture.get().splitlines()))


def say(text: str = "", *, indent: int = 0, wrap: bool = True) -> None:
    """Prints text, every line indented and, unless told otherwise, wrapped to the width there is."""
    width = max(20, console().width - indent) if wrap else 0
    for line in harmless(text).split("\n"):
        whole = line.replace(" %", _UNBROKEN + "%")
        pieces = (
            textwrap.wrap(whole, width, replace_whitespace=False, break_on_hyphens=False)
            if len(line) > width > 0
            else [line]
        )
        for piece in pieces:
            click.echo((" " * indent + piece.replace(_UNBROKEN, " ")).rstrip())


def heading(text: str) -> None:
    """Prints an empty line and a heading."""
    click.echo()
    click.secho(harmless(text), bold=True)


def counted(count: int, one: str, many: str = "") -> str:
    """ "1 run", "2 runs"."""
    return f"{count} {one if count == 1 else many or one + 's'}"
