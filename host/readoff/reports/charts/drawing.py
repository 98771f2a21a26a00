"""A chart as files: SVG with its letters as text, PNG of 1920 by 1080, and its transparent twin.

The same data gives the same octets: no date, no program's name, fixed names of the drawing's parts. Letters stay
letters (not outlines), so that an SVG can be searched, read aloud and set in the article's own type; a reader without
DejaVu Sans sees a type of much the same widths.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from readoff.reports.charts.colours import CLEAR, PAPER, Look
from readoff.reports.charts.sheet import DPI, FAMILY, GRID

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Types of much the same widths, for a reader who lacks the first.
_FAMILIES = f"'{FAMILY}', Verdana, 'Bitstream Vera Sans', sans-serif"
Draw = Callable[[Look], "Figure"]


@dataclass(frozen=True)
class Drawn:
    """One chart. words: all of it in a sentence, for those who do not see it."""

    name: str
    title: str
    words: str
    svg: str
    png: bytes
    clear: bytes

    @property
    def inline(self) -> str:
        """The SVG as a part of a page: without the declaration, named in words."""
        _, _, body = self.svg.partition("?>\n")
        spaces = r' xmlns(?::\w+)?="[^"]*"'
        head, _, rest = body.partition(">")
        return re.sub(spaces, "", head) + ">" + rest


def drawn(name: str, title: str, words: str, draw: Draw) -> Drawn:
    """Draws a chart in both looks. name: of its files, letters, digits and hyphens."""
    with _settings():
        paper = draw(PAPER)
        svg = _svg(paper, name, words)
        png = _png(paper)
        clear = draw(CLEAR)
        _case(clear, CLEAR)
        return Drawn(name, title, words, svg, png, _png(clear))


@contextmanager
def _settings() -> Iterator[None]:
    """What matplotlib takes from nowhere else than its settings; as they were afterwards."""
    import matplotlib as mpl  # noqa: PLC0415 - costs 0.3 s

    with (
        warnings.catch_warnings(),
        mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "readoff", "path.simplify": False}),
    ):
        # A letter that DejaVu Sans lacks: in an SVG the reader's own type has it, in a picture it is a box.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        yield


def _png(figure: Figure) -> bytes:
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=DPI, facecolor=figure.get_facecolor(), metadata={"Software": None})
    return out.getvalue()


def _svg(figure: Figure, name: str, words: str) -> str:
    out = io.StringIO()
    nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    figure.savefig(out, format="svg", facecolor=figure.get_facecolor(), metadata=nothing)
    text = out.getvalue()
    text = re.sub(r"<!DOCTYPE.*?>\s*", "", text, flags=re.DOTALL)
    text = re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    # Its one rule for all elements would reach into a page that holds the drawing; inherited, it says the same.
    text = re.sub(r"\s*<defs>\s*<style[^>]*>\*\{[^<]*\}</style>\s*</defs>", "", text, count=1)
    text = re.sub(r'\b(id="|url\(#|href="#)', rf"\g<1>{name}-", text)
    text = text.replace(f"'{FAMILY}'", _FAMILIES)
    told = f'role="img" aria-label="{escape(words)}" style="stroke-linejoin: round; stroke-linecap: butt"'
    return re.sub(r"<svg ", f"<svg {told} ", text, count=1)


def _case(figure: Figure, look: Look) -> None:
    """Draws a dark casing around letters, lines and points."""
    from matplotlib.artist import Artist  # noqa: PLC0415
    from matplotlib.collections import Collection  # noqa: PLC0415
    from matplotlib.lines import Line2D  # noqa: PLC0415
    from matplotlib.patches import Rectangle  # noqa: PLC0415
    from matplotlib.patheffects import withStroke  # noqa: PLC0415
    from matplotlib.spines import Spine  # noqa: PLC0415
    from matplotlib.text import Text  # noqa: PLC0415

    def cased(artist: Artist) -> bool:
        return isinstance(artist, Text | Line2D | Collection | Spine) and artist.get_label() != GRID

    for artist in figure.findobj(cased):
        width = 5.0
        if isinstance(artist, Line2D):
            marked = artist.get_marker() not in ("None", None, "", " ")
            width = (artist.get_markeredgewidth() if marked else artist.get_linewidth()) + 4.0
        artist.set_path_effects([withStroke(linewidth=width, foreground=look.casing)])
    for bar in figure.findobj(lambda each: isinstance(each, Rectangle) and each.get_linewidth() > 1):
        bar.set_path_effects([withStroke(linewidth=6, foreground=look.casing)])
