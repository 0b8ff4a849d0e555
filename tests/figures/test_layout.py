"""Nothing on a figure covers anything else, leaves the sheet, or is too small to read."""

from __future__ import annotations

from collections import Counter
from itertools import combinations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from kit.figures.layout import open_sheet
from kit.figures.points import side_by_side, swarm
from kit.figures.style import PAGE, PHONE, STILL_TALL, STILL_WIDE, Canvas
from kit.figures.words import short_names, text_width, wrap
from tests.figures.gallery import NAMES, gallery

DPI = 72
CASES = [(4, PAGE), (7, STILL_WIDE), (12, STILL_TALL)]
IDS = ["4-page", "7-still-wide", "12-still-tall"]


def beyond_the_axis(figure: Figure) -> set[Text]:
    """Tick labels that matplotlib keeps but does not draw."""
    hidden: set[Text] = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in axis.get_major_ticks():
                if not low - 1e-9 <= tick.get_loc() <= high + 1e-9:
                    hidden |= {tick.label1, tick.label2}
    return hidden


def texts(figure: Figure) -> list[tuple[Text, Bbox]]:
    figure.set_dpi(DPI)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    hidden = beyond_the_axis(figure)
    return [
        (text, text.get_window_extent(canvas.get_renderer()))
        for text in figure.findobj(Text)
        if text.get_visible() and text.get_text().strip() and text not in hidden
    ]


@pytest.mark.parametrize(("count", "canvas"), CASES, ids=IDS)
@pytest.mark.parametrize("name", NAMES)
def test_texts_neither_overlap_nor_leave_the_sheet(name: str, count: int, canvas: Canvas):
    figure = gallery(count)[name]().draw(canvas)
    found = texts(figure)
    assert len(found) > 5
    em = canvas.em * DPI
    for (first, a), (second, b) in combinations(found, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        up = min(a.y1, b.y1) - max(a.y0, b.y0)
        # letters have no ink in the outer third of their boxes
        assert across <= 0.15 * em or up <= 0.3 * em, (first.get_text(), second.get_text())
    width, height = figure.get_size_inches() * DPI
    for text, box in found:
        inside = box.x0 >= -1 and box.x1 <= width + 1 and box.y0 >= -1 and box.y1 <= height + 1
        assert inside, text.get_text()
        assert text.get_fontsize() >= 0.6 * canvas.font_pt, text.get_text()


ROWS = ("means", "differences", "spread", "ratios", "faults", "fault differences", "replications")


@pytest.mark.parametrize("name", ROWS)
def test_no_band_or_grid_runs_through_a_name_above_its_row(name: str):
    figure = gallery(4)[name]().draw(STILL_TALL)
    named = [box for text, box in texts(figure) if text.axes is None]
    bands = [
        drawn.get_datalim(axes.transData).transformed(axes.transData)
        for axes in figure.axes
        for drawn in axes.collections
    ]
    lines = [
        line.get_window_extent()
        for axes in figure.axes
        for line in axes.get_xgridlines()
        if line.get_visible()
    ]
    assert len(bands) >= 4
    assert lines == []
    for box, band in product(named, bands):
        assert min(box.y1, band.y1) - max(box.y0, band.y0) <= 0.2 * box.height


@pytest.mark.parametrize("canvas", [PAGE, PHONE, STILL_WIDE, STILL_TALL])
def test_a_verdict_over_seven_methods_is_written_whole(canvas: Canvas):
    """Cut off before its end it would say something else."""
    verdict = (
        "Shot-to-shot spread of extraction: any of Aln, Breamish, Coquet, Derwent, Esk, Font or "
        "Glen may have the lowest; these shots rule none out."
    )
    sheet = open_sheet(canvas, verdict, ["n = 112 shots"], 3.0)
    written = " ".join(
        text.get_text() for text in sheet.figure.texts if text.get_weight() == "bold"
    )
    assert written == verdict


@pytest.mark.parametrize("canvas", [STILL_WIDE, STILL_TALL], ids=["wide", "tall"])
def test_letters_of_a_still_are_as_high_as_subtitles(canvas: Canvas):
    """At 1080 lines the running text is 3 % of the short side, common practice for subtitles
    (no source)."""
    shorter = min(canvas.width_in, canvas.height_in or 0)
    assert canvas.em / shorter >= 0.029


@given(st.text(max_size=80), st.floats(0.3, 6.0))
@settings(max_examples=60, deadline=None)
def test_wrapped_lines_fit_and_lose_nothing(text: str, width_in: float):
    lines = wrap(text, width_in, PAGE)
    widest_sign = max((text_width(sign, PAGE) for sign in "".join(lines)), default=0.0)
    assert all(text_width(line, PAGE) <= max(width_in, widest_sign) + 1e-9 for line in lines)
    kept = "".join(lines).replace(" ", "")
    assert len(kept) == len("".join(text.split()))


@given(st.lists(st.text("abc de", min_size=1, max_size=40), min_size=1, max_size=12, unique=True))
@settings(max_examples=60, deadline=None)
def test_short_names_stay_different(names: list[str]):
    distinct = list({" ".join(name.split()): name for name in names}.values())
    short = short_names(distinct)
    assert len(set(short.values())) == len(distinct)


@given(st.lists(st.floats(-5, 5, allow_nan=False), min_size=1, max_size=60))
@settings(max_examples=60, deadline=None)
def test_no_dot_of_a_swarm_covers_another(values: list[float]):
    """With as many lanes as dots, two dots in one lane are at least a dot apart."""
    dot = 0.1
    lanes = swarm(values, dot, most=60)
    for (x, lane), (other, its_lane) in combinations(zip(values, lanes, strict=True), 2):
        assert lane != its_lane or abs(x - other) >= dot


@given(st.lists(st.integers(1, 9), min_size=1, max_size=60), st.integers(1, 5))
@settings(max_examples=60, deadline=None)
def test_equal_scores_never_share_a_place(scores: list[int], lanes: int):
    """On a scale of whole numbers every score keeps a place of its own, nearest to its number."""
    x = np.array(scores) + side_by_side(scores, 0.1, lanes)
    assert max(Counter(np.round(x, 9)).values()) <= lanes
    if len(set(scores)) > 1:
        assert np.abs(x - scores).max() < 0.5
