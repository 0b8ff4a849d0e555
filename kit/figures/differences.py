"""All differences with the band of those too small to matter, and the verdict on each."""

from __future__ import annotations

import pandas as pd

from kit.figures.measure import Measure
from kit.figures.pairs import Comparison, pair_name, pairs_picture
from kit.figures.picture import Picture, Setting
from kit.figures.tables import each, need, say, say_range, say_unit
from kit.figures.verdicts import difference_margin, ratio_margin


def negative(value: float) -> float:
    """The difference the other way round."""
    return -value


def reciprocal(value: float) -> float:
    """The ratio the other way round; not a number for 0."""
    return 1 / value if value else float("nan")


def differences(pairs: pd.DataFrame, measure: Measure, sdm: float, setting: Setting) -> Picture:
    """Every difference a − b with its interval, the band of ±SDM, and its verdict.

    Parameters
    ----------
    pairs
        ``a, b, estimate, lower, upper, verdict``; intervals simultaneous over the pairs shown.
        A verdict starts with “different”, “same” or “cannot tell”.
    sdm
        The smallest difference that matters, in the unit of a difference of the measure.

    Raises
    ------
    DataError
        If a column is missing or the table is empty.
    """
    need(pairs, ("a", "b", "estimate", "lower", "upper", "verdict"), "differences")
    decimals, unit = measure.decimals, measure.difference_unit
    band = say_unit(say(sdm, decimals), unit)
    comparison = Comparison(
        name=f"differences_{measure.column}",
        title=measure.difference_axis,
        axis=measure.difference_axis,
        joined="−",
        turned=negative,
        decimals=decimals,
        signed=True,
        interval=f"{setting.percent} interval of the difference, first − second",
        band=f"less than ±{band}, the smallest difference that matters (SDM), set in advance.",
    )
    parts = [
        f"{pair_name(row.a, row.b, 'minus')}: "
        f"{say_unit(say(row.estimate, decimals, True), unit)} "
        f"({setting.percent} interval {say_range(row.lower, row.upper, decimals, True)}), "
        f"{row.verdict}"
        for row in each(pairs)
    ]
    alt = (
        f"{measure.difference_axis}, {len(pairs)} pairs, against a smallest difference that "
        f"matters of {band}. {'. '.join(parts)}."
    )
    return pairs_picture(pairs, comparison, difference_margin(sdm), setting, alt)


def spread_ratios(ratios: pd.DataFrame, measure: Measure, sdm: float, setting: Setting) -> Picture:
    """Every ratio SD(a) / SD(b) on a logarithmic axis, with the band of ratios too small to matter.

    Parameters
    ----------
    ratios
        ``a, b, ratio, lower, upper, verdict``.
    sdm
        The smallest ratio that matters, above 1.

    Raises
    ------
    DataError
        If a column is missing or the table is empty.
    """
    need(ratios, ("a", "b", "ratio", "lower", "upper", "verdict"), "spread ratios")
    comparison = Comparison(
        name=f"spread_ratios_{measure.column}",
        title=f"Ratio of spreads of {measure.in_text}",
        axis="Ratio of standard deviations",
        joined="/",
        turned=reciprocal,
        decimals=2,
        signed=False,
        interval=f"{setting.percent} interval of SD(first) / SD(second); 1 is equally consistent",
        band=f"ratios below {say(sdm, 2)} either way, too small to matter (SDM), set in advance.",
    )
    parts = [
        f"{row.a} over {row.b}: {say(row.ratio, 2)} ({setting.percent} interval "
        f"{say_range(row.lower, row.upper, 2)}), {row.verdict}"
        for row in each(ratios)
    ]
    alt = (
        f"Ratios of shot-to-shot standard deviations of {measure.in_text}, against a smallest "
        f"ratio that matters of {say(sdm, 2)}. {'. '.join(parts)}."
    )
    table = ratios.rename(columns={"ratio": "estimate"})
    return pairs_picture(table, comparison, ratio_margin(sdm), setting, alt)


def fault_differences(table: pd.DataFrame, sdm: float, setting: Setting) -> Picture:
    """Every difference of fault rates a − b, in percentage points, with its verdict.

    Parameters
    ----------
    table
        ``a, b, difference, lower, upper, verdict``, shares between −1 and 1.
    sdm
        The smallest difference of rates that matters, a share.

    Raises
    ------
    DataError
        If a column is missing or the table is empty.
    """
    need(table, ("a", "b", "difference", "lower", "upper", "verdict"), "fault differences")
    band = f"{say(100 * sdm, 0)} points"
    comparison = Comparison(
        name="fault_differences",
        title="Difference in the share of shots with a flow fault",
        axis="Difference in fault rate (percentage points)",
        joined="−",
        turned=negative,
        decimals=0,
        signed=True,
        interval=f"{setting.percent} interval of the difference of rates, first − second",
        band=f"less than ±{band}, the smallest difference that matters (SDM), set in advance.",
    )
    columns = ["difference", "lower", "upper"]
    scaled = table.assign(**{name: 100 * table[name] for name in columns})
    parts = [
        f"{pair_name(row.a, row.b, 'minus')}: {say(row.difference, 0, True)} points "
        f"({setting.percent} interval {say_range(row.lower, row.upper, 0, True)}), {row.verdict}"
        for row in each(scaled)
    ]
    alt = (
        "Differences in the share of shots with a flow fault, against a smallest difference "
        f"that matters of {band}. {'. '.join(parts)}."
    )
    drawn = scaled.rename(columns={"difference": "estimate"})
    return pairs_picture(drawn, comparison, difference_margin(100 * sdm), setting, alt)
