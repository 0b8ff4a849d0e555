"""Every defensible variant of an analysis, and whether the verdict moves.

One table shows them all, so that nobody has to trust the choice that was declared. Shot time, TDS
and flow are outcomes and never stand among the covariates.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.analysis.designed_model import (
    MASS_DEVIATION,
    DesignedModel,
    designed_model,
    measured,
    order_is_known,
    with_model_columns,
)
from kit.analysis.mixedmodel import fit_mixed_model
from kit.analysis.outcomes import ASPECTS
from kit.analysis.outcomes.families import family_differences
from kit.analysis.predictions import residuals
from kit.errors import KitError, ModelError
from kit.trial import Outcome, Trial

SENSITIVITY = ("variant", "a", "b", "estimate", "lower", "upper", "verdict")
DECLARED = "as declared"
OWN_SDS = "each method with an SD of its own"
_HUBER = 1.345
"""Huber's (1964) tuning: 95 % as efficient as least squares for normal shots."""

Differences = Callable[[], pd.DataFrame]


@dataclass(frozen=True)
class Sensitivity:
    """All variants of one outcome.

    ``table``: one row a variant and comparison, columns ``variant, a, b, estimate, lower, upper,
    verdict``. ``not_possible``: the variants these shots cannot carry, each with the reason.
    ``moved``: the comparisons whose verdict is not the same in every variant.
    """

    table: pd.DataFrame
    not_possible: dict[str, str]

    @property
    def moved(self) -> list[tuple[str, str]]:
        """The comparisons whose verdict some variant changes, in order."""
        kinds = self.table.groupby(["a", "b"], sort=False)["verdict"].nunique()
        return [(str(a), str(b)) for a, b in kinds.index[kinds > 1]]


def sensitivity(trial: Trial, shots: pd.DataFrame, outcome: Outcome) -> Sensitivity:
    """Analyse ``outcome`` in every defensible way.

    Parameters
    ----------
    shots
        All shots, columns of ``codebook.SHOTS``, replaced and lost ones too.
    outcome
        An outcome of the shots (mean, spread or rate).

    Raises
    ------
    ModelError
        If the outcome is a taste score, or even the declared analysis is not possible.
    """
    if outcome.aspect == "score":
        raise ModelError("Taste scores are not shots; their variants are not in this table.")
    parts, not_possible = [], {}
    for name, differences in _variants(trial, shots, outcome):
        try:
            parts.append(differences().assign(variant=name))
        except KitError as refusal:
            if name == DECLARED:
                raise
            not_possible[name] = str(refusal)
    return Sensitivity(pd.concat(parts, ignore_index=True)[list(SENSITIVITY)], not_possible)


def depends_on_method(trial: Trial, study: pd.DataFrame, measure: str) -> float:
    """The p value of ``measure`` differing between methods (F tests of the designed model).

    A small one means that it may be a consequence of the method; adjusting for it would then take
    away part of what is to be measured. Where the model has several terms, Bonferroni's of them.
    """
    rows, _ = measured(study, measure)
    model = designed_model(trial, rows, measure)
    p = fit_mixed_model(rows, measure, model.fixed, list(model.random)).terms()["p"]
    return float(min(1.0, len(p) * p.min()))


def _variants(
    trial: Trial, shots: pd.DataFrame, outcome: Outcome
) -> Iterator[tuple[str, Differences]]:
    """The name of each variant and how to make its table of differences."""
    pulled = with_model_columns(shots, trial)
    pulled = pulled[pulled["role"].eq("study")]
    study = pulled[pulled["status"].eq("kept")].reset_index(drop=True)

    def on(rows: pd.DataFrame) -> Differences:
        if outcome.aspect == "mean":
            return lambda: designed_differences(trial, rows, outcome)
        return lambda: ASPECTS[outcome.aspect](trial, outcome, rows, None).differences

    yield DECLARED, on(study)
    if len(pulled) > len(study):
        yield "with the shots that were replaced or lost", on(pulled.reset_index(drop=True))
    inside = [
        trial.recipe.in_tolerance(dose, beverage)
        for dose, beverage in zip(study["dose_g"], study["beverage_g"], strict=True)
    ]
    if any(inside) and not all(inside):
        yield "only shots within tolerance", on(study[inside].reset_index(drop=True))
    if outcome.aspect == "mean":
        yield from _model_variants(trial, study, outcome)
    sessions = list(dict.fromkeys(study["session"]))
    if len(sessions) > 1:
        for session in sessions:
            rest = study[study["session"].ne(session)].reset_index(drop=True)
            yield f"without session {session}", on(rest)


