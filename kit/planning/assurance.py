"""Assurance: power averaged over what is not known about the noise.

A power figure holds for one SD. The SD itself is known from a few shots at best, so the honest
chance is the average of the power over where the true SD may be (O'Hagan, Stevens & Campbell
2005, Pharmaceutical Statistics 4:187).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import chdtri

from kit.planning import inputs
from kit.planning.chi_average import scale_nodes
from kit.planning.comparisons import Contrast
from kit.planning.power import fewest, two_sided_power

Floats = NDArray[np.float64]

Chance = Callable[[float], float]
"""A chance as a function of the shot SD."""


def assurance(chance_at_sd: Chance, sd: float, df: float) -> float:
    """The chance averaged over the true SD, σ = ``sd``/S with S² a chi-square over ``df``.

    This is the posterior of σ after an estimate ``sd`` on ``df`` degrees of freedom with the
    usual flat prior on log σ (Box & Tiao 1973, section 2.3); ``df`` infinite gives the power.
    """
    inputs.positive(sd, "The shot SD")
    if math.isinf(df):
        return chance_at_sd(sd)
    scale, weight = scale_nodes(inputs.positive(df, "The degrees of freedom of the SD"))
    heavy = weight > 1e-9
    values = np.array([chance_at_sd(sd / s) for s in scale[heavy]])
    return float(values @ weight[heavy] / weight[heavy].sum())


def shots_for_assurance(
    chance_at: Callable[[float, int], float], sd: float, df: float, chance: float = 0.8
) -> int:
    """The fewest shots a method whose assurance reaches ``chance``.

    ``chance_at(sd, shots)`` is the chance to answer the question.
    """
    goal = inputs.target_power(chance)

    def reached(shots: int) -> bool:
        return assurance(lambda true_sd: chance_at(true_sd, shots), sd, df) >= goal

    return fewest(reached, 2, "With the noise so uncertain")


def detected_on_average(contrast: Contrast, df: float, chance: float = 0.8) -> float:
    """The true difference found with ``chance`` when the SD is known from ``df`` only."""
    goal = inputs.target_power(chance)

    def gap(difference: float) -> float:
        def found(factor: float) -> float:
            return float(two_sided_power(difference / factor, contrast))

        return assurance(found, 1.0, df) - goal

    high = contrast.multiplier * contrast.se
    while gap(high) < 0:
        high *= 2
    return float(brentq(gap, 0.0, high, xtol=1e-9 * contrast.se))


def sd_range(sd: float, df: float, level: float = 0.95) -> tuple[float, float]:
    """Where the true SD lies with ``level``, after an estimate on ``df`` degrees of freedom."""
    if math.isinf(df):
        return sd, sd
    tail = (1 - inputs.share(level, "The confidence level")) / 2
    return (
        sd * math.sqrt(df / float(chdtri(df, tail))),
        sd * math.sqrt(df / float(chdtri(df, 1 - tail))),
    )
