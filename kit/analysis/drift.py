"""Drift: the reference shots as a control chart, trends with position, and carry-over."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from kit.analysis.contrasts import all_pairs
from kit.analysis.mixedmodel import fit_mixed_model
from kit.analysis.usable import usable_rows
from kit.errors import ModelError

CHART = ("shot", "session", "value", "centre", "lower", "upper", "signal")
_D2_OF_TWO = 1.128379167095513
"""Mean range of two standard normal numbers, 2/√π."""


def reference_chart(shots: pd.DataFrame, measure: str = "ey_pct") -> pd.DataFrame:
    """The reference shots as an individuals chart.

    Centre: their mean. Limits: centre ± 3 mean moving range / 1.128, the ranges taken between
    successive reference shots of the same session so that the step from one day to the next does
    not widen the limits. ``signal`` is True outside the limits.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals chart).

    Returns
    -------
    Columns ``shot, session, value, centre, lower, upper, signal``, in the order pulled.

    Raises
    ------
    ModelError
        If there are fewer than two reference shots in every session: no moving range.
    """
    rows = _reference_rows(shots, measure)
    value = rows[measure].to_numpy()
    same_session = rows["session"].to_numpy()[1:] == rows["session"].to_numpy()[:-1]
    ranges = np.abs(np.diff(value))[same_session]
    if ranges.size == 0:
        raise ModelError(
            f"There are {len(rows)} reference shots and no two in one session, so nothing shows "
            "how far reference shots wander by themselves. Plan at least two in each session."
        )
    centre = float(value.mean())
    reach = 3 * float(ranges.mean()) / _D2_OF_TWO
    chart = rows[["shot", "session"]].assign(
        value=value, centre=centre, lower=centre - reach, upper=centre + reach
    )
    chart["signal"] = (chart["value"] < chart["lower"]) | (chart["value"] > chart["upper"])
    return chart[list(CHART)].reset_index(drop=True)


def _reference_rows(shots: pd.DataFrame, measure: str) -> pd.DataFrame:
    chosen = shots
    if "role" in shots:
        chosen = chosen[chosen["role"].astype("string").eq("reference").fillna(False)]
    if "status" in shots:
        chosen = chosen[chosen["status"].astype("string").eq("kept").fillna(False)]
    if chosen.empty:
        raise ModelError("There are no reference shots, so drift cannot be charted.")
    chosen = chosen.reset_index(drop=True)
    rows = usable_rows(chosen, measure, ["session"])
    rows["shot"] = chosen.loc[rows.index, "shot"] if "shot" in chosen else rows.index + 1
    return rows.sort_values("shot", kind="stable")


def order_effects(
    rows: pd.DataFrame, measure: str, fixed: str, random: Sequence[str]
) -> pd.DataFrame:
    """What the place in the order was worth, methods held equal.

    Parameters
    ----------
    rows
        Analysed shots with ``session_position`` and ``shot`` (numbers) and the model's columns.
    fixed, random
        The model that the design calls for; each trend is added to it, one at a time.

    Returns
    -------
    Columns ``effect, estimate, se, df, t, p, lower, upper``: the slope for each later pull in a
    session, and for each later pull of the whole trial, in the unit of ``measure`` a pull. A trend
    that never varies is left out.
    """
    trends = {
        "session_position": "each later pull in a session",
        "shot": "each later pull of the trial",
    }
    parts = []
    for column, words in trends.items():
        if column not in rows or rows[column].nunique() < 3:
            continue
        centred = rows.assign(trend=rows[column].astype(float) - rows[column].astype(float).mean())
        fit = fit_mixed_model(centred, measure, f"{fixed} + trend", list(random))
        slope = fit.coefficients().set_index("term").loc[["trend"]]
        parts.append(slope.reset_index(drop=True).assign(effect=words))
    columns = ["effect", "estimate", "se", "df", "t", "p", "lower", "upper"]
    return pd.concat(parts)[columns] if parts else pd.DataFrame(columns=columns)


def carry_over(
    rows: pd.DataFrame, measure: str, fixed: str, random: Sequence[str]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """What the shot before was worth: does a method leak into the next shot?

    Shots that were first in their session have nothing before them and are left out.

    Returns
    -------
    The F test of the method before (``term, num_df, den_df, F, p``), and the pairs of methods
    before (``a, b, estimate, se, df, t, p, p_adjusted, lower, upper``, Tukey-Kramer).

    Raises
    ------
    ModelError
        If methods and methods before cannot be told apart in this order.
    """
    after = rows[rows["previous_method"].ne("none") & rows["previous_method"].notna()].copy()
    if after["previous_method"].nunique() < 2:
        raise ModelError(
            "Nearly every shot came after the same method, so this order cannot show whether "
            "methods leak into the next shot. A carry-over balanced order can."
        )
    for name in random:
        after[name] = after[name].astype(str)
    fit = fit_mixed_model(after, measure, f"{fixed} + previous_method", list(random))
    test = fit.terms().query("term == 'previous_method'").reset_index(drop=True)
    return test, all_pairs(fit, "previous_method")
