"""Colours of the charts, and the contrast between two of them.

Series come from the eight-colour palette of M. Okabe and K. Ito, "Color Universal Design" (2002, revised 2008), made to
be told apart with every common kind of colour vision. On a light ground only those of its colours are used that stand
off it by 3 to 1 (WCAG 2.2, 1.4.11); on dark, those that stand off dark. A series never has only its colour: it has a
marker of its own, and its name beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

BLACK, ORANGE, SKY, GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
YELLOW, BLUE, VERMILION, PURPLE = "#F0E442", "#0072B2", "#D55E00", "#CC79A7"
"""The palette as published."""

MARKERS = ("o", "s", "^", "D", "v", "P")


@dataclass(frozen=True)
class Look:
    """One of the two looks. ground: None for a transparent one; casing: what is drawn around everything then."""

    ground: str | None
    ink: str
    weak: str
    rule: str
    band: str
    accent: str
    series: tuple[str, ...]
    casing: str | None = None

    def colour(self, at: int) -> str:
        """Of the series with this number, from 0."""
        return self.series[at % len(self.series)]

    def marker(self, at: int) -> str:
        """Of the series with this number; with the colours, thirty differ."""
        return MARKERS[at % len(MARKERS)]


# The bench page's paper, ink and margin line (page/look/page.css).
PAPER = Look(
    ground="#fffdf7",
    ink="#1c2527",
    weak="#55605f",
    rule="#c9c2b0",
    band="#ece6d6",
    accent="#b4472f",
    series=(BLUE, VERMILION, GREEN, PURPLE, BLACK),
)
# For video: white with a dark casing, so that it stands off any picture behind it, light or dark.
CLEAR = Look(
    ground=None,
    ink="#ffffff",
    weak="#ffffff",
    rule="#8a9494",
    band="#8a949480",
    accent=ORANGE,
    series=(SKY, ORANGE, YELLOW, PURPLE, "#ffffff"),
    casing="#101719",
)


def contrast(one: str, two: str) -> float:
    """Contrast of two colours "#rrggbb", 1 to 21, by WCAG 2.2 ("contrast ratio", "relative luminance")."""
    dark, light = sorted((_luminance(one), _luminance(two)))
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
