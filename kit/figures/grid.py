"""A triangle of verdicts: every pair of methods where rows would be too many to read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from kit.figures.layout import Sheet, write_in
from kit.figures.style import Canvas
from kit.figures.verdicts import (
    DIFFERENT,
    SAME,
    UNCLEAR,
    draw_sign_at,
    verdict_remark,
    verdict_sign,
)
from kit.figures.words import text_width, wrap

_KEY_EM = 2.6
_WIDEST_CELL_EM = 5.5
_TALLEST_CELL_EM, _TALLEST_CELL_NARROW_EM = 3.4, 5.2
_NAME_EM = 8.0


def draw_verdict_triangle(
    sheet: Sheet, cells: Mapping[tuple[str, str], tuple[str, str]], methods: Sequence[str]
) -> None:
    """The names stand on the diagonal; below it, the later method against the earlier.

    ``cells`` holds text and verdict for each (earlier method, later method).
    """
    involved = {name for pair in cells for name in pair}
    present = [name for name in methods if name in involved]
    widest = max(text_width(text, sheet.canvas, 1.0, "bold") for text, _ in cells.values())
    drawing = _Cells(sheet, present, widest)
    axes = drawing.axes()
    for (earlier, later), (text, verdict) in cells.items():
        drawing.fill(axes, (present.index(earlier), present.index(later)), text, verdict)
    drawing.name(axes)
    draw_verdict_key(sheet, drawing.bottom_in - 1.3 * sheet.em)


@dataclass(frozen=True)
class _Cells:
    """The sizes of the triangle: one row and one column a method."""

    sheet: Sheet
    names: Sequence[str]
    widest_in: float
    """Width of the widest number at full size."""

    @property
    def width_in(self) -> float:
        """Width of a cell: each name must fit to the right of its row, long ones in part."""
        canvas, em = self.sheet.canvas, self.sheet.em
        widest = _WIDEST_CELL_EM * em
        for place, name in enumerate(self.names[1:], start=1):
            room = min(text_width(name, canvas, 1.0, "bold"), _NAME_EM * em) + 0.6 * em
            widest = min(widest, (self.sheet.width - room) / place)
        return widest

    @property
    def height_in(self) -> float:
        """Height of a cell."""
        em, count = self.sheet.em, len(self.names)
        tallest = _TALLEST_CELL_NARROW_EM if self.sheet.canvas.narrow else _TALLEST_CELL_EM
        return min((self.sheet.height - _KEY_EM * em) / count, tallest * em)

    @property
    def bottom_in(self) -> float:
        """Lower edge of the triangle."""
        return self.sheet.top - self.height_in * len(self.names)

    def axes(self) -> Axes:
        """Axes with cell (column, row) centred at x = column, y = row, rows downwards."""
        count = len(self.names)
        height = self.height_in * count
        axes = self.sheet.axes(self.sheet.left, self.bottom_in, self.width_in * count, height)
        axes.set_xlim(-0.5, count - 0.5)
        axes.set_ylim(count - 0.5, -0.5)
        axes.set_xticks([])
        axes.set_yticks([])
        return axes

    def fill(self, axes: Axes, place: tuple[int, int], text: str, verdict: str) -> None:
        """Sign and number of one pair: side by side where the cell is wide, else stacked."""
        canvas, em = self.sheet.canvas, self.sheet.em
        x, y = place
        sign = verdict_sign(verdict, canvas)
        looks = verdict_remark(verdict).looks(canvas)
        if self.width_in >= 3.6 * em:
            draw_sign_at(axes, canvas, x - 0.5 + 0.7 * em / self.width_in, y, sign)
            at = x - 0.5 + 1.4 * em / self.width_in
            write_in(axes, canvas, at, y, text, size=0.9, va="center_baseline", **looks)
        else:
            size = min(0.85, 0.94 * self.width_in / self.widest_in)
            lift = 0.5 * em / self.height_in
            draw_sign_at(axes, canvas, x, y - lift, sign)
            write_in(axes, canvas, x, y + 1.3 * lift, text, size=size, ha="center", **looks)

    def name(self, axes: Axes) -> None:
        """Each name on the diagonal, running to the right, where no cell is."""
        canvas, em = self.sheet.canvas, self.sheet.em
        for place, name in enumerate(self.names):
            room = self.sheet.width - self.width_in * place - 0.3 * em
            x = place - 0.5 + 0.3 * em / self.width_in
            line = wrap(name, room, canvas, 1.0, "bold", 1)[0]
            write_in(axes, canvas, x, place, line, va="center_baseline", weight="bold")


def draw_verdict_key(sheet: Sheet, y: float) -> None:
    """What the three signs mean, in one line at height ``y`` in inches."""
    canvas: Canvas = sheet.canvas
    em = sheet.em
    axes = sheet.axes(sheet.left, y - 0.6 * em, sheet.width, 1.2 * em)
    axes.set_xlim(0, sheet.width)
    axes.set_ylim(-0.5, 0.5)
    axes.set_xticks([])
    axes.set_yticks([])
    x = 0.6 * em  # half of the widest sign
    for word in (DIFFERENT, f"{SAME} within the SDM", UNCLEAR):
        draw_sign_at(axes, canvas, x, 0, verdict_sign(word, canvas))
        write_in(axes, canvas, x + 0.8 * em, 0, word, va="center_baseline",
                 **verdict_remark(word).looks(canvas))  # fmt: skip
        x += text_width(word, canvas, 1.0, "bold") + 2.4 * em
