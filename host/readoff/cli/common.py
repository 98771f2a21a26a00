"""What the commands share: their options, the store, the schemas, and how an answer leaves as JSON."""

from __future__ import annotations

import functools
import gc
import json
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, is_dataclass
from decimal import Decimal
from itertools import chain, islice
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Any

import click

from readoff import resources
from readoff.cli.progress import Progress
from readoff.errors import NoStoreYetError, SchemaError, UsageError

if TYPE_CHECKING:
    from readoff.arrivals.intake import TakenResult
    from readoff.readings import Schema
    from readoff.store import Store

DEFAULT_STORE = "readoff.db"
_Command = Callable[..., None]
_CHUNKS = 5000  # pieces of JSON written at once


@dataclass(frozen=True)
class Place:
    """Where a command works: the store's file, the user's folder of schemas, and whether it answers in JSON."""

    store: Path
    schemas: Path | None
    as_json: bool

    @property
    def options(self) -> str:
        """What a further command needs to work at the same place, with a blank before it; "" where it does anyway."""
        named = (("--store", self.store, "READOFF_STORE"), ("--schemas", self.schemas, "READOFF_SCHEMAS"))
        usual = (DEFAULT_STORE, "None")
        return "".join(
            f" {option} {quote(str(path))}"
            for option, path, variable in named
            if str(path) not in usual and os.environ.get(variable) != str(path)
        )

    def open_to_write(self) -> Store:
        """The store, made if there is none. A faulty schema is told before anything is taken."""
        from readoff.store import open_store

        return self._telling(open_store(self.store, load_all_schemas(self.schemas)))

    def open_to_look(self) -> Store:
        """The store as it is, also where it may only be read. Raises NoStoreYetError where there is none.

        Schemas are only read where something that came is not read yet, so a faulty one stands in nobody's way.
        """
        from readoff.store import open_store
        from readoff.store.browse import open_to_read
        from readoff.store.sqlite import writable

        self.need_store()
        schemas = functools.partial(load_all_schemas, self.schemas)
        if self.store.is_file() and not writable(self.store):
            return self._telling(open_to_read(self.store, schemas))
        return self._telling(open_store(self.store, schemas, create=False))

    def need_store(self) -> None:
        """Raises NoStoreYetError, which says how to begin, where there is no store."""
        if not self.store.exists():
            raise NoStoreYetError("there is no store yet", where=str(self.store), next_step=_FIRST_START)

    def _telling(self, store: Store) -> Store:
        """The store, which says on a terminal how far its long work is."""
        store.step = Progress(quiet=self.as_json).count("arrivals")
        return store


@contextmanager
def writing(path: Path, what: str = "", there: str = "") -> Iterator[None]:
    """What fails while a file is written is told as a UsageError. there: what to do where its name is in use."""
    try:
        yield
    except OSError as error:
        if there and isinstance(error, FileExistsError):
            raise UsageError("is there already", where=str(path), next_step=there) from error
        told = f"{what} cannot be written ({error.strerror or error})".lstrip()
        raise UsageError(told, where=str(path)) from error


def margin_option(
    told: str = "The smallest difference that matters. Choose it before you look.",
    default: float | None = 2.0,
) -> Callable[[_Command], _Command]:
    """--margin, in per cent."""
    return click.option(
        "--margin",
        type=click.FloatRange(0, 100, min_open=True, max_open=True),
        default=default,
        show_default=default is not None,
        metavar="PERCENT",
        help=told,
    )


