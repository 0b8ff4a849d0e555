"""The mean of a measure, by the mixed model that the layout calls for."""

from __future__ import annotations

import pandas as pd

from kit.analysis.designed_model import DesignedModel, designed_model, measured
from kit.analysis.mixedmodel import MixedModelFit, fit_mixed_model
from kit.analysis.outcomes.families import family_differences, may_be_best, method_means
from kit.analysis.predictions import residuals
from kit.analysis.result import OutcomeResult
from kit.trial import Outcome, Trial

BEST_WORDS = (
    "Which methods may be best is a question of its own (comparison with the best, Hsu 1984, at "
    "95 %). It asks less than how much each pair differs, so a method can be ruled out as the best "
    "although no single pair is settled."
)


def mean_outcome(
    trial: Trial, outcome: Outcome, study: pd.DataFrame, tastings: pd.DataFrame | None
) -> OutcomeResult:
    """Adjusted means, the declared comparisons and the set that may be best.

    Raises
    ------
    ModelError
        If the shots cannot answer (too few, confounded, all equal).
    """
    del tastings
    rows, aside = measured(study, outcome.measure)
    model = designed_model(trial, rows, outcome.measure)
    fit = fit_designed(model, rows)
    best = may_be_best(fit, outcome)
    return OutcomeResult(
        outcome=outcome,
        groups=method_means(fit, trial, rows),
        differences=family_differences(fit, trial, outcome),
        may_be_best=best,
        tests=term_tests(fit),
        set_aside=tuple(aside),
        notes=(
            f"Model: {model.words()}; REML, Kenward and Roger's (1997) standard errors and "
            "degrees of freedom.",
            fit.certificate.words(),
            family_words(trial, outcome),
            *_whole_plot_words(trial, fit),
            *([] if best is None else [BEST_WORDS]),
        ),
        residual_sd=float(fit.variance_components["residual"] ** 0.5),
        residuals=rows[["shot", "session", "method"]].join(residuals(fit)),
    )


def fit_designed(model: DesignedModel, rows: pd.DataFrame) -> MixedModelFit:
    """Fit the model that the design calls for."""
    return fit_mixed_model(
        rows, response=model.response, fixed=model.fixed, random=list(model.random)
    )


def term_tests(fit: MixedModelFit) -> pd.DataFrame:
    """Type III F tests in the shape every outcome uses: ``test, statistic, df, p``."""
    terms = fit.terms()
    return pd.DataFrame(
        {
            "test": [f"F test of {name.replace(':', ' with ')}" for name in terms["term"]],
            "statistic": terms["F"],
            "df": [
                f"{num:.0f} and {den:.1f}"
                for num, den in zip(terms["num_df"], terms["den_df"], strict=True)
            ],
            "p": terms["p"],
        }
    )


def _whole_plot_words(trial: Trial, fit: MixedModelFit) -> list[str]:
    """How few degrees of freedom a factor has that was set for whole plots."""
    terms = fit.terms()
    df = dict(zip(terms["term"], terms["den_df"], strict=True))
    return [
        f"{factor.name} was set for whole plots at a time, so it is judged by how those differ "
        f"({df[factor.name]:.1f} degrees of freedom), not by single shots."
        for factor in trial.hard_factors
        if factor.name in df
    ]


def family_words(trial: Trial, outcome: Outcome) -> str:
    """Which family the intervals are simultaneous over, and by what method."""
    if trial.factors:
        return (
            "Intervals are simultaneous over all main effects and two-factor interactions "
            "(Bonferroni); p values by Holm (1979)."
        )
    if outcome.family == "against control":
        return (
            f"Intervals are simultaneous over all comparisons with {trial.control} (Dunnett 1955)."
        )
    return "Intervals are simultaneous over all pairs (Tukey and Kramer)."
