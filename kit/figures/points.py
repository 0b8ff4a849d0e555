"""Marks of single values and of estimates, and how equal ones are kept from covering each other."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from numpy.typing import ArrayLike

from kit.figures.layout import Sheet
from kit.figures.style import Canvas, Mark


def draw_sign(sheet: Sheet, x: float, y: float, mark: Mark, size_em: float = 0.8) -> None:
    """The marker of a method at a place given in inches."""
    width, height = sheet.figure.get_size_inches()
    theme = sheet.canvas.theme
    sheet.figure.add_artist(
        Line2D(
            [x / width],
            [y / height],
            marker=mark.marker,
            markersize=size_em * sheet.canvas.font_pt * mark.growth,
            markerfacecolor=theme.card if mark.hollow else mark.color,
            markeredgecolor=mark.color,
            markeredgewidth=0.12 * sheet.canvas.font_pt,
            linestyle="none",
        )
    )


def draw_points(
    axes: Axes, canvas: Canvas, x: ArrayLike, y: ArrayLike, mark: Mark, size_em: float = 0.55
) -> None:
    """Raw values of one method: its marker, half as large as an estimate, a thin rim of card."""
    axes.plot(
        x,
        y,
        linestyle="none",
        marker=mark.marker,
        markersize=size_em * canvas.font_pt * mark.growth,
        markerfacecolor=canvas.theme.card if mark.hollow else mark.color,
        markeredgecolor=mark.color if mark.hollow else canvas.theme.card,
        markeredgewidth=0.06 * canvas.font_pt,
        zorder=3,
        clip_on=False,
    )


def draw_interval(
    axes: Axes, canvas: Canvas, y: float, values: tuple[float, float, float], color: str
) -> None:
    """An estimate with its interval (``lower, estimate, upper``) as a line with short ends."""
    lower, estimate, upper = values
    if np.isfinite(lower) and np.isfinite(upper):
        axes.plot(
            [lower, upper],
            [y, y],
            color=color,
            linewidth=0.17 * canvas.font_pt,
            solid_capstyle="butt",
            marker="|",
            markersize=0.7 * canvas.font_pt,
            markeredgewidth=0.17 * canvas.font_pt,
            zorder=4,
            clip_on=False,
        )
    if np.isfinite(estimate):
        axes.plot(
            [estimate],
            [y],
            marker="o",
            linestyle="none",
            markersize=0.72 * canvas.font_pt,
            markerfacecolor=color,
            markeredgecolor=canvas.theme.card,
            markeredgewidth=0.08 * canvas.font_pt,
            zorder=5,
            clip_on=False,
        )


def swarm(values: ArrayLike, dot: float, most: int = 9) -> np.ndarray:
    """Offsets, in dot widths, that keep points of one row from covering each other.

    Parameters
    ----------
    values
        Places along the axis, shape (n,).
    dot
        Width of a dot in the unit of the axis.
    most
        The farthest lane from the middle; beyond it points may touch.
    """
    places = np.asarray(values, dtype=float)
    offsets = np.zeros(places.shape)
    lanes = [0, *(sign * lane for lane in range(1, most + 1) for sign in (1, -1))]
    last: dict[int, float] = {}
    for index in np.argsort(places, kind="stable"):
        free = [lane for lane in lanes if places[index] - last.get(lane, -np.inf) >= dot]
        lane = free[0] if free else min(lanes, key=lambda one: last.get(one, -np.inf))
        last[lane] = places[index]
        offsets[index] = lane
    return offsets


def side_by_side(values: ArrayLike, dot: float, lanes: int) -> np.ndarray:
    """Shifts along the axis that set equal values beside each other where lanes are too few.

    Parameters
    ----------
    values
        Places along the axis, shape (n,).
    dot
        Width of a dot in the unit of the axis.
    lanes
        How many dots of one value stand above each other before a further column begins.
    """
    places = np.asarray(values, dtype=float)
    shifts = np.zeros(places.shape)
    distinct = np.unique(places)
    gap = float(np.diff(distinct).min()) if len(distinct) > 1 else np.inf
    for value in distinct:
        (equal,) = np.nonzero(places == value)
        columns = -(-len(equal) // lanes)
        step = min(dot, 0.8 * gap / columns)
        shifts[equal] = (np.arange(len(equal)) // lanes - (columns - 1) / 2) * step
    return shifts
