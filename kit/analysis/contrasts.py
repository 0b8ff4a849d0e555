"""Marginal means and comparisons of a fitted model, with simultaneous intervals.

Every function takes a fit and the name of a factor (or a list of factors for the cells of
their combinations) and returns a tidy table. Differences are ``a − b``; ``p`` is unadjusted
and two-sided, ``p_adjusted``, ``lower`` and ``upper`` are for the family as asked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations, product

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.mixedmodel import KENWARD_ROGER, MixedModelFit, linear_functions
from kit.analysis.moments import Array
from kit.analysis.multiplicity import (
    Adjusted,
    correlation_of,
    dunnett,
    holm,
    holm_p,
    tukey,
    unadjusted,
)
from kit.analysis.referencegrid import mean_rows
from kit.analysis.withbest import against_best
from kit.errors import ModelError

__all__ = [
    "against_best",
    "against_control",
    "all_pairs",
    "equivalence",
    "factorial_effects",
    "marginal_means",
    "planned_contrasts",
]

Factor = str | Sequence[str]


def marginal_means(
    fit: MixedModelFit, factor: Factor, df_method: str = KENWARD_ROGER, level: float = 0.95
) -> pd.DataFrame:
    """Means by level: ``level, estimate, se, df, t, p, lower, upper`` (unadjusted limits).

    Equal weights over the levels of other factors, covariates at their mean.
    """
    labels, rows = mean_rows(fit.fixed, factor)
    table = linear_functions(fit, rows, df_method, level)
    table.insert(0, "level", labels)
    return table


def all_pairs(
    fit: MixedModelFit,
    factor: Factor,
    adjust: str = "tukey",
    df_method: str = KENWARD_ROGER,
    level: float = 0.95,
) -> pd.DataFrame:
    """Every pair of levels: ``a, b`` and the estimate of a − b.

    ``adjust``: ``"tukey"`` (Tukey–Kramer, each pair with its own df), ``"holm"`` (Bonferroni
    limits) or ``"none"``.
    """
    labels, rows = mean_rows(fit.fixed, factor)
    first, second = map(list, zip(*combinations(range(len(labels)), 2), strict=True))
    table = linear_functions(fit, rows[first] - rows[second], df_method, level)
    t, df = table["t"].to_numpy(), table["df"].to_numpy()
    match adjust:
        case "tukey":
            adjusted = tukey(t, df, len(labels), level)
        case "holm":
            adjusted = holm(t, df, level)
        case "none":
            adjusted = unadjusted(t, df, level)
        case _:
            raise _unknown_adjustment(adjust, ("tukey", "holm", "none"))
    return _paired(table, adjusted, [labels[i] for i in first], [labels[i] for i in second])


def against_control(
    fit: MixedModelFit,
    factor: Factor,
    control: str,
    adjust: str = "dunnett",
    df_method: str = KENWARD_ROGER,
    level: float = 0.95,
) -> pd.DataFrame:
    """Every other level against the control: ``a``, ``b`` (the control), estimate of a − b.

    ``adjust``: ``"dunnett"`` (multivariate t, exact for the correlations of this design),
    ``"holm"`` (Bonferroni limits) or ``"none"``.
    """
    labels, rows = mean_rows(fit.fixed, factor)
    at = _position(labels, control)
    others = [i for i in range(len(labels)) if i != at]
    differences = rows[others] - rows[at]
    table = linear_functions(fit, differences, df_method, level)
    t, df = table["t"].to_numpy(), table["df"].to_numpy()
    match adjust:
        case "dunnett":
            covariance = fit.precision(df_method).covariance_of(differences)
            adjusted = dunnett(t, df, correlation_of(covariance), level)
        case "holm":
            adjusted = holm(t, df, level)
        case "none":
            adjusted = unadjusted(t, df, level)
        case _:
            raise _unknown_adjustment(adjust, ("dunnett", "holm", "none"))
    return _paired(table, adjusted, [labels[i] for i in others], [labels[at]] * len(others))


def planned_contrasts(
    fit: MixedModelFit,
    factor: Factor,
    contrasts: Mapping[str, Mapping[str, float]],
    adjust: str = "holm",
    df_method: str = KENWARD_ROGER,
    level: float = 0.95,
) -> pd.DataFrame:
    """Contrasts named beforehand: ``{"paper": {"none": -1, "one": 1}}``; levels not named count 0.

    Returns ``contrast, estimate, …``; ``adjust`` is ``"holm"`` (Bonferroni limits) or
    ``"none"``.

    Raises
    ------
    ModelError
        For an unknown level, no contrast, or coefficients that do not add up to zero.
    """
    labels, rows = mean_rows(fit.fixed, factor)
    if not contrasts:
        raise ModelError("No contrast is named. Give at least one, with its coefficients.")
    weights = np.array([_coefficients(labels, name, c) for name, c in contrasts.items()])
    return _named(fit, weights @ rows, "contrast", list(contrasts), adjust, df_method, level)


def factorial_effects(
    fit: MixedModelFit,
    factors: Sequence[str],
    adjust: str = "none",
    df_method: str = KENWARD_ROGER,
    level: float = 0.95,
) -> pd.DataFrame:
    """Main effects and interactions of two-level factors: ``term, estimate, …``.

    An effect is the mean of the cells with a plus sign less the mean of those with a minus
    sign (Box, Hunter & Hunter 2005, Statistics for Experimenters, chapter 5), a level being
    plus when it is the second of its factor; an interaction of two factors is therefore half
    the difference of the two simple effects. Terms that the model does not hold are left out.

    Raises
    ------
    ModelError
        When a factor has more than two levels.
    """
    for name in factors:
        labels, _ = mean_rows(fit.fixed, name)
        if len(labels) != 2:
            raise ModelError(
                f'"{name}" has {len(labels)} levels; an effect with one number needs exactly two. '
                "Compare its levels in pairs, or read its F test."
            )
    held = [t for t in fit.fixed.terms if set(t.variables) <= set(factors)]
    rows = []
    for term in held:
        _, cells = mean_rows(fit.fixed, term.variables)
        signs = [np.prod(s) for s in product((-1.0, 1.0), repeat=len(term.variables))]
        rows.append(np.array(signs) @ cells / 2 ** (len(term.variables) - 1))
    return _named(fit, np.array(rows), "term", [t.name for t in held], adjust, df_method, level)


def equivalence(
    differences: pd.DataFrame, margin: float, adjust: str = "none", level: float = 0.95
) -> pd.DataFrame:
    """Two one-sided tests of each difference against ±margin (Schuirmann 1987).

    ``differences`` is a table of `all_pairs`, `against_control` or `planned_contrasts`.
    Returns it with ``p`` the larger of the two one-sided p values, ``p_adjusted`` (``adjust``
    ``"holm"`` or ``"none"``), the limits of the interval whose place within ±margin is the
    same test (level 2·level − 1: 90 % for 5 % tests) and ``equivalent``.
    """
    if not (np.isfinite(margin) and margin > 0):
        raise ModelError(f"The margin of equivalence must be a positive number, not {margin}.")
    estimate, se, df = (differences[c].to_numpy() for c in ("estimate", "se", "df"))
    above = stats.t.sf((estimate + margin) / se, df)
    below = stats.t.cdf((estimate - margin) / se, df)
    p = np.maximum(above, below)
    match adjust:
        case "holm":
            p_adjusted = holm_p(p)
        case "none":
            p_adjusted = p
        case _:
            raise _unknown_adjustment(adjust, ("holm", "none"))
    half = stats.t.ppf(level, df) * se
    return differences.assign(
        p=p,
        p_adjusted=p_adjusted,
        lower=estimate - half,
        upper=estimate + half,
        equivalent=p_adjusted <= 1.0 - level,
    )


def _named(
    fit: MixedModelFit,
    rows: Array,
    column: str,
    names: list[str],
    adjust: str,
    df_method: str,
    level: float,
) -> pd.DataFrame:
    table = linear_functions(fit, rows, df_method, level)
    t, df = table["t"].to_numpy(), table["df"].to_numpy()
    match adjust:
        case "holm":
            adjusted = holm(t, df, level)
        case "none":
            adjusted = unadjusted(t, df, level)
        case _:
            raise _unknown_adjustment(adjust, ("holm", "none"))
    table = _with_adjusted(table, adjusted)
    table.insert(0, column, names)
    return table


def _paired(table: pd.DataFrame, adjusted: Adjusted, a: list[str], b: list[str]) -> pd.DataFrame:
    table = _with_adjusted(table, adjusted)
    table.insert(0, "a", a)
    table.insert(1, "b", b)
    return table


def _with_adjusted(table: pd.DataFrame, adjusted: Adjusted) -> pd.DataFrame:
    p, critical = adjusted
    half = critical * table["se"].to_numpy()
    table = table.assign(lower=table["estimate"] - half, upper=table["estimate"] + half)
    table.insert(list(table).index("p") + 1, "p_adjusted", p)
    return table


def _position(labels: list[str], level: str) -> int:
    if str(level) not in labels:
        raise ModelError(f'There is no level "{level}". The levels are: {", ".join(labels)}.')
    return labels.index(str(level))


def _coefficients(labels: list[str], name: str, given: Mapping[str, float]) -> Array:
    weights = np.zeros(len(labels))
    for level, value in given.items():
        weights[_position(labels, level)] = value
    if not np.all(np.isfinite(weights)) or abs(weights.sum()) > 1e-9 * np.abs(weights).max():
        raise ModelError(
            f'The coefficients of the contrast "{name}" must be numbers that add up to zero; '
            f"they add up to {weights.sum():g}. A contrast weighs some means against others."
        )
    if not np.any(weights):
        raise ModelError(f'All coefficients of the contrast "{name}" are zero.')
    return weights


def _unknown_adjustment(given: str, known: Sequence[str]) -> ModelError:
    return ModelError(f'Unknown adjustment "{given}". Use one of: {", ".join(known)}.')
