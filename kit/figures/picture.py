"""A picture: how to draw it, what it says in words, and the formats it is saved in."""

from __future__ import annotations

import io
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from kit.errors import PlanError
from kit.figures.style import (
    DARK,
    PAGE,
    PRINT_DOUBLE,
    PRINT_SINGLE,
    STILL_TALL,
    STILL_WIDE,
    Canvas,
)
from kit.files import write_atomically


@dataclass(frozen=True)
class Setting:
    """What all figures of one trial share."""

    methods: tuple[str, ...]
    """Every method in the order in which it was written down: this fixes its colour and marker."""
    headline: str = ""
    """A sentence to stand as title, from the findings; empty: the figure names what it shows."""
    sample: str = ""
    """How many shots or scores the numbers rest on, in words; empty where every row says it."""
    mark: str = ""
    """What must stand on the figure wherever it goes ("Invented example ...")."""
    level: float = 0.95
    """Confidence level of the intervals in the tables."""

    @property
    def percent(self) -> str:
        """The confidence level in words: “95 %”."""
        return f"{100 * self.level:g} %"


@dataclass(frozen=True)
class Picture:
    """One figure: drawn anew for every canvas, with an alternative text made from its numbers."""

    name: str
    alt: str
    draw: Callable[[Canvas], Figure]

    @property
    def figure(self) -> Figure:
        """The figure as it stands on a page."""
        return self.draw(PAGE)


@dataclass(frozen=True)
class Format:
    """One way to save a picture: a canvas, the pixels per inch of a still, the kinds of file."""

    canvas: Canvas
    kinds: tuple[str, ...]
    dpi: int = 200


def _formats() -> dict[str, Format]:
    base = {
        "page": Format(PAGE, ("svg", "png")),
        "print-single": Format(PRINT_SINGLE, ("pdf", "svg")),
        "print-double": Format(PRINT_DOUBLE, ("pdf", "svg")),
        "still-wide": Format(STILL_WIDE, ("png",), 120),
        "still-wide-4k": Format(STILL_WIDE, ("png",), 240),
        "still-tall": Format(STILL_TALL, ("png",), 120),
        "still-tall-4k": Format(STILL_TALL, ("png",), 240),
    }
    every = {}
    for name, form in base.items():
        dark = replace(form, canvas=replace(form.canvas, theme=DARK))
        for suffix, version in (("", form), ("-dark", dark)):
            every[name + suffix] = version
            clear = replace(version.canvas, transparent=True)
            every[f"{name}{suffix}-clear"] = replace(version, canvas=clear)
    return every


FORMATS: dict[str, Format] = _formats()
"""``page``, ``print-single`` (85 mm), ``print-double`` (174 mm), ``still-wide`` (1920 × 1080),
``still-wide-4k`` (3840 × 2160), ``still-tall`` (1080 × 1920), ``still-tall-4k``; each also with
``-dark``, and each of these with ``-clear`` (transparent instead of a card)."""

_SVG_SETTINGS = threading.Lock()  # matplotlib reads the salt of its ids from one global place


def to_svg(figure: Figure, name: str) -> bytes:
    """The figure as SVG; the same figure and name give the same bytes."""
    stream = io.BytesIO()
    with _SVG_SETTINGS, mpl.rc_context({"svg.hashsalt": name, "svg.fonttype": "path"}):
        FigureCanvasSVG(figure).print_svg(stream, metadata={"Date": None, "Creator": None})
    return stream.getvalue()


def to_png(figure: Figure, dpi: int) -> bytes:
    """The figure as PNG at ``dpi`` pixels per inch; transparent where its card is."""
    stream = io.BytesIO()
    figure.set_dpi(dpi)
    FigureCanvasAgg(figure).print_png(stream, metadata={"Software": None})
    return stream.getvalue()


def to_pdf(figure: Figure) -> bytes:
    """The figure as PDF with embedded TrueType outlines and no dates."""
    stream = io.BytesIO()
    undated = {"CreationDate": None, "ModDate": None, "Creator": None, "Producer": None}
    with _SVG_SETTINGS, mpl.rc_context({"pdf.fonttype": 42}):
        FigureCanvasPdf(figure).print_pdf(stream, metadata=undated)
    return stream.getvalue()


def _format(name: str) -> Format:
    if name not in FORMATS:
        plain = ", ".join(one for one in FORMATS if not one.endswith(("-dark", "-clear")))
        raise PlanError(
            f"There is no figure format “{name}”. The formats are {plain}; each also "
            "with “-dark”, “-clear” or “-dark-clear” at its end."
        )
    return FORMATS[name]


def canvas_of(format_name: str) -> Canvas:
    """The canvas of a format.

    Raises
    ------
    PlanError
        If there is no format of that name.
    """
    return _format(format_name).canvas


def save_picture(picture: Picture, folder: Path, format_name: str) -> list[Path]:
    """Draw ``picture`` for a format and write it; returns the files.

    Beside the drawing stands ``<name>.txt``, the alternative text to paste where it is published.

    Raises
    ------
    PlanError
        If there is no format of that name.
    DataError
        If a file cannot be written.
    """
    form = _format(format_name)
    written = []
    for kind in form.kinds:
        figure = picture.draw(form.canvas)
        if kind == "svg":
            content = to_svg(figure, picture.name)
        elif kind == "pdf":
            content = to_pdf(figure)
        else:
            content = to_png(figure, form.dpi)
        path = folder / f"{picture.name}_{format_name}.{kind}"
        written.append(write_atomically(path, content))
    write_atomically(folder / f"{picture.name}.txt", picture.alt + "\n")
    return written
