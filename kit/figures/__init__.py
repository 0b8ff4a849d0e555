"""Figures: one function a figure; each returns a picture that is drawn anew for every canvas.

In the order of the modules: ``style`` (themes, palette, canvases), ``words``, ``layout``,
``points``, ``rows``, ``key`` (the sheet and its parts), ``picture`` (saving), then a module for
each figure.
"""

from __future__ import annotations

from kit.figures.answers import answer_table
from kit.figures.balance import balance_certificate
from kit.figures.between import taste_between_methods
from kit.figures.diagnostics import residual_checks
from kit.figures.differences import differences, fault_differences, spread_ratios
from kit.figures.factorial import factorial_cells
from kit.figures.faults import fault_rates
from kit.figures.luck import luck_gallery
from kit.figures.means import adjusted_means
from kit.figures.measure import Measure, measure_of
from kit.figures.picture import FORMATS, Picture, Setting, save_picture, to_pdf, to_png, to_svg
from kit.figures.power import power_curves
from kit.figures.reference import reference_chart
from kit.figures.replications import replications
from kit.figures.ribbon import trial_ribbon
from kit.figures.running import running_means, running_stills, save_animation
from kit.figures.sensitivity import sensitivity_grid, sensitivity_of_pair
from kit.figures.shots import shots_in_order
from kit.figures.spread import spread
from kit.figures.taste import taste_against, taste_scores

__all__ = [
    "FORMATS",
    "Measure",
    "Picture",
    "Setting",
    "adjusted_means",
    "answer_table",
    "balance_certificate",
    "differences",
    "factorial_cells",
    "fault_differences",
    "fault_rates",
    "luck_gallery",
    "measure_of",
    "power_curves",
    "reference_chart",
    "replications",
    "residual_checks",
    "running_means",
    "running_stills",
    "save_animation",
    "save_picture",
    "sensitivity_grid",
    "sensitivity_of_pair",
    "shots_in_order",
    "spread",
    "spread_ratios",
    "taste_against",
    "taste_between_methods",
    "taste_scores",
    "to_pdf",
    "to_png",
    "to_svg",
    "trial_ribbon",
]
