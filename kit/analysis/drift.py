"""Drift: the reference shots as a control chart, trends with position, and carry-over."""

from __future__ import annotations

import numpy as np
import pandas as pd

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
    rows = usable_rows(chosen, measure, ["session"])
    rows["shot"] = shots.loc[rows.index, "shot"] if "shot" in shots else np.arange(len(rows)) + 1
    return rows.sort_values("shot", kind="stable")
