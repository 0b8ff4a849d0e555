"""Did the bench hold still? Reference shots, trends along the order, leaks into the next shot."""

from __future__ import annotations

import math

import pandas as pd

from kit.analysis.drift import carry_over, order_effects, reference_chart
from kit.analysis.measurement import repeatability
from kit.analysis.supplements.given import Given, Supplement, records
from kit.codebook import column
from kit.numerals import say_number, say_p


def reference_shots(given: Given) -> Supplement:
    """Reference shots on their individuals chart."""
    chart = reference_chart(given.shots)
    signals = chart.loc[chart["signal"], "shot"].astype(int).tolist()
    said = (
        f"Reference shots outside their limits: {', '.join(map(str, signals))}."
        if signals
        else f"All {len(chart)} reference shots lie within their limits."
    )
    return chart, said


def along_the_order(given: Given) -> Supplement:
    """What a later place in the session, and in the trial, was worth."""
    rows, model = given.primary_rows()
    effects = order_effects(rows, model.response, model.fixed, list(model.random))
    unit = "points" if model.response == "ey_pct" else column(model.response).unit
    said = " ".join(
        f"{row.effect[:1].upper() + row.effect[1:]} was worth {say_number(row.estimate, 3, True)} "
        f"{unit} ({say_number(row.lower, 3)} to {say_number(row.upper, 3)}; {say_p(row.p)})."
        for row in records(effects)
    )
    return effects, said or "The order holds no trend that could be estimated."


def from_shot_to_shot(given: Given) -> Supplement:
    """What the method of the shot before was worth."""
    rows, model = given.primary_rows()
    if "previous_method" in model.fixed:
        return pd.DataFrame(), "The method before is part of the planned model."
    test, pairs = carry_over(rows, model.response, model.fixed, list(model.random))
    p = float(test["p"].iloc[0])
    found = "may leak" if p < 0.05 else "shows no sign of leaking"
    return pairs, f"The method of the shot before {found} into the next ({say_p(p)})."


def repeated_readings(
    readings: pd.DataFrame, study: pd.DataFrame, shot_sd_points: float
) -> Supplement:
    """How far readings of one cup differ, and what that is of the spread from shot to shot.

    Parameters
    ----------
    readings
        Columns of ``codebook.READINGS``.
    study
        The shots analysed: their masses carry the SD of TDS over to EY.
    shot_sd_points
        SD from shot to shot that the primary model leaves, in points of EY.
    """
    found = repeatability(readings)
    times = float(readings.groupby("shot").size().median())
    per_point = float((study["beverage_g"] / study["dose_g"]).mean())
    of_the_mean = found.sd * per_point / math.sqrt(times)
    share = min((of_the_mean / shot_sd_points) ** 2, 1.0)
    said = (
        f"{found.cups} cups were read more than once; readings of one cup repeat with an SD of "
        f"{found.sd:.3f} % TDS ({found.lower:.3f} to {found.upper:.3f}). With {times:.0f} "
        f"readings a cup that is {of_the_mean:.3f} points of extraction, {100 * share:.1f} % of "
        "the variance from shot to shot. Readings are never counted as shots."
    )
    return pd.DataFrame([vars(found)]), said
