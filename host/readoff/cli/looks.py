"""How answers look on a terminal, at 80 columns and in a pipe. What was captured is shown as text, never obeyed."""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from itertools import chain, zip_longest

import click

_PIPE_WIDTH, _LEAST_WIDTH = 100, 40
_LONGEST_WORD = 24  # of a table's cell that is not broken
_GAP = 2  # blanks between two columns
_UNBROKEN = "\N{NO-BREAK SPACE}"


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
    heading, *body = [_lines_of(row, columns, widths, right) for row in (columns, *cells)]
    for line in heading:
        click.secho(line, bold=True)
    click.echo("─" * (sum(widths) + _GAP * (len(widths) - 1)))
    for line in chain.from_iterable(body):
        click.echo(line)


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


def _lines_of(
    row: Sequence[str], columns: Sequence[str], widths: Sequence[int], right: Sequence[str]
) -> list[str]:
    """A row of a table: its cells beside each other, wrapped to their widths."""
    wrapped = [
        [piece for line in cell.split("\n") for piece in _wrapped(line, width) or [""]]
        for cell, width in zip(row, widths, strict=True)
    ]
    flush = [str.rjust if name in right else str.ljust for name in columns]
    return [
        (" " * _GAP)
        .join(put(piece, width) for put, piece, width in zip(flush, pieces, widths, strict=True))
        .rstrip()
        for pieces in zip_longest(*wrapped, fillvalue="")
    ]


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
