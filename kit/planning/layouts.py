"""What any layout can tell: expected standard errors and degrees of freedom from the rows.

For incomplete blocks, split plots, Latin squares, carry-over designs and unequal numbers there is
no closed form; but the covariance of the estimates and the information about the variances
follow from the layout and the assumed variances alone, before any shot is pulled. The same
model and the same Kenward-Roger formulas as in the analysis are used, at the variances assumed.

Power computed from them is an approximation: it takes the degrees of freedom at their expected
information, while the analysis estimates them, and pools a variance estimated as zero.
:attr:`kit.planning.comparisons.Contrast.reliability` says how far that can be off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.analysis.designed_model import DesignedModel, designed_model, with_model_columns
from kit.analysis.formula import parse_formula
from kit.analysis.kenward_roger import kenward_roger
from kit.analysis.mixedmodel import Grouping, covariance_model
from kit.analysis.modelmatrix import FixedPart, build_fixed_part, level_labels
from kit.analysis.precision import Precision
from kit.errors import ModelError, PlanError
from kit.trial import Noise, Trial

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ExpectedFit:
    """What the analysis of a layout will know, at the variances assumed."""

    fixed: FixedPart
    precision: Precision
    shots: int

    def contrasts(self, rows: Floats) -> tuple[Floats, Floats]:
        """Standard errors and degrees of freedom (m,) of linear functions, rows (m, p)."""
        inner = self.precision.rows(rows)
        variance = np.einsum("mp,pq,mq->m", inner, self.precision.unadjusted, inner)
        se = np.asarray(np.sqrt(variance) * self.precision.scale)
        return se, np.asarray(self.precision.single_df(inner))

    def correlation(self, rows: Floats) -> Floats:
        """Correlation (m, m) of the same linear functions."""
        inner = self.precision.rows(rows)
        covariance = inner @ self.precision.unadjusted @ inner.T
        root = np.sqrt(np.diag(covariance))
        return np.asarray(covariance / np.outer(root, root))

    def level_rows(self, column: str) -> Floats:
        """One row (p) for each level of ``column``, equal weights over everything else."""
        setting = self.fixed.average_setting()
        count = len(self.fixed.factors[column].levels)
        return np.array(
            [self.fixed.row({**setting, column: np.eye(count)[i]}) for i in range(count)]
        )

    def cell_rows(self, columns: tuple[str, ...]) -> Floats:
        """One row (p) for each combination of levels, the last column's levels fastest."""
        setting = self.fixed.average_setting()
        counts = [len(self.fixed.factors[name].levels) for name in columns]
        cells = np.ndindex(*counts)
        return np.array(
            [
                self.fixed.row(
                    setting
                    | {
                        name: np.eye(count)[i]
                        for name, count, i in zip(columns, counts, cell, strict=True)
                    }
                )
                for cell in cells
            ]
        )


def study_rows(schedule: pd.DataFrame, trial: Trial) -> pd.DataFrame:
    """The study shots of a schedule with the columns the model needs, as if all went to plan.

    Raises
    ------
    PlanError
        If the schedule holds no study shot.
    """
    if not (schedule["role"] == "study").any():
        raise PlanError("The schedule holds no study shot. Draw it again.")
    named = ["method", *(f.name for f in trial.factors if f.name in schedule)]
    filled = schedule.assign(
        beverage_g=trial.recipe.beverage_g,
        **{name: schedule[name].where(schedule[name] != "") for name in named},
    )
    planned = with_model_columns(filled, trial)
    return planned[planned["role"] == "study"].reset_index(drop=True)


def complete_rows(trial: Trial) -> pd.DataFrame:
    """Study rows of complete blocks in the trial's sessions: the order within a block is free."""
    layout = trial.layout
    extra = [trial.reference_method] * (layout.control_shots_per_block - 1)
    methods = [*trial.method_names, *extra]
    places = [
        (f"session {s + 1}", f"block {s + 1}.{b + 1}", place + 1, "study", method)
        for s in range(layout.sessions)
        for b in range(layout.blocks_per_session)
        for place, method in enumerate(methods)
    ]
    columns = ["session", "block", "position", "role", "method"]
    return study_rows(pd.DataFrame(places, columns=columns), trial)


def rescaled(rows: pd.DataFrame, shots: float) -> pd.DataFrame:
    """The same layout for another number of shots a method: whole blocks repeated or left off.

    ``shots`` is the average over methods. Repeated blocks stand in further sessions of the same
    make; the last session may be shorter.
    """
    codes, labels = pd.factorize(rows["block"])
    by_block = [np.flatnonzero(codes == block) for block in range(len(labels))]
    methods = rows["method"].nunique()
    wanted = max(1, round(shots * methods * len(labels) / len(rows)))
    copy_of, block_of = np.divmod(np.arange(wanted), len(labels))
    taken = np.concatenate([by_block[block] for block in block_of])
    copies = np.concatenate(
        [np.full(len(by_block[b]), c) for c, b in zip(copy_of, block_of, strict=True)]
    )
    longer = rows.take(taken).reset_index(drop=True)
    suffix = np.array(["", *(f" +{c}" for c in range(1, copies.max() + 1))], dtype=object)[copies]
    for column in ("session", "whole_plot", "block"):
        if column in longer and longer[column].notna().all():
            longer[column] = longer[column].astype(object) + suffix
    return longer


