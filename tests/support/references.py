"""The reference in docs/, made from the commands and from the contract; a test looks whether it is current.

python tests/support/references.py    writes docs/reference-commands.md and docs/reference-contract.md anew
(PYTHONPATH: host and tests)
"""

from __future__ import annotations

import re
import textwrap
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from readoff.cli import main
from support.docs import DOCS

PROTOCOLS = DOCS.parent / "protocols"
MADE = "Made from {source} by `tests/support/references.py`; a test fails where it is not current."


def references() -> dict[Path, str]:
    """File -> what must stand in it."""
    return {
        DOCS / "reference-commands.md": "\n".join(commands()),
        DOCS / "reference-contract.md": "\n".join(contract()),
    }


# -- commands ------------------------------------------------------------------------------------------------


def commands() -> Iterator[str]:
    """Every command with its arguments, options and example."""
    yield "# Reference: commands"
    yield ""
    yield f"{MADE.format(source='the commands themselves')} What they are for is told in [commands.md](commands.md)."
    yield ""
    for name, command in main.commands.items():
        yield from _command(f"readoff {name}", command)


def _command(path: str, command: click.Command) -> Iterator[str]:
    context = click.Context(command, info_name=path)
    usage = " ".join([path, *command.collect_usage_pieces(context)])
    yield f"## {path}"
    yield ""
    yield f"`{usage}`"
    yield ""
    yield from _help(command.help or "")
    options = [each for each in command.params if isinstance(each, click.Option) and not each.hidden]
    if options:
        yield "| option | meaning |"
        yield "| --- | --- |"
        for each in options:
            yield f"| {_named(each, context)} | {_cell(each.help or '')}{_default(each)} |"
        yield ""
    if isinstance(command, click.Group):
        for name, further in command.commands.items():
            yield from _command(f"{path} {name}", further)


def _help(text: str) -> Iterator[str]:
    """Paragraphs of a help; what stands after click's mark for a block is code."""
    for paragraph in re.split(r"\n\s*\n", textwrap.dedent(text.strip("\n"))):
        lines = paragraph.splitlines()
        if lines and lines[0].strip() == "\b":
            head, *rest = lines[1:]
            if rest:
                yield head.strip()
                yield ""
            yield "```"
            yield from textwrap.dedent("\n".join(rest or [head])).splitlines()
            yield "```"
        else:
            yield " ".join(line.strip() for line in lines)
        yield ""


def _named(option: click.Option, context: click.Context) -> str:
    names = ", ".join(f"`{each}`" for each in (*option.opts, *option.secondary_opts))
    value = "" if option.is_flag or option.count else option.make_metavar(context)
    return f"{names} {_cell(value)}".rstrip()


def _default(option: click.Option) -> str:
    if not option.show_default or option.default is None:
        return ""
    return f" (default: `{option.default}`)"


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|").replace("<", "&lt;")


# -- the contract --------------------------------------------------------------------------------------------


def contract() -> Iterator[str]:
    """Sections of a record and frames of the line, field by field."""
    yield "# Reference: the contract"
    yield ""
    source = "`protocols/record.toml` and `protocols/link.toml`"
    yield f"{MADE.format(source=source)} Prose and worked frames: [protocols/README.md](../protocols/README.md)."
    yield ""
    for name, title, kinds in (("record", "The record", "sections"), ("link", "The line", "frames")):
        table = tomllib.loads((PROTOCOLS / f"{name}.toml").read_text("utf-8"))
        yield f"## {title}"
        yield ""
        yield from _constants(table.get("constants", {}))
        yield from _kinds(kinds, table[kinds], table["layouts"])
        for layout, declared in table["layouts"].items():
            yield from _layout(layout, declared)
        yield f"### Words of {title.lower()}"
        yield ""
        for enum, declared in table.get("enums", {}).items():
            values = ", ".join(f"{number} {word}" for word, number in declared["values"].items())
            yield f"- **{enum}**: {_cell(declared.get('doc', ''))} {values}."
        yield ""


def _constants(constants: dict[str, Any]) -> Iterator[str]:
    yield "| constant | value | meaning |"
    yield "| --- | --- | --- |"
    for name, each in constants.items():
        yield f"| {name} | {each['value']} | {_cell(each.get('doc', ''))} |"
    yield ""


def _kinds(title: str, kinds: dict[str, Any], layouts: dict[str, Any]) -> Iterator[str]:
    yield f"| {title[:-1]} | tag | layout | |"
    yield "| --- | --- | --- | --- |"
    for name, each in kinds.items():
        layout = each.get("layout", name)
        tag = each.get("tag", each.get("kind", each.get("code")))
        doc = _cell(layouts.get(layout, {}).get("doc", ""))
        yield f"| {name} | {tag:02X}h | {layout} | {doc} |"
    yield ""


def _layout(name: str, declared: dict[str, Any]) -> Iterator[str]:
    size = f" {declared['size']} octets." if "size" in declared else ""
    yield f"### {name}"
    yield ""
    yield f"{_cell(declared.get('doc', ''))}{size}".strip()
    yield ""
    fields = declared.get("fields", [])
    if not fields:
        yield "No fields."
        yield ""
        return
    yield "| field | type | unit | meaning |"
    yield "| --- | --- | --- | --- |"
    for each in fields:
        told = (each["name"], _type(each), each.get("unit", ""), each.get("doc", ""))
        yield f"| {' | '.join(map(_cell, told))} |"
    yield ""


def _type(each: dict[str, Any]) -> str:
    """The type with all that narrows it, in the words of the declaration."""
    told = [str(each["type"])]
    for key, value in each.items():
        if key not in ("name", "type", "unit", "doc"):
            told.append(f"{key} {', '.join(map(str, value)) if isinstance(value, list) else value}")
    return "; ".join(told)


if __name__ == "__main__":
    for path, text in references().items():
        path.write_text(text.rstrip("\n") + "\n", encoding="utf-8")
        print(path)
