"""What an amended schedule has lost against the one that was sealed, in words."""

from __future__ import annotations

from collections.abc import Set

import numpy as np
import pandas as pd

from kit.numerals import say_number
from kit.schedule.balance_certificate import with_predecessors
from kit.schedule.expected_errors import expected_errors
from kit.trial import Trial


def loss_words(
    trial: Trial, before: pd.DataFrame, after: pd.DataFrame, lost: Set[int]
) -> list[str]:
    """Shots, balance and precision lost, a sentence each.

    Parameters
    ----------
    before, after
        The schedule as sealed and as amended.
    lost
        Planned numbers of study shots that were pulled and lost.
    """
    planned = _study(before)
    left = _study(after)
    left = left[~left["planned_shot"].isin(lost)]
    return [*_shots(trial, planned, left), *_precision(trial, planned, left)]


def _study(schedule: pd.DataFrame) -> pd.DataFrame:
    table = with_predecessors(schedule)
    return table[table["role"] == "study"]


def _shots(trial: Trial, planned: pd.DataFrame, left: pd.DataFrame) -> list[str]:
    counts = left["method"].value_counts().reindex(trial.method_names, fill_value=0)
    if len(left) == len(planned) and counts.nunique() == 1:
        return [f"No study shot is lost: {len(left)} as planned, {counts.iloc[0]} of each method."]
    listed = ", ".join(f"{name} {count}" for name, count in counts.items())
    return [f"Study shots: {len(left)} instead of {len(planned)} ({listed})."]


def _precision(trial: Trial, planned: pd.DataFrame, left: pd.DataFrame) -> list[str]:
    """How much wider the intervals become, and what that does to the difference one can see."""
    was = _worst_pair(trial, planned)
    now = _worst_pair(trial, left)
    if not np.isfinite(now):
        return [
            "Some methods can no longer be compared within blocks or sessions at all: plan "
            "further sessions before the analysis."
        ]
    change = now / was - 1
    if change < 0.005:
        return ["The expected standard error of a difference stays as planned."]
    return [
        f"The expected standard error of the least certain difference rises from "
        f"{say_number(was, 3)} to {say_number(now, 3)}: a difference has to be about "
        f"{change * 100:.0f} % larger to be seen with the same power."
    ]


def _worst_pair(trial: Trial, study: pd.DataFrame) -> float:
    errors = expected_errors(trial, study)
    return float(errors.loc[errors["kind"] == "pair", "se_expected"].max())
