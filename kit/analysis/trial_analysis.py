"""The whole analysis of a completed trial: every declared outcome, and what stands beside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.analysis.designed_model import SetAside, study_shots
from kit.analysis.outcomes import ASPECTS
from kit.analysis.result import Analysis, NotAnalysed, OutcomeResult
from kit.analysis.supplements import Given, supplements
from kit.errors import KitError
from kit.trial import Outcome, Trial

Progress = Callable[[str], None]


@dataclass(frozen=True)
class Drawn:
    """The schedule the shots were pulled by, and the generator that draws it again."""

    table: pd.DataFrame | None
    rng: np.random.Generator


def analyse_trial(
    trial: Trial,
    shots: pd.DataFrame,
    tastings: pd.DataFrame | None = None,
    schedule: Drawn | None = None,
    progress: Progress | None = None,
) -> Analysis:
    """Analyse every outcome the plan declared, in the plan's order.

    Parameters
    ----------
    shots
        Columns of ``codebook.SHOTS``, one row a shot in the order pulled.
    tastings
        Columns of ``codebook.TASTINGS``, or None.
    schedule
        The schedule and a generator for drawing it again; None for data without a draw.
    progress
        Called with the name of each outcome before it is analysed.

    Raises
    ------
    DataError
        If there is no study shot at all. An outcome the shots cannot answer is not an error: it
        is listed with its reason in ``not_analysed``.
    """
    planned = analyse_outcomes(trial, shots, tastings, progress)
    if progress is not None:
        progress("checks")
    drawn = schedule or Drawn(None, np.random.default_rng(0))
    extras, notes = supplements(
        Given(trial, shots, planned.study, tastings, drawn.table, planned.results, drawn.rng)
    )
    return replace(planned, extras=extras, extra_notes=notes)


def analyse_outcomes(
    trial: Trial,
    shots: pd.DataFrame,
    tastings: pd.DataFrame | None = None,
    progress: Progress | None = None,
) -> Analysis:
    """The declared outcomes alone, without the checks beside them; see :func:`analyse_trial`."""
    study, aside = study_shots(shots, trial)
    results: list[OutcomeResult] = []
    failed: list[NotAnalysed] = []
    for outcome in trial.outcomes:
        if progress is not None:
            progress(outcome.name)
        try:
            results.append(_one(trial, outcome, study, tastings, aside))
        except KitError as refusal:
            failed.append(NotAnalysed(outcome, str(refusal)))
    return Analysis(tuple(results), tuple(failed), study)


def _one(
    trial: Trial,
    outcome: Outcome,
    study: pd.DataFrame,
    tastings: pd.DataFrame | None,
    aside: list[SetAside],
) -> OutcomeResult:
    result = ASPECTS[outcome.aspect](trial, outcome, study, tastings)
    if outcome.aspect == "score":
        return result

    return replace(result, set_aside=(*aside, *result.set_aside))
