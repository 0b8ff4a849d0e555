"""Chances from virtual trials, each with its Monte Carlo error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtr

from kit.errors import PlanError
from kit.planning.simulation import FamilyErrors, Simulation
from kit.planning.virtual import CELL_MARK, Family, cell_means

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Estimate:
    """A chance and its Monte Carlo standard error."""

    chance: float
    mc_error: float


def chance_found(simulation: Simulation, difference: float, family: int = 0) -> Estimate:
    """Chance that a true ``difference`` in one contrast is found, averaged over the family.

    Where the model is exactly true the chance is averaged over everything but one normal
    variable, given which it is known (Rao-Blackwell): the same mean with a fraction of the
    error. Otherwise the findings are counted.
    """
    described, errors = _family(simulation, family)
    if errors.oracle.shape[0]:
        return _mean_of_trials(_smoothed(described, errors, difference))
    found = np.asarray(
        np.abs(errors.error + difference) > described.critical(errors.df) * errors.se
    )
    return _mean_of_trials(found.astype(float))


def simulated_curve(
    simulation: Simulation, differences: Sequence[float], family: int = 0
) -> pd.DataFrame:
    """The power curve from one run: columns ``comparison, difference, chance, mc_error``."""
    described, _ = _family(simulation, family)
    rows = []
    for difference in differences:
        found = chance_found(simulation, difference, family)
        rows.append((described.words, difference, found.chance, found.mc_error))
    return pd.DataFrame(rows, columns=["comparison", "difference", "chance", "mc_error"])


def false_alarms(simulation: Simulation, family: int = 0) -> Estimate:
    """Chance that anything at all in the family is found when nothing is there."""
    described, errors = _family(simulation, family)
    return _in_any(_as_found(described, errors, 0.0))


def headlines(simulation: Simulation, smallest_difference: float) -> pd.DataFrame:
    """How often each headline would appear in these trials, and how often it would be wrong.

    Columns ``headline, appears, appears_error, wrong, wrong_error``: shares of all trials.
    ``wrong`` counts trials in which at least one such headline was false under the truth.
    Differences are judged by the family of the primary outcome; the naive headlines go by the
    averages alone.
    """
    described, errors = _family(simulation, 0)
    true = described.rows @ cell_means(simulation.plan, simulation.truth)
    estimate = errors.error + true[:, None]
    reach = described.critical(errors.df) * errors.se
    inside = (np.abs(estimate) + reach) < smallest_difference
    differ = (np.abs(estimate) > reach) & ~inside
    right_way = np.sign(estimate) == np.sign(true[:, None])
    averages, means = _method_averages(simulation)
    top = averages.argmax(axis=0)
    is_best = np.isclose(means[top], means.max()) & (np.isclose(means, means.max()).sum() == 1)
    gap = np.ptp(averages, axis=0) >= smallest_difference
    gap_true = np.ptp(means) >= smallest_difference
    every = np.ones_like(is_best)
    return pd.DataFrame(
        [
            _headline("“These two differ”", differ, differ & ~right_way),
            _headline(
                "“These two are the same within the smallest difference that matters”",
                inside,
                inside & (np.abs(true[:, None]) >= smallest_difference),
            ),
            _headline(
                "“The highest average is the best method” (no test)", every[None], ~is_best[None]
            ),
            _headline(
                "“Best and worst average differ by more than matters” (no test)",
                gap[None],
                (gap & (not gap_true))[None],
            ),
        ]
    )


def _method_averages(simulation: Simulation) -> tuple[Floats, Floats]:
    """Average of each method in each trial (k, T), and its true mean (k,)."""
    names = [cell.split(CELL_MARK)[0] for cell in simulation.plan.layout.methods]
    methods = list(dict.fromkeys(names))
    share = np.array([[name == method for name in names] for method in methods], dtype=float)
    share /= share.sum(axis=1, keepdims=True)
    means = share @ cell_means(simulation.plan, simulation.truth)[: len(names)]
    return share @ simulation.cell_errors + means[:, None], means


def _headline(words: str, appears: Bools, wrong: Bools) -> dict[str, object]:
    shown, false = _in_any(appears), _in_any(wrong)
    return {
        "headline": words,
        "appears": shown.chance,
        "appears_error": shown.mc_error,
        "wrong": false.chance,
        "wrong_error": false.mc_error,
    }


def _as_found(family: Family, errors: FamilyErrors, difference: float) -> Bools:
    """Which contrasts (C, T) pass their critical value when all are truly ``difference``."""
    reach = family.critical(errors.df) * errors.se
    return np.asarray(np.abs(errors.error + difference) > reach)


def _in_any(found: Bools) -> Estimate:
    """Share of trials in which at least one contrast was found."""
    return _mean_of_trials(np.asarray(found.max(axis=0), dtype=float)[None])


def _smoothed(family: Family, errors: FamilyErrors, difference: float) -> Floats:
    """P(found) in each trial, given all but the oracle's error, which is N(0, oracle_se²)."""
    reach = family.critical(errors.df) * errors.se
    shift = difference + errors.error - errors.oracle
    with np.errstate(invalid="ignore"):
        above = ndtr((shift - reach) / errors.oracle_se)
        below = ndtr((-shift - reach) / errors.oracle_se)
    return np.asarray(above + below)


def _family(simulation: Simulation, number: int) -> tuple[Family, FamilyErrors]:
    families = simulation.plan.families
    if not 0 <= number < len(families):
        listed = ", ".join(f"{i} ({family.words})" for i, family in enumerate(families))
        raise PlanError(f"There is no family {number} of comparisons. There are: {listed}.")
    return families[number], simulation.errors[number]


def _mean_of_trials(values: Floats) -> Estimate:
    """Mean over contrasts (rows) and trials; the error from the scatter between trials."""
    each = values.mean(axis=0)
    error = float(each.std(ddof=1) / np.sqrt(each.size)) if each.size > 1 else float("nan")
    return Estimate(float(each.mean()), error)
