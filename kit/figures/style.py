"""How every figure looks: two themes, one palette, one mark for each method.

The twelve method colours were found by a search of our own for colours that stay apart to a
normal eye and under simulated protanopia, deuteranopia and tritanopia (Machado, Oliveira and
Fernandes 2009): any two of the first 2, 4, 7 or all 12 differ by at least 50, 23, 12.5 and 11 in
CIEDE2000, and each has at least 3:1 against card and shade (WCAG 2.2, 1.4.11). Colour is never
the only sign: each method also has a marker and a line style of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

FONT = "DejaVu Sans"
"""Comes with matplotlib, so that a figure has the same bytes on every machine."""


@dataclass(frozen=True)
class Theme:
    """The colours of one ground. ``methods`` are in the order in which methods are written down."""

    name: Literal["light", "dark"]
    card: str
    ink: str
    """Text and what was estimated."""
    muted: str
    """Text of second rank, raw points without a method."""
    hairline: str
    """Grid and separators: decoration, carries no meaning alone."""
    shade: str
    """Fill of every second block and of the band of differences too small to matter."""
    accent: str
    """The one colour that means “look here”."""
    alert: str
    """What was set aside, and what must not be overlooked."""
    methods: tuple[str, ...]


LIGHT = Theme(
    name="light",
    card="#FBFAF7",
    ink="#1D2327",
    muted="#596168",
    hairline="#D8D5CD",
    shade="#ECE9E1",
    accent="#1B6B58",
    alert="#9C3412",
    methods=(
        "#0473F4",
        "#AE7C00",
        "#004315",
        "#6A2D5F",
        "#9D324F",
        "#157467",
        "#5A44A5",
        "#A36CAB",
        "#CD1D41",
        "#5F5A00",
        "#32956C",
        "#1338F5",
    ),
)

DARK = Theme(
    name="dark",
    card="#14191C",
    ink="#F1EFEA",
    muted="#A9B0B5",
    hairline="#394147",
    shade="#22292E",
    accent="#7FCDB6",
    alert="#FFB898",
    methods=(
        "#1B82FC",
        "#FFCC37",
        "#BBFFF2",
        "#9D637B",
        "#D92F40",
        "#17C7A5",
        "#CAB4EE",
        "#B68BB1",
        "#D7747C",
        "#F8ECA8",
        "#ACA949",
        "#D117AB",
    ),
)

MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", "p", ">", "h", "*")
_DASHES: tuple[tuple[float, ...], ...] = (
    (),
    (5, 2),
    (1.2, 1.6),
    (6, 2, 1.2, 2),
    (3, 1.5),
    (8, 2.5),
    (6, 1.5, 1.2, 1.5, 1.2, 1.5),
    (2, 3),
    (10, 2, 3, 2),
    (4, 3),
    (1.2, 3.2),
    (7, 2, 2, 2),
)
# A marker of equal width looks smaller the less area it covers.
_MARKER_GROWTH = {"^": 1.08, "v": 1.08, "<": 1.08, ">": 1.08, "P": 1.1, "X": 1.08, "*": 1.35,
                  "D": 0.86, "s": 0.9, "p": 1.08, "h": 1.05}  # fmt: skip


@dataclass(frozen=True)
class Mark:
    """The signs of one method: colour, marker, and line style, with the marker hollow past 12."""

    color: str
    marker: str
    dashes: tuple[float, ...]
    hollow: bool

    @property
    def growth(self) -> float:
        """Factor on the marker's width that makes all markers look equally large."""
        return _MARKER_GROWTH.get(self.marker, 1.0)

    @property
    def linestyle(self) -> tuple[float, tuple[float, ...] | None]:
        """The line style as matplotlib takes it."""
        return (0, self.dashes or None)


def method_marks(methods: Sequence[str], theme: Theme) -> dict[str, Mark]:
    """The signs of each method; they depend on its place in ``methods`` alone.

    From the 13th method on, colours repeat with a hollow marker of another shape, so that no
    two of up to 40 methods share all their signs.
    """
    count = len(theme.methods)
    return {
        method: Mark(
            color=theme.methods[place % count],
            marker=MARKERS[(place + 3 * (place // count)) % len(MARKERS)],
            dashes=_DASHES[place % len(_DASHES)],
            hollow=place >= count,
        )
        for place, method in enumerate(methods)
    }


@dataclass(frozen=True)
class Canvas:
    """What a figure is drawn on: size in inches, size of the text in points, and theme.

    ``height_in`` None lets the figure grow with its content (a page); a number is kept (a still).
    """

    width_in: float
    height_in: float | None
    font_pt: float
    theme: Theme = LIGHT
    transparent: bool = False

    @property
    def em(self) -> float:
        """Height of the text in inches: the measure of every distance on the figure."""
        return self.font_pt / 72

    @property
    def narrow(self) -> bool:
        """Whether it is a column: names then stand above their rows."""
        return self.width_in / self.em < 40


MM = 1 / 25.4
PAGE = Canvas(width_in=8.0, height_in=None, font_pt=10.5)
"""Notebook and report."""
PHONE = Canvas(width_in=4.6, height_in=None, font_pt=10.5)
"""A report on a phone."""
PRINT_SINGLE = Canvas(width_in=85 * MM, height_in=None, font_pt=7.0)
"""One column of a journal: 85 mm, text 7 pt (common practice, no source)."""
PRINT_DOUBLE = Canvas(width_in=174 * MM, height_in=None, font_pt=8.0)
"""Two columns of a journal: 174 mm, text 8 pt (common practice, no source)."""
STILL_WIDE = Canvas(width_in=16.0, height_in=9.0, font_pt=19.0)
"""16:9: at 1920 × 1080 the text is 32 pixels high."""
STILL_TALL = Canvas(width_in=9.0, height_in=16.0, font_pt=19.0)
"""9:16: at 1080 × 1920 the text is 32 pixels high."""
