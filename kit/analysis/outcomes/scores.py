"""Taste scores: methods compared within tasters; taster, taster by method and shot as random."""

from __future__ import annotations

import pandas as pd

from kit.analysis.mixedmodel import fit_mixed_model
from kit.analysis.outcomes.families import family_differences, may_be_best, method_means
from kit.analysis.outcomes.means import family_words, term_tests
from kit.analysis.result import OutcomeResult
from kit.errors import ModelError
from kit.trial import Outcome, Trial

ERRORS = {"taster": "taster", "taster_method": "taster by method", "tasted_shot": "shot"}
"""What the random intercepts are called."""


def score_outcome(
    trial: Trial, outcome: Outcome, study: pd.DataFrame, tastings: pd.DataFrame | None
) -> OutcomeResult:
    """Adjusted mean scores of one attribute and the declared comparisons.

    What differs between cups of one shot, or between shots of one method and one taster, is the
    residual. ``taster_method`` (one label for each taster and method) lets tasters disagree about
    methods, so that a few tasters with many cups are not taken for many tasters; ``tasted_shot``
    lets shots of one method differ where several tasters share them, so that many sips of a few
    shots are not taken for many shots.

    Raises
    ------
    ModelError
        If the attribute was not scored, by fewer than two tasters, for one method only, or from
        one shot of each method that all tasters shared.
    """
    del study
    rows = scored_cups(trial, outcome.measure, tastings)
    random = taste_errors(rows)
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
            f"{' and '.join(ERRORS[name] for name in random)}; Kenward and Roger's "
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
    rows["tasted_shot"] = _tasted_shots(rows)
    rows["cup_position"] = pd.to_numeric(rows["cup_position"]).astype(float)
    rows["score"] = rows["score"].astype(float)
    return rows.reset_index(drop=True)


def taste_errors(cups: pd.DataFrame) -> list[str]:
    """The random intercepts that the cups can tell apart, outermost first.

    Raises
    ------
    ModelError
        If all tasters shared one shot of each method: it cannot be told from its method.
    """
    found = ["taster"]
    if cups.groupby(["taster", "method"], observed=True).size().max() > 1:
        found.append("taster_method")
    if cups.groupby("tasted_shot")["taster"].nunique().max() > 1:
        if cups["tasted_shot"].nunique() == cups["method"].nunique():
            raise ModelError(
                "One shot of each method was tasted, by all tasters, so what they found may "
                "belong to that shot and not to its method. Taste at least two shots of each."
            )
        found.append("tasted_shot")
    return found


def _tasted_shots(cups: pd.DataFrame) -> pd.Series:
    """The shot each cup was poured from.

    Where no shot is named, a method is pulled once for all tasters of a sitting, and once more for
    the second cup of it that each of them gets. Without a sitting every cup is a shot of its own.
    """
    cups = cups.reindex(columns=["taster", "sitting", "shot", "method"])
    taken = ["taster", "sitting", "method"]
    turn = cups.groupby(taken, observed=True, dropna=False).cumcount().astype(str)
    pulled = cups["sitting"].astype(str) + " " + cups["method"].astype(str) + " " + turn
    alone = "cup " + pd.Series(range(len(cups)), index=cups.index).astype(str)
    pulled = pulled.where(cups["sitting"].notna(), alone)
    return pulled.where(cups["shot"].isna(), "shot " + cups["shot"].astype(str))
