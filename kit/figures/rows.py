"""Rows: names on the left, a shared value axis, remarks on the right.

Most of our figures are of this kind, because long names fit, twelve rows are as legible as two,
and the eye compares along one axis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from kit.figures.layout import Sheet, size_in, value_axis
from kit.figures.points import draw_sign
from kit.figures.style import Canvas, Mark
from kit.figures.words import text_width, wrap

AXIS_FOOT_EM = 3.3
"""Room under a value axis for its tick labels and its name, in ems."""
_COLUMN_GAP_EM = 2.0
REMARK = 0.95
HEAD_EM = 1.5
"""Room of a name that stands above its row, in ems."""


@dataclass(frozen=True)
class Remark:
    """What stands at the right end of a row."""

    text: str
    strong: bool = False
    quiet: bool = False

    def looks(self, canvas: Canvas) -> dict[str, str]:
        """Colour and weight of the remark."""
        theme = canvas.theme
        color = theme.accent if self.strong else theme.muted if self.quiet else theme.ink
        return {"color": color, "weight": "bold" if self.strong else "normal"}


@dataclass(frozen=True)
class RowBlock:
    """One column of rows: ``axes`` has row i (counted over the whole figure) at y = i."""

    axes: Axes
    rows: range
    pitch_in: float
    free_in: float
    """Height of a row that is free for drawing."""

    def share(self, length_in: float) -> float:
        """A length in inches as a share of the distance between two rows."""
        return length_in / self.pitch_in

    @property
    def stacked(self) -> bool:
        """Whether names stand above their rows."""
        return self.free_in < self.pitch_in

    def bands(self) -> list[tuple[float, float]]:
        """Upper and lower end of what is drawn on, in rows: a name above its row is left free."""
        if not self.stacked:
            return [(self.rows.start - 0.5, self.rows.stop - 0.5)]
        half = 0.5 * self.share(self.free_in)
        return [(row - half, row + half) for row in self.rows]


def row_axis(block: RowBlock, canvas: Canvas, label: str) -> None:
    """The value axis of a column of rows, its grid drawn through no name."""
    value_axis(block.axes, canvas, label)
    keep_grid_in_rows(block, canvas)


def keep_grid_in_rows(block: RowBlock, canvas: Canvas) -> None:
    """Where names stand above their rows, the grid is drawn anew inside the rows."""
    if not block.stacked:
        return
    axes = block.axes
    axes.grid(False)
    low, high = axes.get_xlim()
    ticks = [float(tick) for tick in axes.get_xticks() if low <= tick <= high]
    for upper, lower in block.bands():
        axes.vlines(ticks, upper, lower, color=canvas.theme.hairline,
                    linewidth=0.07 * canvas.font_pt, zorder=0)  # fmt: skip


def fitting_columns(canvas: Canvas, count: int) -> int:
    """One column of rows, or two where many rows meet a wide canvas."""
    return 2 if count > 24 and canvas.width_in / canvas.em >= 44 else 1


def rows_height(canvas: Canvas, count: int, wanted_em: float) -> float:
    """Height in inches that ``count`` rows with their axis would like."""
    deep = -(-count // fitting_columns(canvas, count))
    head = HEAD_EM if canvas.narrow else 0.0
    return (deep * (wanted_em + head) + AXIS_FOOT_EM) * canvas.em


def row_blocks(
    sheet: Sheet,
    labels: Sequence[str],
    remarks: Sequence[Remark],
    wanted_em: float,
    marks: Sequence[Mark] = (),
) -> list[RowBlock]:
    """Axes with a row for each label, filled column by column, names and remarks written.

    ``marks`` puts the sign of a method before each name. Rows are at y = 0, 1, 2 ... downwards.
    """
    em = sheet.em
    columns = fitting_columns(sheet.canvas, len(labels))
    per_column = -(-len(labels) // columns)
    gap = _COLUMN_GAP_EM * em
    width = (sheet.width - gap * (columns - 1)) / columns
    room = (sheet.height - AXIS_FOOT_EM * em) / per_column
    stacked = sheet.canvas.narrow and room >= (HEAD_EM + 0.6 * wanted_em) * em
    head = HEAD_EM * em if stacked else 0.0
    grown = room if sheet.canvas.height_in is None else 2.4 * wanted_em * em + head
    pitch = min(room, grown)
    top = sheet.top - 0.45 * (room - pitch) * per_column
    blocks = []
    for place in range(columns):
        rows = range(place * per_column, min((place + 1) * per_column, len(labels)))
        if rows:
            left = sheet.left + place * (width + gap)
            column = _Column(sheet, left, width, top, pitch, rows, head)
            blocks.append(column.filled(labels, remarks, marks))
    return blocks


@dataclass(frozen=True)
class _Column:
    """The place of one column of rows, in inches; ``head`` is the room of a name above its row."""

    sheet: Sheet
    left: float
    width: float
    top: float
    pitch: float
    rows: range
    head: float

    def middle(self, row: int) -> float:
        """Height of the middle of the text of a row."""
        start = self.top - self.pitch * (row - self.rows.start)
        return start - (0.55 * self.head if self.head else 0.5 * self.pitch)

    def filled(
        self, labels: Sequence[str], remarks: Sequence[Remark], marks: Sequence[Mark]
    ) -> RowBlock:
        """Write names, signs and remarks; the axes take the room that is left."""
        em = self.sheet.em
        sign_room = 1.7 * em if marks else 0.0
        remark_room = self._write_remarks(remarks) if remarks else 0.0
        names_room = self._write_names(labels, sign_room, remark_room)
        for row in self.rows if marks else ():
            draw_sign(self.sheet, self.left + 0.6 * em, self.middle(row), marks[row])
        height = self.pitch * len(self.rows)
        start, width = self.left, self.width
        if not self.head:
            start += sign_room + names_room + 0.9 * em
            width -= sign_room + names_room + 0.9 * em + remark_room
        axes = self.sheet.axes(start, self.top - height, width, height)
        shift = self.head / self.pitch / 2  # the row's own middle is below its name
        axes.set_ylim(self.rows.stop - 0.5 - shift, self.rows.start - 0.5 - shift)
        axes.set_yticks([])
        return RowBlock(axes, self.rows, self.pitch, self.pitch - self.head)

    def _write_names(self, labels: Sequence[str], indent: float, taken: float) -> float:
        """The names, wrapped where they are long; returns the room they take."""
        canvas, em = self.sheet.canvas, self.sheet.em
        widest = max(text_width(labels[row], canvas) for row in self.rows) + 0.1 * em
        most = self.width - indent - taken if self.head else 0.36 * self.width
        room = min(widest, most)
        fitting = 1 if self.head else max(1, int(self.pitch / (1.2 * em)))
        for row in self.rows:
            lines = wrap(labels[row], room, canvas, 1.0, "normal", fitting)
            for number, line in enumerate(lines):
                y = self.middle(row) + ((len(lines) - 1) / 2 - number) * 1.18 * em
                self.sheet.write(self.left + indent, y, line, va="center_baseline")
        return room

    def _write_remarks(self, remarks: Sequence[Remark]) -> float:
        """The remarks at the right end; returns the room they take."""
        canvas, em = self.sheet.canvas, self.sheet.em
        looks = {row: remarks[row].looks(canvas) for row in self.rows}
        widest = max(
            text_width(remarks[row].text, canvas, REMARK, looks[row]["weight"]) for row in self.rows
        )
        right = self.left + self.width
        for row in self.rows:
            text = remarks[row].text
            x, side = (right, "right") if self.head else (right - widest, "left")
            self.sheet.write(
                x, self.middle(row), text, REMARK, va="center_baseline", ha=side, **looks[row]
            )
        return widest + 0.9 * em


def data_per_inch(axes: Axes) -> float:
    """Length of one inch along the x axis, in its unit."""
    low, high = axes.get_xlim()
    return float((high - low) / size_in(axes)[0])
