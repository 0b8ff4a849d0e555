"""Second looks at taste: do the score model, the ordinal model and the ranks agree?

The score model (means of scores, taster and taster by method random) carries the claim. It leans
on equal steps of the scale; the ordinal model leans on their order alone, the ranking test on the
order within each taster. Where all three point the same way, the scale did not make the result.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.analysis.discrimination import GUESSING, DiscriminationResult, discrimination_test
from kit.analysis.ordinal import fit_ordinal, ordinal_pairs
from kit.analysis.ranking import ranking_test
from kit.errors import DataError, KitError, ModelError

_MOST_STEPS = 20
"""Scales with more different scores than this are measurements, not ordered categories."""


@dataclass(frozen=True)
class SecondLook:
    """The three answers side by side.

    ``table``: one row a pair, ``a, b, estimate, p_adjusted`` of the score model, then
    ``log_odds, p_ordinal`` and ``rank_difference, p_rank`` (both adjusted by Holm; empty where
    that model was not possible), and ``agree``: none finds a difference, or all point the same way
    and none is far from finding it (p below four times the level; the tests differ in power).
    ``not_possible``: reasons, by model.
    """

    table: pd.DataFrame
    sentence: str
    not_possible: dict[str, str]


def second_look(cups: pd.DataFrame, score_pairs: pd.DataFrame, alpha: float = 0.05) -> SecondLook:
    """Set the ordinal model and the ranks beside the pairs of the score model.

    Parameters
    ----------
    cups
        One row a cup of one attribute: ``taster, method, score``.
    score_pairs
        The pairs of the score model: ``a, b, estimate, p_adjusted``.
    """
    table = score_pairs[["a", "b", "estimate", "p_adjusted"]].reset_index(drop=True)
    not_possible: dict[str, str] = {}
    others = {
        "ordinal model": (_ordinal, "log_odds", "p_ordinal"),
        "ranks": (_ranks, "rank_difference", "p_rank"),
    }
    for name, (look, estimate, p) in others.items():
        try:
            table = _beside(table, look(cups), estimate, p)
        except KitError as refusal:
            not_possible[name] = str(refusal)
            table = table.assign(**{estimate: np.nan, p: np.nan})
    table["agree"] = [_agree(row, alpha) for row in table.to_dict("records")]
    return SecondLook(table, _sentence(table, not_possible), not_possible)


def discoveries(p_values: Mapping[str, float], rate: float = 0.05) -> pd.DataFrame:
    """Which exploratory results stand at a false-discovery rate: ``name, p, q, stands``.

    Source: Benjamini & Hochberg (1995), J. R. Statist. Soc. B 57, 289-300. ``q`` is the smallest
    rate at which the result stands; of those that stand, ``rate`` are expected to be false. They
    are leads for a new trial, not claims.

    Raises
    ------
    DataError
        If a p value is not between 0 and 1.
    """
    from statsmodels.stats.multitest import multipletests

    wrong = [name for name, p in p_values.items() if not 0 <= p <= 1]
    if wrong:
        raise DataError(f"“{wrong[0]}” has a p value of {p_values[wrong[0]]}; it must be 0 to 1.")
    if not p_values:
        return pd.DataFrame(columns=["name", "p", "q", "stands"])
    p = np.array(list(p_values.values()), dtype=float)
    stands, q, _, _ = multipletests(p, alpha=rate, method="fdr_bh")
    return pd.DataFrame({"name": list(p_values), "p": p, "q": q, "stands": stands})


def discrimination_results(tastings: pd.DataFrame) -> dict[str, DiscriminationResult]:
    """Every triangle, duo-trio or paired test in the tastings, by its attribute.

    Parameters
    ----------
    tastings
        Columns ``attribute`` (``"duo-trio Glen/Aln"``: the test, then the pair) and ``score``
        (1 right, 0 wrong), one row a set of cups.

    Raises
    ------
    DataError
        If an answer is neither 0 nor 1.
    """
    results: dict[str, DiscriminationResult] = {}
    attributes = tastings["attribute"].astype(str)
    for attribute in dict.fromkeys(attributes):
        test = next((name for name in GUESSING if attribute.startswith(f"{name} ")), None)
        if test is None:
            continue
        answers = pd.to_numeric(tastings.loc[attributes.eq(attribute), "score"]).dropna()
        if answers.empty:
            continue
        odd = answers[~answers.isin([0, 1])]
        if not odd.empty:
            raise DataError(
                f"“{attribute}” holds the answer {odd.iloc[0]:g}; write 1 for right, 0 for wrong."
            )
        results[attribute] = discrimination_test(int(answers.sum()), len(answers), test)
    return results


def _ordinal(cups: pd.DataFrame) -> pd.DataFrame:
    steps = cups["score"].nunique()
    if steps > _MOST_STEPS:
        raise ModelError(
            f"{steps} different scores were given; the ordinal model is for scales of a few steps."
        )
    return ordinal_pairs(fit_ordinal(cups))


def _ranks(cups: pd.DataFrame) -> pd.DataFrame:
    return ranking_test(cups).pairs.rename(columns={"difference": "estimate"})


def _beside(table: pd.DataFrame, other: pd.DataFrame, estimate: str, p: str) -> pd.DataFrame:
    """Join another model's pairs, turned round where it has them the other way."""
    turned = other.rename(columns={"a": "b", "b": "a"}).assign(estimate=-other["estimate"])
    both = pd.concat([other, turned])[["a", "b", "estimate", "p_adjusted"]]
    both = both.rename(columns={"estimate": estimate, "p_adjusted": p})
    return table.astype({"a": str, "b": str}).merge(both, on=["a", "b"], how="left")


def _agree(row: dict[object, object], alpha: float) -> bool:
    looks = [("estimate", "p_adjusted"), ("log_odds", "p_ordinal"), ("rank_difference", "p_rank")]
    pairs = [(float(str(row[e])), float(str(row[p]))) for e, p in looks]
    known = [(estimate, p) for estimate, p in pairs if not np.isnan(p)]
    if min(p for _, p in known) >= alpha:
        return True
    same_way = len({np.sign(estimate) for estimate, _ in known}) == 1
    return same_way and max(p for _, p in known) < 4 * alpha


def _sentence(table: pd.DataFrame, not_possible: dict[str, str]) -> str:
    looks = 3 - len(not_possible)
    if looks == 1:
        return "Neither the ordinal model nor the ranks could be had; the score model stands alone."
    second = [name for name in ("ordinal model", "ranks") if name not in not_possible]
    named = f"The score model and the {second[0]}"
    if len(second) == 2:
        named = "The score model, the ordinal model and the ranks"
    apart = table[~table["agree"]]
    if apart.empty:
        return f"{named} agree on every pair."
    pairs = ", ".join(f"{row.a} and {row.b}" for row in apart.itertuples())
    return f"{named} do not agree on {pairs}: that result leans on how the scale is read."
