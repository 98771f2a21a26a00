"""How answers look on a terminal, at 80 columns and in a pipe. What was captured is shown as text, never obeyed."""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from readoff.store.find import RunRow

_PIPE_WIDTH, _LEAST_WIDTH = 100, 40
_LONGEST_WORD = 24  # of a table's cell that is not broken
_GAP = 2  # blanks between two columns
_UNBROKEN = "\N{NO-BREAK SPACE}"
_KEPT = "\ue000"  # of private use: stands for a blank that is not broken at, where every other blank may be


def width() -> int:
    """Columns of the terminal; where standard output is none, 100 or what COLUMNS says."""
    if sys.stdout is not None and sys.stdout.isatty():
        return max(_LEAST_WIDTH, shutil.get_terminal_size().columns)
    told = os.environ.get("COLUMNS", "")
    return max(_LEAST_WIDTH, int(told)) if told.isdecimal() else _PIPE_WIDTH


def harmless(text: str) -> str:
    """Text without control characters: a captured escape sequence must not reach the terminal."""
    return "".join(c if c.isprintable() or c == "\n" else "·" for c in text)


def print_table(columns: Sequence[str], rows: Iterable[Sequence[str]], *, right: Sequence[str] = ()) -> None:
    """Prints a plain table. A column named in ``right`` is flush right; cells that are too wide are wrapped.

    No word, and so no number, is broken: where the columns have no room beside each other, each row becomes lines.
    """
    cells = [[harmless(cell) for cell in row] for row in rows]
    widths = _widths(list(zip(columns, *cells, strict=True)), width() - _GAP * (len(columns) - 1))
    if not widths:
        _print_rows(columns, cells)
        return
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    # One blank after each cell, and the box's own between two columns, are the gap.
    made = Table(
        box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, header_style="bold", padding=(0, 1, 0, 0)
    )
    for name, wide in zip(columns, widths, strict=True):
        made.add_column(name, width=wide, justify="right" if name in right else "left", overflow="fold")
    for row in cells:
        made.add_row(*(Text(cell.replace(" %", _KEPT + "%")) for cell in row))
    # With a height as well, the library does not guess the width (TERM=dumb: 80 by 25).
    console = Console(width=width(), height=25, highlight=False, emoji=False, markup=False)
    with console.capture() as capture:
        console.print(made)
    for line in capture.get().replace(_KEPT, " ").splitlines():
        click.echo(line.rstrip())


def _widths(columns: Sequence[Sequence[str]], room: int) -> list[int]:
    """How wide each column is: the last one is narrowed first, then the widest. None where words have no room."""
    least = [
        min(_LONGEST_WORD, max((len(word) for cell in column for word in cell.split()), default=0))
        for column in columns
    ]
    widths = [max(len(line) for cell in column for line in cell.split("\n")) for column in columns]
    if sum(least) > room:
        return []
    while sum(widths) > room:
        if widths[-1] > max(least[-1], _LONGEST_WORD):
            widths[-1] -= 1
        else:
            widths[max(range(len(widths)), key=lambda at: (widths[at] > least[at], widths[at]))] -= 1
    return widths


def _wrapped(line: str, room: int) -> list[str]:
    """A line in pieces of at most so many characters; a number and its per cent sign stay together."""
    whole = line.replace(" %", _UNBROKEN + "%")
    pieces = textwrap.wrap(whole, max(1, room), replace_whitespace=False, break_on_hyphens=False)
    return [piece.replace(_UNBROKEN, " ") for piece in pieces]


def _print_rows(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """The cells of each row one below the other, with their headings."""
    for row in rows:
        told = [
            f"{name}: {cell}" if name else cell
            for name, cell in zip(columns, row, strict=True)
            if cell.strip()
        ]
        for number, line in enumerate(told):
            say(line, indent=2 if number else 0)


def say(text: str = "", *, indent: int = 0, wrap: bool = True) -> None:
    """Prints text, every line indented and, unless told otherwise, wrapped to the width there is."""
    room = max(20, width() - indent)
    for line in harmless(text).split("\n"):
        for piece in _wrapped(line, room) if wrap and len(line) > room else [line]:
            click.echo((" " * indent + piece).rstrip())


def heading(text: str) -> None:
    """Prints an empty line and a heading."""
    click.echo()
    click.secho(harmless(text), bold=True)


def counted(count: int, one: str, many: str = "") -> str:
    """ "1 run", "2 runs"."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def what_ran(run: RunRow) -> str:
    """What a run was of: its configuration and its program, or the file that came alone."""
    return f"{run.label or '(no label)'} · {run.program}" if run.kind == "run" else f"file {run.path}"