def assumed_variances(noise: Noise, random: tuple[str, ...]) -> Floats:
    """Variances in the order of the model's random columns, the residual last.

    ``block_sd`` is the SD of the finest restriction: with whole plots it belongs to the whole
    plot, and blocks inside one are taken to add nothing.
    """
    finest = "whole_plot" if "whole_plot" in random else "block"
    sd = {"session": noise.session_sd, finest: noise.block_sd}
    return np.array([sd.get(column, 0.0) ** 2 for column in random] + [noise.shot_sd**2])


def expected_fit(rows: pd.DataFrame, trial: Trial, noise: Noise) -> ExpectedFit:
    """What the analysis of these study rows will know, if ``noise`` is true.

    Raises
    ------
    PlanError
        If these rows cannot tell the methods (or the sources of noise) apart.
    """
    model = _without_covariate(designed_model(trial, rows))
    try:
        return expected_of_model(rows, model, assumed_variances(noise, model.random))
    except (ModelError, np.linalg.LinAlgError) as error:
        raise PlanError(
            f"{len(rows)} study shots in this layout cannot tell everything apart that the trial "
            "asks for. Plan more blocks."
        ) from error


def expected_spread_df(rows: pd.DataFrame, trial: Trial, noise: Noise) -> float:
    """Degrees of freedom of one method's SD in the F test of a ratio, blocks adjusted for.

    ν = 4/Var(log s²_a - log s²_b), averaged over pairs, from the expected information when all
    methods share one SD: the rule of :func:`kit.analysis.repeatability.spread_ratios`. Without
    blocks it is n - 1.
    """
    model = _without_covariate(designed_model(trial, rows))
    fixed = build_fixed_part(parse_formula(model.fixed), rows)
    methods = _grouping(rows, "method")
    q, _ = np.linalg.qr(fixed.matrix)
    groupings = tuple(_grouping(rows, name) for name in model.random)
    variances = assumed_variances(noise, model.random)
    theta = np.concatenate([variances[:-1], np.full(len(methods.levels), variances[-1])])
    moments = covariance_model(groupings, methods, q, np.zeros(len(rows))).moments(theta)
    if moments is None:
        raise PlanError("This layout cannot tell the spread of the methods. Plan more blocks.")
    weight = np.linalg.pinv(0.5 * moments.trace_pp, hermitian=True)
    weight = weight[len(groupings) :, len(groupings) :] / variances[-1] ** 2
    variance = np.add.outer(np.diag(weight), np.diag(weight)) - 2 * weight
    return float(np.mean(4 / variance[np.triu_indices(len(weight), 1)]))


def has_closed_form(trial: Trial) -> bool:
    """Whether the comparisons of :mod:`kit.planning.comparisons` hold for this trial."""
    return trial.layout.design == "complete blocks" and not trial.factors


def _without_covariate(model: DesignedModel) -> DesignedModel:
    """Beverage mass varies about its target only when shots are pulled; leave it out here."""
    terms = [term for term in model.fixed.split(" + ") if not term.startswith("beverage_")]
    return DesignedModel(model.response, " + ".join(terms), model.random)


def expected_of_model(rows: pd.DataFrame, model: DesignedModel, variances: Floats) -> ExpectedFit:
    """What a model will know from these rows if its ``variances`` (residual last) are true.

    Raises
    ------
    ModelError
        If these rows cannot tell its terms, or its variances, apart.
    """
    fixed = build_fixed_part(parse_formula(model.fixed), rows)
    n, p = fixed.matrix.shape
    if n <= p or np.linalg.matrix_rank(fixed.matrix) < p:
        raise ModelError("Too few shots for the model.")
    q, r = np.linalg.qr(fixed.matrix)
    groupings = tuple(_grouping(rows, name) for name in model.random)
    covariance = covariance_model(groupings, None, q, np.zeros(n))
    moments = covariance.moments(variances)
    if moments is None or _not_told_apart(np.asarray(moments.trace_pp, dtype=float)):
        raise ModelError("The variances cannot be told apart.")
    at_truth = covariance.fixed_moments(variances)
    parts = kenward_roger(moments, at_truth, np.linalg.inv(r), 1.0)
    return ExpectedFit(fixed, parts, n)


def _not_told_apart(information: Floats) -> bool:
    """Whether the information about the variances is singular, whatever their size."""
    root = np.sqrt(np.diag(information))
    return bool(np.linalg.cond(information / np.outer(root, root)) > 1e10)


def _grouping(rows: pd.DataFrame, name: str) -> Grouping:
    levels, codes = level_labels(rows[name])
    return Grouping(name, tuple(levels), codes)
