"""What a method changes on its way to extraction, and why nothing is adjusted for it.

A method that makes shots run longer extracts more partly because they run longer. To hold shot
time equal by arithmetic is to ask what the method would do if it did not do what it does
(Rosenbaum 1984, J. R. Statist. Soc. A 147, 656-666: adjusting for a consequence of treatment).
"""

from __future__ import annotations

import pandas as pd

from kit.analysis.mixedmodel import fit_mixed_model
from kit.analysis.outcomes.families import family_differences
from kit.analysis.sensitivity import depends_on_method
from kit.analysis.supplements.given import Given, Supplement, records
from kit.errors import ModelError
from kit.numerals import say_number, say_p

_TIME_DEVIATION = "shot_time_deviation_s"


def shot_time(given: Given) -> Supplement:
    """Whether shot time follows from the method, and what adjusting for it would have done.

    The table: ``a, b, estimate`` of the primary comparisons and ``adjusted`` for shot time.
    """
    rows, model = given.primary_rows()
    if model.response == "shot_time_s" or "shot_time_s" not in rows:
        raise ModelError("Shot time was not recorded beside the primary outcome.")
    timed = rows[rows["shot_time_s"].notna()].reset_index(drop=True)
    if len(timed) < len(rows) / 2:
        raise ModelError("Shot time was recorded for too few shots to say what it depends on.")
    p = depends_on_method(given.trial, timed, "shot_time_s")
    time = timed["shot_time_s"].astype(float)
    timed[_TIME_DEVIATION] = time - time.mean()
    fixed = f"{model.fixed} + {_TIME_DEVIATION}"
    fit = fit_mixed_model(timed, model.response, fixed, list(model.random))
    adjusted = family_differences(fit, given.trial, given.primary.outcome)
    table = given.primary.differences[["a", "b", "estimate"]].merge(
        adjusted[["a", "b", "estimate"]].rename(columns={"estimate": "adjusted"}), on=["a", "b"]
    )
    return table, _words(table, p)


def _words(table: pd.DataFrame, p: float) -> str:
    if p >= 0.05:
        return (
            f"Shot time shows no dependence on the method ({say_p(p)}). It is an outcome all the "
            "same, and nothing is adjusted for it."
        )
    moved = max(records(table), key=lambda row: abs(row.adjusted - row.estimate))
    named = f"{moved.a} against {moved.b}" if moved.b else moved.a
    return (
        f"Shot time depends on the method ({say_p(p)}): it is part of what a method does, so "
        f"nothing is adjusted for it. Adjusted, {named} would read "
        f"{say_number(moved.adjusted, 2, True)} instead of "
        f"{say_number(moved.estimate, 2, True)}, the answer to another question."
    )
