"""Cell means of a factorial: lines that are not parallel show an interaction."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from itertools import product

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from kit.figures.key import KeyEntry, draw_key, key_height
from kit.figures.layout import Sheet, name_axis, open_sheet, padded, value_axis, write_in
from kit.figures.measure import Measure
from kit.figures.picture import Picture, Setting
from kit.figures.points import draw_points, swarm
from kit.figures.style import Canvas, Mark, method_marks
from kit.figures.tables import each, need, say, say_range, say_unit
from kit.trial import Factor


def factorial_cells(
    cells: pd.DataFrame,
    shots: pd.DataFrame,
    factors: Sequence[Factor],
    measure: Measure,
    setting: Setting,
) -> Picture:
    """Mean of each cell with its interval and shots: first factor along the axis, second as lines.

    A third factor, if there is one, makes a panel a level.

    Parameters
    ----------
    cells
        One column a factor, and ``n, estimate, lower, upper``.
    shots
        One column a factor and the column of the measure.
    factors
        Two or three factors with their levels in order.

    Raises
    ------
    DataError
        If a column is missing or a table is empty.
    """
    names = [factor.name for factor in factors]
    need(cells, (*names, "n", "estimate", "lower", "upper"), "factorial")
    need(shots, (*names, measure.column), "factorial")
    parts = [
        f"{', '.join(f'{name} {getattr(row, name)}' for name in names)}: "
        f"{say_unit(say(row.estimate, measure.decimals), measure.unit)} ({setting.percent} "
        f"interval {say_range(row.lower, row.upper, measure.decimals)}; {int(row.n)} shots)"
        for row in each(cells)
    ]
    return Picture(
        name=f"factorial_{measure.column}",
        alt=f"Mean {measure.in_text} of each combination of {', '.join(names)}. "
        f"{'. '.join(parts)}.",
        draw=partial(_draw, cells, shots, tuple(factors), measure, setting),
    )


def _draw(
    cells: pd.DataFrame,
    shots: pd.DataFrame,
    factors: tuple[Factor, ...],
    measure: Measure,
    setting: Setting,
    canvas: Canvas,
) -> Figure:
    second = factors[1]
    marks = method_marks(second.levels, canvas.theme)
    keys = [KeyEntry(f"{second.name}: {level}", marks[level]) for level in second.levels]
    room = key_height(canvas, keys)
    sheet = open_sheet(
        canvas,
        setting.headline or f"{measure.label} by {' and '.join(one.name for one in factors)}",
        [
            "Small marks: single shots. Large marks and lines: mean of the combination with its "
            f"{setting.percent} interval, simultaneous over all combinations. Lines that are not "
            "parallel mean the effects do not simply add up.",
            setting.sample,
        ],
        22 * canvas.em + room,
        setting.mark,
    )
    values = shots[measure.column].dropna()
    limits = padded(
        min(values.min(), cells["lower"].min()), max(values.max(), cells["upper"].max()), 0.05
    )
    for axes, chosen in _panels(sheet, factors, room):
        axes.set_ylim(*limits)
        here, there = _rows_of(cells, chosen), _rows_of(shots, chosen)
        value_axis(axes, canvas, measure.axis, "y")
        name_axis(axes, canvas, factors[0].name)
        axes.set_xticks(range(len(factors[0].levels)), factors[0].levels)
        title = ", ".join(f"{name}: {level}" for name, level in chosen)
        write_in(axes, canvas, (len(factors[0].levels) - 1) / 2, limits[1], title, ha="center",
                 va="bottom", color=canvas.theme.muted)  # fmt: skip
        for place, level in enumerate(second.levels):
            dodge = 0.24 * (place - (len(second.levels) - 1) / 2)
            tables = (here[here[second.name] == level], there[there[second.name] == level])
            names, signs = (factors[0], measure.column), (marks[level], dodge)
            _draw_line(axes, canvas, tables, names, signs)
    draw_key(sheet, keys, sheet.bottom + room)
    return sheet.figure


def _rows_of(table: pd.DataFrame, chosen: list[tuple[str, str]]) -> pd.DataFrame:
    """The rows that have these levels."""
    for name, level in chosen:
        table = table[table[name] == level]
    return table


def _panels(
    sheet: Sheet, factors: tuple[Factor, ...], key_room: float
) -> list[tuple[Axes, list[tuple[str, str]]]]:
    """Axes for each level of the third and later factors, with those levels."""
    others = factors[2:]
    combinations = list(product(*(factor.levels for factor in others)))
    em = sheet.em
    gap = 4.6 * em
    bottom = sheet.bottom + key_room + 3.2 * em
    width = (sheet.width - gap * len(combinations)) / len(combinations)
    panels = []
    for place, levels in enumerate(combinations):
        left = sheet.left + gap + place * (width + gap)
        axes = sheet.axes(left, bottom, width, sheet.top - 1.7 * em - bottom)
        axes.set_xlim(-0.5, len(factors[0].levels) - 0.5)
        panels.append(
            (axes, [(one.name, level) for one, level in zip(others, levels, strict=True)])
        )
    return panels


def _draw_line(
    axes: Axes,
    canvas: Canvas,
    tables: tuple[pd.DataFrame, pd.DataFrame],
    names: tuple[Factor, str],
    signs: tuple[Mark, float],
) -> None:
    """One level of the second factor: its shots, and its means joined by a line.

    ``tables`` are cells and shots, ``names`` the factor along the axis and the column of the
    measure, ``signs`` the mark of the level and how far it stands beside the tick.
    """
    cells, shots = tables
    along, column = names
    mark, dodge = signs
    low, high = axes.get_ylim()
    x, y = [], []
    for place, level in enumerate(along.levels):
        cell = cells[cells[along.name] == level]
        values = shots.loc[shots[along.name] == level, column].dropna().to_numpy(float)
        offsets = swarm(values, 0.022 * (high - low), 3)
        draw_points(axes, canvas, place + dodge + 0.1 + 0.022 * offsets, values, mark, 0.42)
        for row in each(cell):
            x.append(place + dodge)
            y.append(row.estimate)
            axes.plot([x[-1]] * 2, [row.lower, row.upper], color=mark.color,
                      linewidth=0.17 * canvas.font_pt, zorder=4)  # fmt: skip
    axes.plot(x, y, color=mark.color, linewidth=0.17 * canvas.font_pt, linestyle=mark.linestyle,
              zorder=3)  # fmt: skip
    draw_points(axes, canvas, x, y, mark, 1.1)
