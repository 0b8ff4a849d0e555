"""The likelihood version of consistency: a mixed model with a residual SD for each method.

Stands beside :mod:`kit.analysis.repeatability` as the answer of another method. It is the most
powerful where shots are normal; where they have long tails or lean to one side its false alarms
run to several times the nominal rate (``tests/benchmarks/consistency.py``), whether its p comes
from chi-square or from simulation of normal shots. So it never carries a claim by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.heteroscedastic import fit_variances, layout_of, separable
from kit.analysis.usable import two_methods_or_more, usable_rows
from kit.errors import ModelError

_ROUGHLY = 1e-3
"""Tolerance of the criterion for simulated data: far below what moves a p value."""


@dataclass(frozen=True)
class LikelihoodRatio:
    """REML likelihood-ratio test of equal SDs.

    ``sd``: columns ``method, n, sd``, the REML estimates. ``p``: from chi-square on ``df``.
    ``p_simulated``: from simulated trials of normal shots with equal SDs and the block variances
    estimated here.
    """

    sd: pd.DataFrame
    statistic: float
    df: int
    p: float
    p_simulated: float
    simulations: int


def likelihood_ratio_test(
    table: pd.DataFrame,
    rng: np.random.Generator,
    measure: str = "ey_pct",
    random: Sequence[str] = (),
    simulations: int = 999,
) -> LikelihoodRatio:
    """Compare one SD for all methods with one for each, by REML.

    Raises
    ------
    ModelError
        If a method has fewer than two shots, or a fit does not converge.
    """
    rows = usable_rows(table, measure, ["method", *random])
    methods = two_methods_or_more(rows, "consistency")
    counts = rows["method"].value_counts().reindex(methods)
    if counts.min() < 2:
        raise ModelError(
            f"“{counts.idxmin()}” has one usable shot, so it has no SD. Leave it out to compare "
            "the others."
        )
    if np.ptp(rows[measure].to_numpy()) == 0:
        raise ModelError(f"All shots show the same “{measure}”; there is no spread to compare.")
    kept = separable(rows, random)
    groups = rows["method"].cat.codes.to_numpy().astype(np.intp)
    common, own = (layout_of(rows, part, kept) for part in (groups * 0, groups))
    response = rows[measure].to_numpy()[None]
    null, full = fit_variances(common, response), fit_variances(own, response)
    if not (null.converged.all() and full.converged.all()):
        raise ModelError("The model with an SD for each method does not converge on these shots.")
    statistic = max(float(null.criterion[0] - full.criterion[0]), 0.0)
    noise = rng.standard_normal((simulations, len(rows))) * np.sqrt(null.group_variances[0, 0])
    for columns, variance in zip(common.random_columns, null.random_variances[0], strict=True):
        Z = common.design[:, columns]
        noise += rng.standard_normal((simulations, Z.shape[1])) @ Z.T * np.sqrt(variance)
    under_null = (
        fit_variances(common, noise, _ROUGHLY).criterion
        - fit_variances(own, noise, _ROUGHLY).criterion
    )
    return LikelihoodRatio(
        sd=pd.DataFrame(
            {"method": methods, "n": counts.to_numpy(), "sd": np.sqrt(full.group_variances[0])}
        ),
        statistic=statistic,
        df=len(methods) - 1,
        p=float(stats.chi2.sf(statistic, len(methods) - 1)),
        p_simulated=float((1 + (under_null >= statistic).sum()) / (simulations + 1)),
        simulations=simulations,
    )
