"""Linear mixed models for small designed experiments: the fit and its tests.

    fit = fit_mixed_model(table, response="ey_pct", fixed="method", random=["session", "block"])

Independent random intercepts, nested (with unique labels) or crossed; REML with every
variance at least zero and zeros exact; t and F tests with Kenward–Roger (1997) covariance
and degrees of freedom by default, Satterthwaite on request. Without random columns the
same code is ordinary least squares with exact t and F tests (blocks as fixed effects:
``fixed="method + block", random=[]``). With ``residual_by`` each level of that column has
a residual variance of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from kit.analysis.certificate import Certificate, certify
from kit.analysis.crossproducts import CrossProducts
from kit.analysis.formula import Formula, parse_formula
from kit.analysis.grouped_residuals import GroupedResiduals
from kit.analysis.identifiability import (
    OWN_RESIDUAL,
    check_components,
    check_fixed_part,
    check_variation,
    check_within,
)
from kit.analysis.kenward_roger import kenward_roger
from kit.analysis.modelinput import check_input, check_levels
from kit.analysis.modelmatrix import FixedPart, build_fixed_part, level_labels, type_three_rows
from kit.analysis.moments import (
    Array,
    CovarianceModel,
    FixedMoments,
    Moments,
    ScaledData,
    SingularCovarianceError,
    scaled,
)
from kit.analysis.precision import Precision
from kit.analysis.reml import Minimum, minimise_from_all, reml_objective, starting_points
from kit.analysis.satterthwaite import satterthwaite
from kit.errors import ModelError

KENWARD_ROGER = "kenward-roger"
SATTERTHWAITE = "satterthwaite"


@dataclass(frozen=True)
class Grouping:
    """A column taken as labels: its levels, and the level number of each shot."""

    name: str
    levels: tuple[str, ...]
    codes: NDArray[np.intp]


@dataclass(frozen=True)
class MixedModelFit:
    """A fitted model. Read the properties; the fields are what they are computed from.

    ``theta`` are the variance components on the scale of ``data`` (outcome divided by the
    residual SD of least squares), random columns first, then the residual(s).
    """

    response: str
    formula: Formula
    fixed: FixedPart
    random: tuple[Grouping, ...]
    residual_groups: Grouping | None
    data: ScaledData
    model: CovarianceModel
    optimum: Minimum
    certificate: Certificate
    y: Array

    @property
    def n(self) -> int:
        """Number of shots."""
        return self.model.n

    @property
    def theta(self) -> Array:
        """Variance components in units of ``data.scale`` squared."""
        return self.optimum.theta

    @property
    def reml_criterion(self) -> float:
        """−2 × REML log-likelihood: (n−p) log 2π + log|V| + log|X'V⁻¹X| + r'V⁻¹r."""
        nu = self.n - self.model.p
        constant = nu * (np.log(2 * np.pi) + 2 * np.log(self.data.scale))
        return float(self.optimum.criterion.value + constant + 2 * self.data.log_det_r)

    @property
    def variance_components(self) -> pd.Series:
        """Variances (squared units of the outcome) by random column, and the residual(s)."""
        return pd.Series(
            self.theta * self.data.scale**2,
            index=component_names(self.random, self.residual_groups),
            name="variance",
        )

    @property
    def at_boundary(self) -> bool:
        """True when at least one variance component is estimated as exactly zero."""
        return self.certificate.at_boundary

    @cached_property
    def beta(self) -> Array:
        """Generalised least-squares coefficients (p), in the order of ``fixed.names``."""
        return self.data.ols + self.data.scale * np.linalg.solve(
            self.data.r, self._fixed_moments.beta
        )

    @cached_property
    def moments(self) -> Moments:
        """Traces and quadratic forms at the optimum."""
        found = self.model.moments(self.theta)
        if found is None:  # the optimiser ends only where V is positive definite
            raise SingularCovarianceError
        return found

    @cached_property
    def _fixed_moments(self) -> FixedMoments:
        return self.model.fixed_moments(self.theta)

    @cached_property
    def _precisions(self) -> dict[str, Precision]:
        to_scaled = np.linalg.inv(self.data.r)
        parts = self.moments, self._fixed_moments
        positive = self.theta > 0
        return {
            KENWARD_ROGER: kenward_roger(*parts, to_scaled, self.data.scale),
            SATTERTHWAITE: satterthwaite(*parts, positive, to_scaled, self.data.scale),
        }

    def precision(self, df_method: str = KENWARD_ROGER) -> Precision:
        """Covariance and degrees of freedom by ``"kenward-roger"`` or ``"satterthwaite"``."""
        if df_method not in (KENWARD_ROGER, SATTERTHWAITE):
            raise ModelError(
                f'Unknown method for the degrees of freedom: "{df_method}". '
                f'Use "{KENWARD_ROGER}" or "{SATTERTHWAITE}".'
            )
        return self._precisions[df_method]

    def coefficients(self, df_method: str = KENWARD_ROGER, level: float = 0.95) -> pd.DataFrame:
        """Fixed effects: ``term, estimate, se, df, t, p, lower, upper``."""
        table = linear_functions(self, np.eye(len(self.beta)), df_method, level)
        table.insert(0, "term", self.fixed.names)
        return table

    def terms(self, df_method: str = KENWARD_ROGER) -> pd.DataFrame:
        """Type III F tests: ``term, num_df, den_df, F, p``."""
        precision = self.precision(df_method)
        rows = []
        for term in self.fixed.terms:
            test = precision.f_test(type_three_rows(self.fixed, term), self.beta)
            p = float(stats.f.sf(test.f, test.num_df, test.den_df))
            rows.append((term.name, test.num_df, test.den_df, test.f, p))
        return pd.DataFrame(rows, columns=["term", "num_df", "den_df", "F", "p"])


def fit_mixed_model(
    table: pd.DataFrame,
    response: str,
    fixed: str,
    random: Sequence[str] = (),
    residual_by: str | None = None,
) -> MixedModelFit:
    """Fit y = Xβ + Σ Z_k u_k + e by REML.

    Parameters
    ----------
    table
        One row a shot; only the columns named are read. No missing values.
    response
        Column with the outcome (numbers).
    fixed
        Right-hand side in Wilkinson–Rogers notation: ``"method"``, ``"a * b + x"``, ``"1"``.
        Texts, categories and true/false are factors with their first level as reference;
        numbers are covariates.
    random
        Columns of labels, each an independent random intercept; may be empty.
    residual_by
        Column whose levels have a residual variance of their own.

    Raises
    ------
    DataError, ModelError
        With the reason in words: what is missing, infinite, constant or confounded.
    """
    formula = parse_formula(fixed)
    check_input(table, response, formula, random, residual_by)
    part = build_fixed_part(formula, table)
    check_fixed_part(part)
    y = table[response].to_numpy(dtype=float)
    data = scaled(part.matrix, y, part.intercept)
    check_variation(data, y, response)
    groupings = tuple(_grouping(table, name) for name in random)
    check_levels({g.name: len(g.levels) for g in groupings})
    residuals = None if residual_by is None else _grouping(table, residual_by)
    model = covariance_model(groupings, residuals, data.q, data.y)
    _check_identifiable(model, groupings, residuals)
    names = component_names(groupings, residuals)
    starts = starting_points(len(groupings), len(names) - len(groupings))
    best, reached = minimise_from_all(reml_objective(model), starts)
    certificate = certify(best, reached, names)
    return MixedModelFit(
        response, formula, part, groupings, residuals, data, model, best, certificate, y
    )


def _grouping(table: pd.DataFrame, name: str) -> Grouping:
    levels, codes = level_labels(table[name])
    return Grouping(name, tuple(levels), codes)


def component_names(random: Sequence[Grouping], residuals: Grouping | None) -> list[str]:
    """Names of the variance components: random columns, then ``residual`` or one a level."""
    names = [g.name for g in random]
    if residuals is None:
        return [*names, "residual"]
    return names + [f"residual[{level}]" for level in residuals.levels]


def covariance_model(
    random: Sequence[Grouping], residuals: Grouping | None, x: Array, y: Array
) -> CovarianceModel:
    """The covariance model of some shots (x: n × p with orthonormal columns, y: n)."""
    codes, sizes = [g.codes for g in random], [len(g.levels) for g in random]
    if residuals is None:
        return CrossProducts(codes, sizes, x, y)
    return GroupedResiduals(codes, sizes, x, y, residuals.codes, len(residuals.levels))


def _check_identifiable(
    model: CovarianceModel, random: Sequence[Grouping], residuals: Grouping | None
) -> None:
    identity = np.ones(model.n_components)
    identity[: model.n_random] = 0.0
    at_identity = model.moments(identity)
    if at_identity is None:
        raise SingularCovarianceError
    words = [g.name for g in random]
    if residuals is None:
        words.append("the shot-to-shot residual")
    else:
        words += [f"{OWN_RESIDUAL}{level}" for level in residuals.levels]
    check_components(at_identity, words, model.n)
    check_within([g.codes for g in random], model.x, model.y)


def linear_functions(
    fit: MixedModelFit, rows: Array, df_method: str = KENWARD_ROGER, level: float = 0.95
) -> pd.DataFrame:
    """Estimates of linear functions of the coefficients (rows: m × p), each on its own.

    Columns ``estimate, se, df, t, p, lower, upper``; p is two-sided against zero, the
    limits are unadjusted t limits at ``level``.
    """
    if not 0.0 < level < 1.0:
        raise ModelError(f"The level of the intervals must lie between 0 and 1, not {level:g}.")
    precision = fit.precision(df_method)
    estimate = rows @ fit.beta
    se = precision.standard_errors(rows)
    df = precision.degrees_of_freedom(rows)
    t = estimate / se
    half = stats.t.ppf((1.0 + level) / 2.0, df) * se
    return pd.DataFrame(
        {
            "estimate": estimate,
            "se": se,
            "df": df,
            "t": t,
            "p": 2.0 * stats.t.sf(np.abs(t), df),
            "lower": estimate - half,
            "upper": estimate + half,
        }
    )
