"""How wide the interval will be that is shown, and how many shots make it narrow enough."""

from __future__ import annotations

import numpy as np
from scipy.special import chdtri

from kit.planning import inputs
from kit.planning.comparisons import Comparison
from kit.planning.power import fewest


def half_width(comparison: Comparison, shots: float) -> float:
    """Half the interval of a difference, at the noise assumed (unit of the outcome).

    The interval is the one the comparison demands: simultaneous for all pairs and for
    comparisons with a control. The SD itself will be estimated, so the width that comes out
    varies about this by :func:`half_width_range`.
    """
    contrast = comparison.contrast(shots)
    return contrast.multiplier * contrast.se


def half_width_range(
    comparison: Comparison, shots: float, chance: float = 0.9
) -> tuple[float, float]:
    """Between which half-widths the interval will fall with ``chance``, as the SD is estimated.

    s/σ is the root of a chi-square over its degrees of freedom.
    """
    contrast = comparison.contrast(shots)
    tail = (1 - inputs.share(chance, "The chance")) / 2
    low, high = (float(np.sqrt(chdtri(contrast.df, p) / contrast.df)) for p in (1 - tail, tail))
    width = contrast.multiplier * contrast.se
    return width * low, width * high


def shots_for_half_width(comparison: Comparison, width: float) -> int:
    """The fewest shots a method whose interval is at most ±``width``."""
    inputs.positive(width, "The half-width wanted")

    def reached(shots: int) -> bool:
        return half_width(comparison, shots) <= width

    return fewest(reached, comparison.fewest_shots, f"An interval of ±{width:g}")