def _model_variants(
    trial: Trial, study: pd.DataFrame, outcome: Outcome
) -> Iterator[tuple[str, Differences]]:
    """The same shots under other models."""
    rows, _ = measured(study, outcome.measure)
    model = designed_model(trial, rows, outcome.measure)

    def under(changed: DesignedModel, table: pd.DataFrame) -> Differences:
        return lambda: _differences(trial, outcome, changed, table)

    if outcome.measure == "ey_pct" and rows[MASS_DEVIATION].notna().all():
        if f" + {MASS_DEVIATION}" in model.fixed:
            plain = model.fixed.replace(f" + {MASS_DEVIATION}", "")
            yield "not adjusted for beverage mass", under(replace(model, fixed=plain), rows)
        else:
            adjusted = f"{model.fixed} + {MASS_DEVIATION}"
            yield "adjusted for beverage mass", under(replace(model, fixed=adjusted), rows)
    for column, words in (
        ("session_position", "with a trend in the session"),
        ("shot", "with a trend over the trial"),
    ):
        if order_is_known(rows) and rows[column].notna().all() and rows[column].nunique() > 2:
            place = rows[column].astype(float)
            centred = rows.assign(trend=place - place.mean())
            yield words, under(replace(model, fixed=f"{model.fixed} + trend"), centred)
    if model.random and trial.layout.design != "split-plot":
        inner = model.random[-1]
        fixed = f"{model.fixed} + {inner}"
        yield (
            f"each {inner.replace('_', ' ')} as fixed",
            under(replace(model, fixed=fixed, random=()), rows),
        )
    yield OWN_SDS, lambda: _own_sds(trial, outcome, model, rows)
    yield "robust against odd shots", lambda: _robust(trial, outcome, model, rows)


def designed_differences(trial: Trial, study: pd.DataFrame, outcome: Outcome) -> pd.DataFrame:
    """The declared comparisons of a mean under the model that the design calls for."""
    rows, _ = measured(study, outcome.measure)
    return _differences(trial, outcome, designed_model(trial, rows, outcome.measure), rows)


def _differences(
    trial: Trial, outcome: Outcome, model: DesignedModel, rows: pd.DataFrame
) -> pd.DataFrame:
    fit = fit_mixed_model(rows, model.response, model.fixed, list(model.random))
    return family_differences(fit, trial, outcome)


def _own_sds(
    trial: Trial, outcome: Outcome, model: DesignedModel, rows: pd.DataFrame
) -> pd.DataFrame:
    """The declared comparisons when shots of one method may scatter more than those of another.

    With one SD for all, a method that scatters twice as much is called different in 12 of 100
    comparisons that are ties, with an SD for each in 5 (5 methods of 12 shots; simulated in
    tests/benchmarks/own_sds.py).
    """
    fit = fit_mixed_model(
        rows, model.response, model.fixed, list(model.random), residual_by="method"
    )
    return family_differences(fit, trial, outcome)


def _robust(
    trial: Trial, outcome: Outcome, model: DesignedModel, rows: pd.DataFrame
) -> pd.DataFrame:
    """Huber's estimator by pseudo-values: residuals beyond 1.345 SD are drawn in, and refitted.

    Source: Bickel (1976), Scandinavian Journal of Statistics 3, 145-168. The SD is 1.4826 times
    the median absolute residual; the pseudo-value ψ(r)/mean ψ′ keeps the standard error honest.
    """
    changed = rows.copy()
    for _ in range(20):
        fit = fit_mixed_model(changed, model.response, model.fixed, list(model.random))
        fitted = residuals(fit)["fitted"].to_numpy()
        residual = rows[model.response].to_numpy(dtype=float) - fitted
        limit = _HUBER * 1.4826 * float(np.median(np.abs(residual)))
        if limit == 0:
            raise ModelError("More than half of the shots agree exactly; nothing is odd to them.")
        inside = np.abs(residual) <= limit
        pseudo = fitted + np.clip(residual, -limit, limit) / inside.mean()
        step = float(np.abs(pseudo - changed[model.response].to_numpy(dtype=float)).max())
        changed[model.response] = pseudo
        if step < 1e-3 * limit:
            break
    return _differences(trial, outcome, model, changed)
