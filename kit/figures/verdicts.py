"""How a difference and its verdict are drawn, wherever they appear.

Three verdicts, each with a sign of its own, so that none rests on colour: different (filled
diamond, accent), same within the SDM (open square), cannot tell (open circle, grey).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from kit.figures.layout import Sheet, name_axis, padded, say_tick
from kit.figures.rows import Remark, RowBlock, keep_grid_in_rows, row_axis, row_blocks
from kit.figures.style import Canvas

ROW_EM = 2.1
DIFFERENT, SAME, UNCLEAR = "different", "same", "cannot tell"


def verdict_kind(verdict: str) -> str:
    """Which of the three verdicts a wording stands for; unknown words cannot tell."""
    lowered = str(verdict).strip().lower()
    return next((kind for kind in (DIFFERENT, SAME) if lowered.startswith(kind)), UNCLEAR)


@dataclass(frozen=True)
class Sign:
    """Marker, colour and fill of a verdict."""

    marker: str
    color: str
    filled: bool
    growth: float = 1.0


def verdict_sign(verdict: str, canvas: Canvas) -> Sign:
    """The sign of a verdict on this canvas."""
    theme = canvas.theme
    return {
        DIFFERENT: Sign("D", theme.accent, filled=True),
        SAME: Sign("s", theme.ink, filled=False),
        UNCLEAR: Sign("o", theme.muted, filled=False),
    }[verdict_kind(verdict)]


def verdict_remark(verdict: str) -> Remark:
    """The verdict in words, for the right end of a row."""
    kind = verdict_kind(verdict)
    return Remark(str(verdict), strong=kind == DIFFERENT, quiet=kind == UNCLEAR)


@dataclass(frozen=True)
class Margin:
    """The band of differences too small to matter around the value of no difference."""

    low: float
    neutral: float
    high: float


def difference_margin(sdm: float) -> Margin:
    """The band of a difference: −SDM to +SDM."""
    return Margin(-sdm, 0.0, sdm)


def ratio_margin(sdm: float) -> Margin:
    """The band of a ratio: 1/SDM to SDM."""
    return Margin(1 / sdm, 1.0, sdm)


def draw_band(block: RowBlock, canvas: Canvas, margin: Margin) -> None:
    """The band and the line of no difference, never through a name."""
    theme, axes = canvas.theme, block.axes
    for upper, lower in block.bands():
        axes.fill_betweenx([upper, lower], margin.low, margin.high, color=theme.shade, zorder=0,
                           linewidth=0)  # fmt: skip
        axes.vlines([margin.low, margin.high], upper, lower, color=theme.muted,
                    linewidth=0.06 * canvas.font_pt, linestyle=(0, (3, 2)), zorder=1)  # fmt: skip
        axes.vlines([margin.neutral], upper, lower, color=theme.ink,
                    linewidth=0.1 * canvas.font_pt, zorder=1)  # fmt: skip


def draw_estimate(
    axes: Axes, canvas: Canvas, y: float, values: tuple[float, float, float], verdict: str
) -> None:
    """An interval (``lower, estimate, upper``) with the sign of its verdict on it."""
    lower, estimate, upper = values
    sign = verdict_sign(verdict, canvas)
    low, high = sorted(axes.get_xlim())
    ends = np.clip([lower, upper], low, high)  # an endless interval ends at the edge
    if np.isfinite(ends).all():
        axes.plot(
            ends,
            [y, y],
            color=sign.color,
            linewidth=(0.22 if sign.filled else 0.15) * canvas.font_pt,
            solid_capstyle="butt",
            zorder=3,
        )
    if np.isfinite(estimate):
        draw_sign_at(axes, canvas, estimate, y, sign)


def draw_sign_at(axes: Axes, canvas: Canvas, x: float, y: float, sign: Sign) -> None:
    """The sign of a verdict at data coordinates."""
    draw_signs(axes, canvas, [x], [y], sign)


def draw_signs(
    axes: Axes, canvas: Canvas, x: Sequence[float], y: Sequence[float], sign: Sign
) -> None:
    """The same sign at several places."""
    axes.plot(
        x,
        y,
        linestyle="none",
        marker=sign.marker,
        markersize=0.66 * canvas.font_pt * sign.growth,
        markerfacecolor=sign.color if sign.filled else canvas.theme.card,
        markeredgecolor=sign.color,
        markeredgewidth=0.13 * canvas.font_pt,
        zorder=4,
    )


def draw_verdict_rows(
    sheet: Sheet, table: pd.DataFrame, labels: Sequence[str], margin: Margin, axis_label: str
) -> list[Axes]:
    """A row for each line of ``table`` (``estimate, lower, upper, verdict``); returns the axes.

    A margin around 1 is a ratio and gets a logarithmic axis, on which a/b and b/a are mirrored.
    """
    canvas = sheet.canvas
    remarks = [verdict_remark(verdict) for verdict in table["verdict"]]
    ends = table[["estimate", "lower", "upper"]].replace([np.inf, -np.inf], np.nan)
    low, high = min(ends.min().min(), margin.low), max(ends.max().max(), margin.high)
    every = []
    for block in row_blocks(sheet, labels, remarks, ROW_EM):
        axes = block.axes
        if margin.neutral == 1.0:
            ratio_axis(axes, canvas, (low, high), axis_label)
            keep_grid_in_rows(block, canvas)
        else:
            axes.set_xlim(*padded(low, high))
            row_axis(block, canvas, axis_label)
        draw_band(block, canvas, margin)
        for row in block.rows:
            entry = table.iloc[row]
            values = (entry["lower"], entry["estimate"], entry["upper"])
            draw_estimate(axes, canvas, row, values, entry["verdict"])
        every.append(axes)
    return every


_RATIO_TICKS = (0.05, 0.1, 0.2, 0.33, 0.5, 0.67, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0, 20.0)


def ratio_axis(axes: Axes, canvas: Canvas, ends: tuple[float, float], label: str) -> None:
    """A logarithmic value axis with ticks people can read: 0.5, 1, 2."""
    low, high = max(ends[0], 0.02) / 1.06, min(ends[1], 50.0) * 1.06
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    ticks = [tick for tick in _RATIO_TICKS if low <= tick <= high]
    if len(ticks) > 7:
        ticks = [tick for tick in ticks if tick in (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)]
    name_axis(axes, canvas, label)
    axes.grid(axis="x", color=canvas.theme.hairline, linewidth=0.07 * canvas.font_pt, zorder=0)
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(say_tick))
