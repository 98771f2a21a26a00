"""readoff glyphs: cuts a font out of a screenshot whose text is known."""

from __future__ import annotations

from pathlib import Path

import click

from readoff.cli.common import echo_json, json_option, writing
from readoff.errors import UsageError

_LARGEST_FILE = 64 << 20  # octets; a picture that is read has 12 MB of pixels at most


@click.command()
@click.argument("picture", type=click.Path(path_type=Path, dir_okay=False))
@click.argument("text", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--name", required=True, help="What the set is called; schemas name it so.")
@click.option("--cell", required=True, help="Width and height of a cell in pixels, as 8x16.")
@click.option("--at", default="0,0", show_default=True, help="The pixel where the text begins, as X,Y.")
@click.option(
    "--ink", default="brighter = 127", show_default=True, help="What is ink, written as in a schema."
)
@click.option(
    "--allow",
    type=click.IntRange(0),
    default=0,
    show_default=True,
    help="Pixels in which two samples of one character may differ.",
)
@click.option(
    "--apart",
    type=click.IntRange(1),
    default=1,
    show_default=True,
    help="In how many pixels two characters must differ.",
)
@click.option(
    "--output", type=click.Path(path_type=Path), help="The new file; NAME.glyphs.toml unless told otherwise."
)
@json_option
def glyphs(  # noqa: PLR0913, PLR0917 - one for each option
    picture: Path,
    text: Path,
    name: str,
    cell: str,
    at: str,
    ink: str,
    allow: int,
    apart: int,
    output: Path | None,
    as_json: bool,
) -> None:
    """Cut a font out of a screenshot, for picture schemas.

    PICTURE is the screenshot; TEXT is a file with what stands in it, line by line, in UTF-8.

    \b
    Example:
      readoff glyphs FONT.BMP font.txt --name mine --cell 8x16
    """
    from readoff.readings.picture.cutting import cut_glyphs
    from readoff.readings.picture.decoding import decode
    from readoff.readings.picture.glyphs import GLYPH_FILES
    from readoff.readings.picture.loading import load_sample
    from readoff.readings.picture.page import Region
    from readoff.readings.picture.pixels import pixels

    size, rule = load_sample(cell, ink)
    lines = _text(text).splitlines()
    region = Region(*_pixel(at), max(map(len, lines), default=0), len(lines))
    if not region.columns:
        raise UsageError("there is no text in it", where=str(text))
    found = cut_glyphs(
        decode(_octets(picture)), region, size, rule, lines, name=name, allow=allow, apart=apart
    )
    target = output or Path(f"{name}{GLYPH_FILES}")
    _write(target, found.text())
    off, one, two = found.closest()
    if as_json:
        closest = {"characters": [one, two], "pixels": off}
        echo_json({"path": str(target), "glyphs": len(found.glyphs), "cell": list(size), "closest": closest})
        return
    click.echo(
        f"{target}: {len(found.glyphs)} glyphs of {size[0]}×{size[1]}; the closest, {one!r} and {two!r}, "
        f"differ in {pixels(off)}."
    )


def _octets(path: Path) -> bytes:
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise UsageError("it is too large for a screenshot", where=str(path))
        return path.read_bytes()
    except OSError as error:
        raise UsageError(f"cannot be read ({error.strerror})", where=str(path)) from error


def _text(path: Path) -> str:
    try:
        return _octets(path).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UsageError(f"is not UTF-8 ({error})", where=str(path)) from error


def _pixel(text: str) -> tuple[int, int]:
    x, _, y = text.partition(",")
    if not (x.isdecimal() and y.isdecimal()):
        raise UsageError(f"{text!r} is no pixel", next_step="Write --at X,Y.")
    return int(x), int(y)


def _write(path: Path, text: str) -> None:
    with (
        writing(path, there="Choose another --output."),
        path.open("x", encoding="utf-8", newline="\n") as out,
    ):
        out.write(text)
