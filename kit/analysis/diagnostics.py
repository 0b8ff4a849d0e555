"""Can the model be believed? Residuals in order, the normal plot, and single shots that decide.

Each check gives the coordinates of a picture and one sentence for a person.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from kit.analysis.designed_model import designed_model, measured
from kit.analysis.mixedmodel import MixedModelFit, fit_mixed_model
from kit.analysis.outcomes.families import family_differences
from kit.analysis.sensitivity import designed_differences
from kit.errors import KitError, ModelError
from kit.numerals import say_p
from kit.trial import Outcome, Trial

_LOOKED_AT = 6
"""Shots refitted without: those that move an adjusted mean furthest."""


@dataclass(frozen=True)
class Check:
    """The coordinates of a diagnostic picture and what it says."""

    table: pd.DataFrame
    sentence: str


def residuals_in_order(residuals: pd.DataFrame) -> Check:
    """Standardised residuals in the order pulled, with their running mean of seven.

    Parameters
    ----------
    residuals
        One row a shot in the order pulled: ``shot, session, method, fitted, residual,
        standardised``.

    Returns
    -------
    The table with ``running_mean`` added. The sentence reports the runs test about zero
    (Wald & Wolfowitz 1940, Annals of Mathematical Statistics 11, 147-162; normal approximation).
    """
    ordered = residuals.sort_values("shot", kind="stable").reset_index(drop=True)
    ordered["running_mean"] = ordered["standardised"].rolling(7, center=True, min_periods=3).mean()
    p, runs = runs_test(ordered["standardised"].to_numpy() > 0)
    if np.isnan(p):
        return Check(ordered, "Too few shots lie on both sides of the fit to look for drift.")
    verdict = (
        "residuals come in longer or shorter runs than chance gives; look for drift or a change "
        "at the bench"
        if p < 0.05
        else "no sign that shots near each other in time resemble each other beyond the model"
    )
    return Check(ordered, f"In the order pulled there are {runs} runs ({say_p(p)}): {verdict}.")


def runs_test(above: NDArray[np.bool_]) -> tuple[float, int]:
    """Two-sided p of the number of runs, and that number; NaN with fewer than 5 on a side."""
    n_above, n_below = int(above.sum()), int((~above).sum())
    runs = 1 + int((above[1:] != above[:-1]).sum())
    if min(n_above, n_below) < 5:
        return float("nan"), runs
    n = n_above + n_below
    mean = 1 + 2 * n_above * n_below / n
    variance = (mean - 1) * (mean - 2) / (n - 1)
    return float(2 * stats.norm.sf(abs(runs - mean) / np.sqrt(variance))), runs


def normal_plot(residuals: pd.DataFrame) -> Check:
    """Standardised residuals against normal quantiles (Blom 1958: (i − 3/8)/(n + 1/4)).

    Columns ``shot, method, expected, observed``, from low to high. The sentence reports Shapiro &
    Wilk's test (1965) and the shots beyond three SDs.
    """
    ordered = residuals.sort_values("standardised", kind="stable")
    observed = ordered["standardised"].to_numpy()
    n = len(observed)
    if n < 8:
        raise ModelError(f"{n} shots are too few to judge the shape of their scatter; eight do.")
    table = pd.DataFrame(
        {
            "shot": ordered["shot"].to_numpy(),
            "method": ordered["method"].astype(str).to_numpy(),
            "expected": stats.norm.ppf((np.arange(1, n + 1) - 0.375) / (n + 0.25)),
            "observed": observed,
        }
    )
    p = float(stats.shapiro(observed).pvalue)
    far = table.loc[table["observed"].abs() > 3, "shot"].astype(int).tolist()
    odd = f" Beyond three SDs: shot {', '.join(map(str, far))}." if far else ""
    shape = (
        "the scatter is not quite normal; means are little harmed, and the test for consistency "
        "allows for it"
        if p < 0.05
        else "the scatter looks normal"
    )
    return Check(table, f"Shapiro and Wilk's test gives {say_p(p)}: {shape}.{odd}")


def influence(trial: Trial, study: pd.DataFrame, outcome: Outcome) -> Check:
    """Does one shot decide a verdict? The most influential shots left out, one at a time.

    The shots that move an adjusted mean furthest are found with the variances held (Haslett 1999,
    J. R. Statist. Soc. B 61, 603-609) and the whole model is then refitted without each of them.

    Returns
    -------
    Columns ``shot, method, a, b, estimate, without, verdict, verdict_without``, one row a shot and
    comparison whose verdict changes; empty where none does.
    """
    rows, _ = measured(study, outcome.measure)
    model = designed_model(trial, rows, outcome.measure)
    fit = fit_mixed_model(rows, model.response, model.fixed, list(model.random))
    declared = family_differences(fit, trial, outcome)
    changes: list[pd.DataFrame] = []
    tried = _most_influential(fit)
    for place in tried:
        rest = rows.drop(index=rows.index[place]).reset_index(drop=True)
        try:
            without = designed_differences(trial, rest, outcome)
        except KitError:  # the shot is the only one of its method: nothing to compare without it
            continue
        both = declared.merge(without, on=["a", "b"], suffixes=("", "_without"))
        moved = both[both["verdict"] != both["verdict_without"]]
        shot = rows.iloc[place]
        changes.append(moved.assign(shot=int(shot["shot"]), method=str(shot["method"])))
    columns = ["shot", "method", "a", "b", "estimate", "without", "verdict", "verdict_without"]
    table = pd.concat(changes).rename(columns={"estimate_without": "without"})[columns]
    return Check(table.reset_index(drop=True), _influence_sentence(table, len(tried)))


def _influence_sentence(table: pd.DataFrame, tried: int) -> str:
    if table.empty:
        return f"No verdict hangs on a single shot (the {tried} most influential were left out)."
    first = table.iloc[0]
    pair = f"{first['a']} and {first['b']}" if first["b"] else f"{first['a']}"
    more = table["shot"].nunique() - 1
    others = (
        f" {more} other shot{'s' if more > 1 else ''} can also change a verdict." if more else ""
    )
    return (
        f"Without shot {first['shot']} ({first['method']}) the verdict on {pair} would be "
        f"“{first['verdict_without']}” instead of “{first['verdict']}”.{others}"
    )


def _most_influential(fit: MixedModelFit) -> list[int]:
    """Rows whose removal moves a fitted mean furthest: X(X′V⁻¹X)⁻¹X′V⁻¹e_i (Py)_i / P_ii."""
    variances = fit.variance_components.to_numpy()
    V = np.eye(fit.n) * variances[-1]
    for grouping, variance in zip(fit.random, variances, strict=False):
        V += variance * (grouping.codes[:, None] == grouping.codes[None, :])
    X = fit.fixed.matrix
    inverse = np.linalg.inv(V)
    hat = X @ np.linalg.solve(X.T @ inverse @ X, X.T @ inverse)
    P = inverse @ (np.eye(fit.n) - hat)
    leverage = np.diag(P)
    certain = leverage > 1e-10 * np.diag(inverse)  # else the shot is alone in its cell
    pull = np.where(certain, (P @ fit.y) / np.where(certain, leverage, 1.0), 0.0)
    moved = np.abs(hat * pull).max(axis=0)
    return [int(i) for i in np.argsort(-moved, kind="stable")[: min(_LOOKED_AT, fit.n)]]
