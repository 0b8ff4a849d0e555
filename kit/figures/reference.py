"""The chart of the reference shots: did the machine, the grinder or the coffee drift?"""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from kit.figures.layout import name_axis, open_sheet, padded, size_in, value_axis, write_in
from kit.figures.measure import Measure
from kit.figures.picture import Picture, Setting
from kit.figures.style import Canvas
from kit.figures.tables import each, need, say, say_unit
from kit.figures.words import fitting_words, text_width


def reference_chart(chart: pd.DataFrame, measure: Measure, setting: Setting) -> Picture:
    """Reference shots in run order with centre and limits; signals ringed.

    Parameters
    ----------
    chart
        ``shot, session, value, centre, lower, upper, signal``.

    Raises
    ------
    DataError
        If a column is missing or the table is empty.
    """
    need(chart, ("shot", "session", "value", "centre", "lower", "upper", "signal"), "reference")
    ordered = chart.sort_values("shot").reset_index(drop=True)
    first = ordered.iloc[0]
    signals = [str(int(row.shot)) for row in each(ordered) if row.signal]
    tail = f"Outside the limits: shot {', '.join(signals)}." if signals else "None is outside."
    return Picture(
        name=f"reference_{measure.column}",
        alt=f"{measure.label} of {len(ordered)} reference shots in the order pulled. Centre "
        f"{say_unit(say(first['centre'], measure.decimals), measure.unit)}, limits "
        f"{say(first['lower'], measure.decimals)} and {say(first['upper'], measure.decimals)}. "
        f"{tail}",
        draw=partial(_draw, ordered, measure, setting),
    )


def _draw(chart: pd.DataFrame, measure: Measure, setting: Setting, canvas: Canvas) -> Figure:
    theme = canvas.theme
    sheet = open_sheet(
        canvas,
        setting.headline or f"Reference shots: {measure.in_text}",
        [
            f"Every mark is one of {len(chart)} shots of the reference method. Shaded: where they "
            "wander by themselves, 3 SD either side of the centre (SD from successive shots). "
            "Ring: outside it.",
        ],
        17 * canvas.em,
        setting.mark,
    )
    em = sheet.em
    right = sheet.right - text_width("centre", canvas, 0.9) - 0.8 * em
    left, bottom = sheet.left + 3.8 * em, sheet.bottom + 3.2 * em
    axes = sheet.axes(left, bottom, right - left, sheet.top - 1.6 * em - bottom)
    at = np.arange(len(chart))
    axes.set_xlim(-0.6, len(chart) - 0.4)
    low = min(chart["value"].min(), chart["lower"].min())
    high = max(chart["value"].max(), chart["upper"].max())
    axes.set_ylim(*padded(low, high, 0.07))
    value_axis(axes, canvas, measure.axis, "y")
    name_axis(axes, canvas, "Shot, in the order pulled")
    step = max(1, -(-len(chart) // 12))
    axes.set_xticks(at[::step], [f"{int(shot)}" for shot in chart["shot"][::step]])
    axes.axhspan(chart["lower"].iloc[0], chart["upper"].iloc[0], color=theme.shade, linewidth=0)
    axes.axhline(chart["centre"].iloc[0], color=theme.ink, linewidth=0.1 * canvas.font_pt)
    for column, word in (("upper", "limit"), ("centre", "centre"), ("lower", "limit")):
        write_in(axes, canvas, len(chart) - 0.4 + 0.02 * len(chart), chart[column].iloc[0], word,
                 size=0.9, color=theme.muted)  # fmt: skip
    _draw_sessions(axes, canvas, chart, at)
    return sheet.figure


def _draw_sessions(axes: Axes, canvas: Canvas, chart: pd.DataFrame, at: np.ndarray) -> None:
    """The shots of each session, joined; a line between sessions."""
    theme = canvas.theme
    top = axes.get_ylim()[1]
    for number, (name, group) in enumerate(chart.groupby("session", sort=False)):
        places = at[group.index]
        axes.plot(places, group["value"], color=theme.muted, linewidth=0.12 * canvas.font_pt,
                  marker="d", markersize=0.75 * canvas.font_pt, markerfacecolor=theme.ink,
                  markeredgecolor=theme.card, zorder=3)  # fmt: skip
        if number:
            axes.axvline(places[0] - 0.5, color=theme.muted, linewidth=0.07 * canvas.font_pt)
        room = len(places) / len(chart) * size_in(axes)[0]
        words = fitting_words([f"Session {name}", str(name)], room, canvas, 0.92)
        write_in(axes, canvas, places.mean(), top, words, size=0.92, ha="center",
                 va="bottom", color=theme.muted)  # fmt: skip
    signals = chart.index[chart["signal"].astype(bool)]
    axes.plot(at[signals], chart["value"][signals], linestyle="none", marker="o",
              markersize=1.6 * canvas.font_pt, markerfacecolor="none",
              markeredgecolor=theme.alert, markeredgewidth=0.15 * canvas.font_pt)  # fmt: skip
