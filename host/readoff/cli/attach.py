"""readoff attach: notes and photographs on a configuration or a run, brought, listed, saved, taken back."""

from __future__ import annotations

import getpass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, folder_option, store_options, writing
from readoff.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from readoff.store import Store
    from readoff.store.attachments import Attachment


@click.command()
@click.argument("text", default="")
@click.option("--label", default="", help="The configuration that it belongs to.")
@click.option("--run", default="", metavar="RUN", help="The run that it belongs to: its number or record.")
@click.option(
    "--photo",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A photograph (JPEG, PNG or WebP); where it was taken is left out, as is all else but its points.",
)
@click.option("--by", "person", default="", help="Who attaches it; the login name unless told.")
@click.option(
    "--take-back",
    type=int,
    metavar="NUMBER",
    help="Take an attachment back; TEXT says why. The store keeps both.",
)
@folder_option("--save", "Write the photographs that stand into a folder; with --label or --run, only those.")
@store_options
def attach(
    text: str,
    label: str,
    run: str,
    photo: Path | None,
    person: str,
    take_back: int | None,
    save: Path | None,
    place: Place,
) -> None:
    """Attach a note or a photograph to a configuration or a run; without either, list what is attached.

    A photograph is decoded and written anew, so neither its place nor anything else that its file told is kept.

    \b
    Example:
      readoff attach --label zero-ws --photo jumpers.jpg "J7 closed, J8 open"
    """
    from readoff.store.attachments import attachments
    from readoff.store.attachments import take_back as taken_back

    with place.open_to_look() as store:
        ident = _record(store, run)
        if take_back is not None:
            gone = taken_back(store, take_back, person=person or _login(), text=text, at=datetime.now(UTC))
            _tell(place, [gone], f"Taken back: attachment {gone.number}.")
        elif text or photo is not None:
            kept = _attach(store, (label, ident), text, photo, person or _login())
            _tell(place, [kept], f"Attached: {_told(kept)}")
        else:
            found = attachments(store, label=label, id=ident)
            if save is not None:
                _save(store, found, save)
            _tell(place, found, "\n".join(map(_told, found)) or "Nothing is attached.")


def _record(store: Store, run: str) -> str:
    from readoff.store import find

    return find.run_in_full(store, run).run.id if run else ""


def _attach(store: Store, whose: tuple[str, str], text: str, photo: Path | None, person: str) -> Attachment:
    from readoff.store.attachments import Entry, attachments
    from readoff.store.attachments import attach as attached
    from readoff.store.photographs import MOST_OCTETS, clean

    label, ident = whose
    picture = None
    if photo is not None:
        try:
            with photo.open("rb") as file:
                octets = file.read(MOST_OCTETS + 1)
        except OSError as error:
            raise UsageError(f"the photograph cannot be read ({error.strerror})", where=str(photo)) from error
        picture = clean(octets, str(photo))
    entry = Entry(person=person, label=label, id=ident, text=text, photograph=picture)
    number = attached(store, entry, datetime.now(UTC))
    return next(each for each in attachments(store) if each.number == number)


def _save(store: Store, found: Sequence[Attachment], folder: Path) -> None:
    from readoff.store.attachments import photograph

    with writing(folder, "the photographs"):
        folder.mkdir(parents=True, exist_ok=True)
        for each in found:
            if each.sha256:
                (folder / each.file_name).write_bytes(photograph(store, each.sha256).octets)


def _told(each: Attachment) -> str:
    about = f"run {each.run or each.id}" if each.id else each.label
    shown = f"photograph {each.file_name}, {each.width} × {each.height}" if each.sha256 else ""
    return f"{each.number}. {about}: " + "; ".join(
        filter(None, (each.text, shown, f"{each.person}, {each.at}"))
    )


def _tell(place: Place, found: Sequence[Attachment], text: str) -> None:
    from readoff.cli import looks

    if place.as_json:
        echo_json({"attachments": found})
    else:
        for line in text.splitlines():
            looks.say(line)


def _login() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        raise UsageError("who attaches it is not known", next_step="Say it with --by NAME.") from None
