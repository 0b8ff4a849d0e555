"""Figures: one function a figure; each returns a picture that is drawn anew for every canvas.

In the order of the modules: ``style`` (themes, palette, canvases), ``layout``, ``rows``, ``key``
(the sheet and its parts), ``picture`` (saving), then a module for each figure.
"""

from __future__ import annotations

from kit.figures.differences import differences, fault_differences, spread_ratios
from kit.figures.means import adjusted_means
from kit.figures.measure import Measure, measure_of
from kit.figures.picture import FORMATS, Picture, Setting, save_picture, to_pdf, to_png, to_svg
from kit.figures.shots import shots_in_order
from kit.figures.spread import spread

__all__ = [
    "FORMATS",
    "Measure",
    "Picture",
    "Setting",
    "adjusted_means",
    "differences",
    "fault_differences",
    "measure_of",
    "save_picture",
    "shots_in_order",
    "spread",
    "spread_ratios",
    "to_pdf",
    "to_png",
    "to_svg",
]