def study_option(told: str) -> Callable[[_Command], _Command]:
    """--study, a study's file."""
    return click.option("--study", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", help=told)


def folder_option(name: str, told: str) -> Callable[[_Command], _Command]:
    """An option that names a folder."""
    return click.option(name, type=click.Path(path_type=Path, file_okay=False), metavar="DIR", help=told)


json_option = click.option("--json", "as_json", is_flag=True, help="Answer in JSON, for programs.")
"""For a command that needs no store, and still answers programs."""


def store_options(command: _Command) -> _Command:
    """Gives a command --store, --schemas and --json; it gets them as one argument, ``place``."""

    @functools.wraps(command)
    def packed(store_path: Path, schemas: Path | None, as_json: bool, **rest: Any) -> None:
        try:
            command(place=Place(store_path, schemas, as_json), **rest)
        except Exception as error:
            from readoff.store.sqlite import tell_damage

            tell_damage(store_path, error)
            raise

    for option in (
        json_option,
        click.option(
            "--schemas",
            type=click.Path(path_type=Path),
            envvar="READOFF_SCHEMAS",
            help="Folder of your own schemas, besides the shipped ones (or READOFF_SCHEMAS).",
        ),
        click.option(
            "--store",
            "store_path",
            type=click.Path(path_type=Path),
            envvar="READOFF_STORE",
            default=DEFAULT_STORE,
            show_default=True,
            help="The store's file (or READOFF_STORE).",
        ),
    ):
        packed = option(packed)
    return packed


def load_all_schemas(folder: Path | None) -> list[Schema]:
    """The shipped schemas and those of the user's folder. Raises SchemaError naming every fault."""
    from readoff.readings import load_schemas

    texts, faults = read_schema_files(own_and_shipped(folder))
    try:
        schemas = load_schemas([(path.name, text) for path, text in texts])
    except SchemaError as error:
        faults += error.faults
    if faults:
        raise SchemaError.of(faults)
    return schemas


def own_and_shipped(folder: Path | None) -> list[Path]:
    """The files of the shipped schemas and glyphs, and those of the user's folder. Raises SchemaError without it."""
    if folder is not None and not folder.is_dir():
        raise SchemaError("there is no such folder of schemas", where=str(folder))
    files = [
        path
        for part in ("readings", "glyphs")
        for path in sorted((resources.protocols() / part).glob("*.toml"))
    ]
    return files + (sorted(folder.glob("*.toml")) if folder is not None else [])


def own_schemas(folder: Path | None) -> dict[str, str]:
    """File name -> text of the user's own schemas. Raises SchemaError."""
    files = sorted(folder.glob("*.toml")) if folder is not None else []
    return {path.name: read_schema_file(path) for path in files}


def read_schema_files(files: Iterable[Path]) -> tuple[list[tuple[Path, str]], list[str]]:
    """(files with their texts, why the others cannot be read)."""
    texts: list[tuple[Path, str]] = []
    faults: list[str] = []
    for path in files:
        try:
            texts.append((path, read_schema_file(path)))
        except SchemaError as error:
            faults.append(error.sentence().rstrip("."))
    return texts, faults


def read_schema_file(path: Path) -> str:
    """The text of a schema's file. Raises SchemaError where it is none."""
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise SchemaError(f"cannot be read ({error.strerror})", where=str(path)) from error
    except UnicodeDecodeError as error:
        line = path.read_bytes()[: error.start].count(b"\n") + 1
        raise SchemaError("not UTF-8; right would be text in UTF-8", where=f"{path}, line {line}") from error


_FIRST_START = """\
Ways to begin:

  readoff demo                  runs the real agent in a test machine, and compares two invented configurations
  readoff take PATH…            brings in records (*.RDO) from a floppy, a card or a share
  readoff watch --folder DIR    takes whatever arrives in a folder or on a line (--port), until you stop it

The first of these makes the store; --store FILE or READOFF_STORE names another."""


def check_move_to(folder: Path | None, sources: Iterable[Path]) -> None:
    """Raises UsageError where files would be moved into a folder that they are taken from."""
    for source in sources if folder is not None else ():
        if folder is not None and folder.resolve().is_relative_to(source.resolve()):
            raise UsageError(
                f"it lies in {source}, from which files are taken",
                where=str(folder),
                next_step="Name a folder outside with --move-to.",
            )


@contextmanager
def making_many() -> Iterator[None]:
    """For work that makes objects by the million, few of them in circles: the collector need not look so often."""
    before = gc.get_threshold()
    gc.set_threshold(100_000, 50, 100)
    try:
        yield
    finally:
        gc.set_threshold(*before)


def echo_json(value: Any) -> None:
    """An answer as JSON, in a stable form: indented, keys in our order, no escapes for letters."""
    chunks = json.JSONEncoder(indent=2, ensure_ascii=False).iterencode(plain(value))
    while some := "".join(islice(chunks, _CHUNKS)):
        click.echo(some, nl=False)
    click.echo()


class Streamed(list[Any]):
    """A list for echo_json whose members are made one at a time, when they are written; once."""

    def __init__(self, members: Iterable[Any]) -> None:
        super().__init__()
        self._members = iter(members)
        self._first = list(islice(self._members, 1))

    def __bool__(self) -> bool:
        return bool(self._first)

    def __iter__(self) -> Iterator[Any]:
        return map(plain, chain(self._first, self._members))


def result_values(result: TakenResult) -> dict[str, Any]:
    """What became of one arrival, for programs."""
    return {
        "arrival": result.arrival,
        "again": result.again,
        "new": [str(each) for each in result.new],
        "known": [str(each) for each in result.known],
        "replaced": [str(each) for each in result.replaced],
        "held": result.held,
    }


def plain(value: Any) -> Any:
    """Dataclasses, decimals and octets as what JSON knows."""
    if is_dataclass(value) and not isinstance(value, type):
        return plain(asdict(value))
    if isinstance(value, dict):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, Streamed):
        return value
    if isinstance(value, list | tuple | set):
        return [plain(each) for each in value]
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, Decimal):
        return format(value, "f")
    return value
