"""Ordered scores: a cumulative-logit model with a random intercept for each taster.

logit P(score ≤ j | taster) = θ_j − x′β − σ z,  z ~ N(0, 1) for each taster: a positive β means
higher scores. Where the linear score model leans on equal steps of the scale, this one leans only
on their order; agreement of the two is worth more than either.

The integral over a taster's z is a trapezoid sum over (−7, 7): for smooth densities that fall to
nothing at both ends its error falls faster than any power of the step (Trefethen & Weideman 2014,
SIAM Review 56, 385–458), and it needs no mode to be found.

Source: Agresti (2010), Analysis of Ordinal Categorical Data, sections 3.2 and 10.1; Hedeker &
Gibbons (1994), Biometrics 50, 933–944.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import optimize, special, stats

from kit.analysis.heteroscedastic import indicators
from kit.analysis.multiplicity import holm_p
from kit.analysis.usable import pair_positions, usable_rows
from kit.errors import ModelError

Array = NDArray[np.floating]
_NODES = np.linspace(-7, 7, 141)
_LOG_WEIGHTS = stats.norm.logpdf(_NODES) + np.log(_NODES[1] - _NODES[0])
_UNBOUNDED = 20.0
"""A standard error of a log odds beyond this: the likelihood is flat out there."""


@dataclass(frozen=True)
class OrdinalFit:
    """A fitted cumulative-logit model.

    ``thresholds``: columns ``between, estimate, se``. ``effects``: ``term, estimate, se, z, p``;
    log odds of a higher score against the first level of each column. ``covariance``: of the
    effects. ``taster_sd``: SD of the tasters on the logit scale. ``levels``: of each fixed column.
    """

    thresholds: pd.DataFrame
    effects: pd.DataFrame
    covariance: Array
    taster_sd: float
    log_likelihood: float
    tasters: int
    n: int
    levels: dict[str, tuple[str, ...]]


def fit_ordinal(
    table: pd.DataFrame,
    response: str = "score",
    fixed: Sequence[str] = ("method",),
    taster: str = "taster",
) -> OrdinalFit:
    """Fit the model by maximum likelihood.

    Parameters
    ----------
    table
        One row a score; ``fixed`` are columns of labels (main effects).

    Raises
    ------
    ModelError
        If all scores are equal, or a method only ever got the lowest or the highest score, so
        that its effect has no finite estimate.
    """
    rows = usable_rows(table, response, [*fixed, taster])
    scores, category = np.unique(rows[response].to_numpy(), return_inverse=True)
    if len(scores) < 2:
        raise ModelError(
            f"Every “{response}” is {scores[0]:g}; equal scores cannot be compared. "
            "Use a finer scale, or cups that differ more."
        )
    design = np.hstack([indicators(rows[name])[:, 1:] for name in fixed])
    likelihood = _Likelihood(category, design, rows[taster].cat.codes.to_numpy(), len(scores))
    found = optimize.minimize(
        likelihood.value, likelihood.start(), jac=True, method="BFGS", options={"gtol": 1e-7}
    )
    levels = {name: tuple(map(str, rows[name].cat.categories)) for name in fixed}
    return _as_fit(found.x, likelihood, scores, levels)


def ordinal_pairs(fit: OrdinalFit, column: str = "method", level: float = 0.95) -> pd.DataFrame:
    """All pairs of one column: ``a, b, estimate, se, z, p, p_adjusted, lower, upper``.

    Log odds of a higher score, a against b; large-sample normal, simultaneous by Bonferroni,
    ``p_adjusted`` by Holm. With few tasters these are approximate: a second look, not the claim.
    """
    names = fit.levels[column]
    first = sum(len(levels) - 1 for levels in list(fit.levels.values())[: _place(fit, column)])
    rows = np.zeros((len(names), len(fit.effects)))
    rows[1:, first : first + len(names) - 1] = np.eye(len(names) - 1)
    a, b = np.array(pair_positions(len(names))).T
    contrasts = rows[a] - rows[b]
    estimate = contrasts @ fit.effects["estimate"].to_numpy()
    se = np.sqrt(np.einsum("ij,jk,ik->i", contrasts, fit.covariance, contrasts))
    p = 2 * stats.norm.sf(np.abs(estimate / se))
    reach = stats.norm.isf((1 - level) / 2 / len(a)) * se
    return pd.DataFrame(
        {
            "a": [names[i] for i in a],
            "b": [names[i] for i in b],
            "estimate": estimate,
            "se": se,
            "z": estimate / se,
            "p": p,
            "p_adjusted": holm_p(p),
            "lower": estimate - reach,
            "upper": estimate + reach,
        }
    )


def _place(fit: OrdinalFit, column: str) -> int:
    return list(fit.levels).index(column)


@dataclass(frozen=True)
class _Likelihood:
    """Parameters: first threshold, logs of the steps up, β, σ (its sign does not matter)."""

    category: NDArray[np.intp]
    design: Array
    taster: NDArray[np.integer]
    n_scores: int

    def start(self) -> Array:
        shares = np.bincount(self.category, minlength=self.n_scores).cumsum()[:-1]
        cuts = special.logit(shares / len(self.category))
        return np.concatenate(
            [cuts[:1], np.log(np.diff(cuts)), np.zeros(self.design.shape[1]), [0.7]]
        )

    def split(self, parameters: Array) -> tuple[Array, Array, float]:
        cuts = self.n_scores - 1
        theta = np.cumsum(np.concatenate([parameters[:1], np.exp(parameters[1:cuts])]))
        return theta, parameters[cuts:-1], float(parameters[-1])

    def value(self, parameters: Array) -> tuple[float, Array]:
        """−log L and its gradient."""
        theta, beta, sigma = self.split(parameters)
        ends = np.concatenate([[-np.inf], theta, [np.inf]])
        shift = (self.design @ beta)[:, None] + sigma * _NODES
        upper = ends[self.category + 1][:, None] - shift
        lower = ends[self.category][:, None] - shift
        high, low = special.expit(upper), special.expit(lower)
        mass = np.maximum(
            np.where(lower > 0, special.expit(-lower) - special.expit(-upper), high - low), 1e-300
        )
        n_tasters = int(self.taster.max()) + 1
        joint = np.tile(_LOG_WEIGHTS, (n_tasters, 1))
        np.add.at(joint, self.taster, np.log(mass))
        total = special.logsumexp(joint, axis=1)
        weight = np.exp(joint - total[:, None])[self.taster]
        d_high, d_low = high * (1 - high) / mass * weight, low * (1 - low) / mass * weight
        by_shift = d_low - d_high
        at_cut = np.zeros(self.n_scores + 1)
        np.add.at(at_cut, self.category + 1, d_high.sum(axis=1))
        np.add.at(at_cut, self.category, -d_low.sum(axis=1))
        to_end = at_cut[1:-1][::-1].cumsum()[::-1]
        steps = np.exp(parameters[1 : self.n_scores - 1])
        gradient = np.concatenate(
            [
                to_end[:1],
                to_end[1:] * steps,
                self.design.T @ by_shift.sum(axis=1),
                [np.sum(by_shift * _NODES)],
            ]
        )
        return -float(total.sum()), -gradient


def _refuse_separation(se: Array, levels: dict[str, tuple[str, ...]]) -> None:
    flat = ~(se < _UNBOUNDED)
    if not flat.any():
        return
    terms = [name for names in levels.values() for name in names[1:]]
    raise ModelError(
        f"The scores of “{terms[int(np.argmax(flat))]}” lie so wholly above or below the "
        "others that the ordinal model has no finite estimate. The ranking test still holds."
    )


def _as_fit(
    parameters: Array,
    likelihood: _Likelihood,
    scores: Array,
    levels: dict[str, tuple[str, ...]],
) -> OrdinalFit:
    theta, beta, sigma = likelihood.split(parameters)
    covariance = _covariance(parameters, likelihood)
    cuts = len(theta)
    to_theta = np.tril(np.ones((cuts, cuts)))
    to_theta[:, 1:] *= np.exp(parameters[1:cuts])
    theta_se = np.sqrt(np.diag(to_theta @ covariance[:cuts, :cuts] @ to_theta.T))
    inner = covariance[cuts : cuts + len(beta), cuts : cuts + len(beta)]
    se = np.sqrt(np.maximum(np.diag(inner), 0.0))
    _refuse_separation(se, levels)
    terms = [f"{column}[{name}]" for column, names in levels.items() for name in names[1:]]
    return OrdinalFit(
        thresholds=pd.DataFrame(
            {
                "between": [f"{a:g}|{b:g}" for a, b in pairwise(scores)],
                "estimate": theta,
                "se": theta_se,
            }
        ),
        effects=pd.DataFrame(
            {
                "term": terms,
                "estimate": beta,
                "se": se,
                "z": beta / se,
                "p": 2 * stats.norm.sf(np.abs(beta / se)),
            }
        ),
        covariance=inner,
        taster_sd=abs(sigma),
        log_likelihood=-likelihood.value(parameters)[0],
        tasters=int(likelihood.taster.max()) + 1,
        n=len(likelihood.category),
        levels=levels,
    )


def _covariance(parameters: Array, likelihood: _Likelihood) -> Array:
    """Inverse of the observed information, by central differences of the exact gradient."""
    step = 1e-5
    columns = []
    for i in range(len(parameters)):
        move = np.zeros(len(parameters))
        move[i] = step
        up, down = likelihood.value(parameters + move)[1], likelihood.value(parameters - move)[1]
        columns.append((up - down) / (2 * step))
    information = np.array(columns)
    if abs(parameters[-1]) < 1e-3:  # tasters do not differ: their SD is at its bound, held there
        information[-1, :], information[:, -1], information[-1, -1] = 0.0, 0.0, 1.0
    return np.linalg.pinv((information + information.T) / 2, rcond=1e-300, hermitian=True)
