"""Taste scores: methods compared within tasters, with taster and taster-by-method as random."""

from __future__ import annotations

import pandas as pd

from kit.analysis.mixedmodel import fit_mixed_model
from kit.analysis.outcomes.families import family_differences, may_be_best, method_means
from kit.analysis.outcomes.means import family_words, term_tests
from kit.analysis.result import OutcomeResult
from kit.errors import ModelError
from kit.trial import Outcome, Trial


def score_outcome(
    trial: Trial, outcome: Outcome, study: pd.DataFrame, tastings: pd.DataFrame | None
) -> OutcomeResult:
    """Adjusted mean scores of one attribute and the declared comparisons.

    The cup is the unit: what differs between cups of one method and one taster is the residual.
    ``taster_method`` (one label for each taster and method) lets tasters disagree about methods,
    so that a few tasters with many cups are not taken for many tasters.

    Raises
    ------
    ModelError
        If the attribute was not scored, by fewer than two tasters, or for one method only.
    """
    del study
    rows = scored_cups(trial, outcome.measure, tastings)
    random = ["taster"]
    if rows.groupby(["taster", "method"], observed=True).size().max() > 1:
        random.append("taster_method")
    place = "cup_position"
    ordered = place in rows and rows[place].notna().all() and rows[place].max() > rows[place].min()
    fixed = f"method + {place}" if ordered else "method"
    fit = fit_mixed_model(rows, response="score", fixed=fixed, random=random)
    return OutcomeResult(
        outcome=outcome,
        groups=method_means(fit, trial, rows),
        differences=family_differences(fit, trial, outcome),
        may_be_best=may_be_best(fit, outcome),
        tests=term_tests(fit),
        notes=(
            f"{len(rows)} cups by {rows['taster'].nunique()} tasters; random intercepts for "
            f"{' and '.join(name.replace('_', ' by ') for name in random)}; Kenward and Roger's "
            "(1997) standard errors and degrees of freedom.",
            fit.certificate.words(),
            family_words(trial, outcome),
        ),
        residual_sd=float(fit.variance_components["residual"] ** 0.5),
    )


def scored_cups(trial: Trial, attribute: str, tastings: pd.DataFrame | None) -> pd.DataFrame:
    """The cups in which one attribute was scored, ready for a model.

    Raises
    ------
    ModelError
        If there are fewer than two tasters or two methods.
    """
    if tastings is None or tastings.empty:
        raise ModelError(f"No tasting was logged, so nothing can be said about {attribute}.")
    rows = tastings[(tastings["attribute"] == attribute) & tastings["score"].notna()].copy()
    rows = rows[rows["method"].isin(trial.method_names)]
    if rows["taster"].nunique() < 2 or rows["method"].nunique() < 2:
        raise ModelError(
            f"{attribute} was scored by {rows['taster'].nunique()} tasters for "
            f"{rows['method'].nunique()} methods; at least two of each are needed to compare."
        )
    rows["method"] = pd.Categorical(
        rows["method"], [name for name in trial.method_names if name in set(rows["method"])]
    )
    rows["taster_method"] = rows["taster"].astype(str) + " × " + rows["method"].astype(str)
    rows["cup_position"] = pd.to_numeric(rows["cup_position"]).astype(float)
    rows["score"] = rows["score"].astype(float)
    return rows.reset_index(drop=True)
