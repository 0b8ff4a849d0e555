"""The sheet a figure is drawn on: title above, notes below, and the free box between them.

All distances are in inches or in ems (the height of the text), so that one drawing serves a
journal column and a video still.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from kit.figures.style import FONT, Canvas
from kit.figures.words import clean, wrap

TITLE_SIZES = (1.5, 1.32, 1.16)
"""A long title is written smaller before it is cut."""
NOTE = 0.92
LEADING = 1.28


@dataclass(frozen=True)
class Sheet:
    """A figure with its free box (``left``, ``right``, ``bottom``, ``top`` in inches)."""

    figure: Figure
    canvas: Canvas
    left: float
    right: float
    bottom: float
    top: float

    @property
    def em(self) -> float:
        """Height of the text in inches."""
        return self.canvas.em

    @property
    def width(self) -> float:
        """Width of the free box in inches."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Height of the free box in inches."""
        return self.top - self.bottom

    def axes(self, left: float, bottom: float, width: float, height: float) -> Axes:
        """Axes at a place given in inches, without frame or ticks."""
        total_width, total_height = self.figure.get_size_inches()
        axes = self.figure.add_axes(
            (left / total_width, bottom / total_height, width / total_width, height / total_height)
        )
        axes.set_facecolor("none")
        for spine in axes.spines.values():
            spine.set_visible(False)
        axes.tick_params(
            length=0,
            pad=0.45 * self.canvas.font_pt,
            labelsize=self.canvas.font_pt,
            labelcolor=self.canvas.theme.muted,
            labelfontfamily=FONT,
        )
        return axes

    def write(self, x: float, y: float, text: str, size: float = 1.0, **looks: Any) -> None:
        """One line of text at a place given in inches (its baseline, unless ``va`` says else)."""
        total_width, total_height = self.figure.get_size_inches()
        settings = {"color": self.canvas.theme.ink, "va": "baseline", **looks}
        self.figure.text(
            x / total_width,
            y / total_height,
            clean(text),
            fontsize=self.canvas.font_pt * size,
            fontfamily=FONT,
            parse_math=False,
            **settings,
        )


def write_in(axes: Axes, canvas: Canvas, x: float, y: float, text: str, **looks: Any) -> Any:
    """One line of text at data coordinates of ``axes``; ``size`` is a factor."""
    size = looks.pop("size", 1.0)
    settings = {"color": canvas.theme.ink, "va": "center", **looks}
    return axes.text(
        x,
        y,
        clean(text),
        fontsize=canvas.font_pt * size,
        fontfamily=FONT,
        parse_math=False,
        **settings,
    )


def open_sheet(
    canvas: Canvas, title: str, notes: list[str], content_in: float, mark: str = ""
) -> Sheet:
    """A sheet with its title and notes written, ready to be drawn on.

    Parameters
    ----------
    canvas
        Its height, where fixed, wins over ``content_in``.
    title
        What is shown, or the headline.
    notes
        How to read it: n, unit, what the whiskers mean. Each starts a new line.
    content_in
        Height in inches that the drawing itself would like.
    mark
        What must stand on the figure wherever it goes ("Invented example"); empty: nothing.
    """
    em = canvas.em
    margin = 1.6 * em if canvas.height_in is None else 2.6 * em
    width = canvas.width_in - 2 * margin
    size, title_lines = _fitted_title(title, width, canvas)
    note_lines = [line for note in notes if note for line in wrap(note, width, canvas, NOTE)]
    mark_lines = wrap(mark, width, canvas, NOTE, "bold") if mark else []
    head = len(title_lines) * LEADING * size * em + 0.9 * em
    foot = (len(note_lines) + len(mark_lines)) * LEADING * NOTE * em + 0.5 * em
    height = canvas.height_in or content_in + head + foot + 2 * margin
    figure = Figure(figsize=(canvas.width_in, height), facecolor=canvas.theme.card)
    if canvas.transparent:
        figure.patch.set_alpha(0.0)
    sheet = Sheet(
        figure, canvas, margin, canvas.width_in - margin, margin + foot, height - margin - head
    )
    y = height - margin
    for line in title_lines:
        y -= LEADING * size * em
        sheet.write(margin, y + 0.35 * size * em, line, size, weight="bold")
    y = margin + foot - 0.5 * em
    for line, weight in [(line, "normal") for line in note_lines] + [
        (line, "bold") for line in mark_lines
    ]:
        y -= LEADING * NOTE * em
        color = canvas.theme.muted if weight == "normal" else canvas.theme.alert
        sheet.write(margin, y + 0.3 * em, line, NOTE, color=color, weight=weight)
    return sheet


def _fitted_title(title: str, width_in: float, canvas: Canvas) -> tuple[float, list[str]]:
    """Size and lines of the title: the largest size at which the whole of it fits."""
    most = 5 if canvas.narrow else 3
    for size in TITLE_SIZES:
        lines = wrap(title, width_in, canvas, size, "bold")
        if len(lines) <= most:
            return size, lines
    size = TITLE_SIZES[-1]
    return size, wrap(title, width_in, canvas, size, "bold", most)


def value_axis(axes: Axes, canvas: Canvas, label: str, which: str = "x") -> None:
    """A linear value axis: a few ticks at round numbers, a faint grid, its name and unit."""
    axis = axes.xaxis if which == "x" else axes.yaxis
    axis.set_major_locator(MaxNLocator(most_ticks(axes, canvas, which), steps=[1, 2, 2.5, 5, 10]))
    axis.set_major_formatter(FuncFormatter(say_tick))
    name_axis(axes, canvas, label, which)
    grid_color, width = canvas.theme.hairline, 0.07 * canvas.font_pt
    axes.grid(axis="x" if which == "x" else "y", color=grid_color, linewidth=width, zorder=0)
    axes.set_axisbelow(True)


def most_ticks(axes: Axes, canvas: Canvas, which: str = "x") -> int:
    """How many tick labels have room: at most six, at least two."""
    width, height = size_in(axes)
    room = width / 4.4 if which == "x" else height / 2.6
    return int(min(6, max(2, room / canvas.em)))


def size_in(axes: Axes) -> tuple[float, float]:
    """Width and height of ``axes`` in inches."""
    width, height = cast(Figure, axes.figure).get_size_inches()
    box = axes.get_position()
    return float(box.width * width), float(box.height * height)


def say_tick(value: float, _: int | None = None) -> str:
    """A tick label: as many digits as it needs, a true minus sign."""
    return f"{round(value, 10) + 0.0:g}".replace("-", "−")


def name_axis(axes: Axes, canvas: Canvas, label: str, which: str = "x") -> None:
    """The name of an axis, in the quiet colour."""
    setter = axes.set_xlabel if which == "x" else axes.set_ylabel
    setter(
        clean(label),
        fontsize=canvas.font_pt,
        color=canvas.theme.muted,
        fontfamily=FONT,
        labelpad=0.5 * canvas.font_pt,
        parse_math=False,
    )


def padded(low: float, high: float, share: float = 0.04) -> tuple[float, float]:
    """Limits a little wider than the data, and never of zero width."""
    room = (high - low) * share or abs(high) * share or 1.0
    return low - room, high + room
