"""Agreement of two people who count flow faults in the same videos without knowing the method."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.errors import ModelError


@dataclass(frozen=True)
class Agreement:
    """How far two scorers agree on the same cups."""

    scorers: tuple[str, str]
    cups: int
    same: int
    """Cups to which both gave the same count."""
    mean_difference: float
    """First scorer minus second, in faults a cup."""
    kappa: float
    """Cohen's kappa for “any fault / none”; NaN where both always said the same one thing."""
    kappa_lower: float
    kappa_upper: float
    weighted_kappa: float
    """Linearly weighted kappa of the counts."""

    def sentence(self) -> str:
        """The agreement in words."""
        first, second = self.scorers
        said = f"{first} and {second} gave the same count to {self.same} of {self.cups} cups"
        if math.isnan(self.kappa):
            return said + "; both found the same thing in every cup, so chance cannot be set aside."
        return said + (
            f"; agreement beyond chance on fault or none is κ = {self.kappa:.2f} "
            f"(95 % interval {self.kappa_lower:.2f} to {self.kappa_upper:.2f})."
        )


def scorer_agreement(scores: pd.DataFrame) -> Agreement:
    """Agreement of the two scorers with most cups in common.

    Parameters
    ----------
    scores
        Columns ``code``, ``scorer``, ``faults``; the last score of a scorer for a cup counts.

    Source: Cohen (1960) for kappa, Cohen (1968) for its weighted form, both by statsmodels.

    Raises
    ------
    ModelError
        If no cup was scored by two people.
    """
    latest = scores.drop_duplicates(["code", "scorer"], keep="last")
    by_scorer = {
        str(name): dict(zip(own["code"], own["faults"], strict=True))
        for name, own in latest.groupby("scorer", sort=False)
    }
    if len(by_scorer) < 2:
        raise ModelError("Only one person has scored; a second scorer of some cups is needed.")
    pairs = {
        pair: [code for code in by_scorer[pair[0]] if code in by_scorer[pair[1]]]
        for pair in itertools.combinations(by_scorer, 2)
    }
    (first, second), codes = max(pairs.items(), key=lambda pair: len(pair[1]))
    if not codes:
        raise ModelError("No cup was scored by two people, so nothing can be compared.")
    a, b = (np.array([by_scorer[who][code] for code in codes], int) for who in (first, second))
    plain = _kappa(a > 0, b > 0, None)
    weighted = _kappa(a, b, "linear")
    return Agreement(
        (first, second),
        len(codes),
        int((a == b).sum()),
        float((a - b).mean()),
        *plain,
        weighted[0],
    )


def _kappa(a: np.ndarray, b: np.ndarray, weights: str | None) -> tuple[float, float, float]:
    """Kappa and its 95 % limits; NaN where only one value occurs."""
    from statsmodels.stats.inter_rater import cohens_kappa

    top = int(max(a.max(), b.max())) + 1
    table = np.zeros((top, top))
    np.add.at(table, (a.astype(int), b.astype(int)), 1)
    used = (table.sum(axis=0) > 0) | (table.sum(axis=1) > 0)
    if used.sum() < 2:
        return math.nan, math.nan, math.nan
    with np.errstate(invalid="ignore", divide="ignore"):  # no interval where one cell is empty
        result = cohens_kappa(table, wt=weights)
    return float(result.kappa), float(result.kappa_low), float(result.kappa_upp)
