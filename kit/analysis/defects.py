"""Visible flow faults: how often a shot shows one, and how methods differ in that.

A shot counts as faulty when it shows at least one fault by the trial's written definition. None
faulty does not mean never faulty: zero of ten still allows 26 % (see :func:`zero_of`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.exact import exact_stratified_p
from kit.analysis.usable import pair_positions, two_methods_or_more, usable_rows
from kit.errors import DataError

RATES = ("method", "n", "faulty", "rate", "lower", "upper")
DIFFERENCES = ("a", "b", "difference", "lower", "upper", "p", "p_adjusted")


def wilson_interval(faulty: int, n: int, level: float = 0.95) -> tuple[float, float]:
    """Wilson's score interval of a proportion, without continuity correction.

    Source: Wilson (1927), J. Amer. Statist. Assoc. 22, 209-212; Newcombe (1998),
    Statistics in Medicine 17, 857-872, method 3.
    """
    _check_count(faulty, n)
    z = float(stats.norm.isf((1 - level) / 2))
    rate = faulty / n
    middle = (rate + z * z / (2 * n)) / (1 + z * z / n)
    reach = z / (1 + z * z / n) * np.sqrt(rate * (1 - rate) / n + z * z / (4 * n * n))
    lower = 0.0 if faulty == 0 else max(middle - reach, 0.0)
    upper = 1.0 if faulty == n else min(middle + reach, 1.0)
    return float(lower), float(upper)


def newcombe_interval(
    faulty_a: int, n_a: int, faulty_b: int, n_b: int, level: float = 0.95
) -> tuple[float, float]:
    """Newcombe's interval of the difference of two independent proportions, a minus b.

    Source: Newcombe (1998), Statistics in Medicine 17, 873-890, method 10.
    """
    a, b = faulty_a / n_a, faulty_b / n_b
    lower_a, upper_a = wilson_interval(faulty_a, n_a, level)
    lower_b, upper_b = wilson_interval(faulty_b, n_b, level)
    down = float(np.hypot(a - lower_a, upper_b - b))
    up = float(np.hypot(upper_a - a, b - lower_b))
    return a - b - down, a - b + up


def zero_of(n: int, confidence: float = 0.95) -> float:
    """The largest true rate that zero faulty shots of ``n`` still allow.

    1 − (1 − confidence)^(1/n): one-sided and exact (Clopper & Pearson 1934). The rule of three,
    3/n, is its approximation for large ``n`` at 95 %.
    """
    _check_count(0, n)
    return float(1 - (1 - confidence) ** (1 / n))


def fault_rates(table: pd.DataFrame, measure: str = "faults", level: float = 0.95) -> pd.DataFrame:
    """Shots with at least one fault for each method, with Wilson intervals.

    ``table`` has one row a shot with ``method`` and ``measure`` (a count of faults). Returns
    columns ``method, n, faulty, rate, lower, upper``; rates are shares between 0 and 1.
    """
    rows = _fault_rows(table, measure)
    counts = rows.groupby("method", observed=True)["faulty"].agg(["size", "sum"])
    limits = [
        wilson_interval(int(x), int(n), level)
        for n, x in zip(counts["size"], counts["sum"], strict=True)
    ]
    return pd.DataFrame(
        {
            "method": counts.index.astype(str),
            "n": counts["size"].to_numpy(),
            "faulty": counts["sum"].to_numpy(),
            "rate": (counts["sum"] / counts["size"]).to_numpy(),
            "lower": [lower for lower, _ in limits],
            "upper": [upper for _, upper in limits],
        }
    )[list(RATES)]


def fault_differences(
    table: pd.DataFrame,
    measure: str = "faults",
    strata: str | None = None,
    level: float = 0.95,
) -> pd.DataFrame:
    """Differences of fault rates for all pairs, a minus b.

    Parameters
    ----------
    table
        One row a shot with ``method``, ``measure`` and, if named, ``strata``.
    strata
        Column within which methods are compared (block or session); None compares all shots.
    level
        Confidence of all intervals together (Bonferroni over the pairs).

    Returns
    -------
    Columns ``a, b, difference, lower, upper, p, p_adjusted``: Newcombe's interval of the crude
    difference; ``p`` of the exact conditional test within strata (Fisher's exact test where there
    are none), two-sided; ``p_adjusted`` by Holm over the pairs.
    """
    columns = ["method"] if strata is None else ["method", strata]
    rows = _fault_rows(table, measure, columns)
    methods = two_methods_or_more(rows, "faults")
    pairs = pair_positions(len(methods))
    each = 1 - (1 - level) / len(pairs)
    records = [_difference(rows, methods[i], methods[j], strata, each) for i, j in pairs]
    differences = pd.DataFrame(records)
    differences["p_adjusted"] = holm(differences["p"].to_numpy())
    return differences[list(DIFFERENCES)]


def holm(p: np.ndarray) -> np.ndarray:
    """Holm's (1979) step-down adjustment."""
    from statsmodels.stats.multitest import multipletests

    return np.asarray(multipletests(p, method="holm")[1])


def _difference(
    rows: pd.DataFrame, a: str, b: str, strata: str | None, level: float
) -> dict[str, object]:
    pair = rows[rows["method"].isin([a, b])]
    is_a = pair["method"].eq(a).to_numpy()
    faulty = pair["faulty"].to_numpy()
    groups = np.zeros(len(pair)) if strata is None else pair[strata].cat.codes.to_numpy()
    x_a, x_b = int(faulty[is_a].sum()), int(faulty[~is_a].sum())
    n_a, n_b = int(is_a.sum()), int((~is_a).sum())
    lower, upper = newcombe_interval(x_a, n_a, x_b, n_b, level)
    return {
        "a": a,
        "b": b,
        "difference": x_a / n_a - x_b / n_b,
        "lower": lower,
        "upper": upper,
        "p": exact_stratified_p(tables_by_stratum(is_a, faulty, groups)),
    }


def tables_by_stratum(is_a: np.ndarray, faulty: np.ndarray, strata: np.ndarray) -> np.ndarray:
    """One row a stratum: faulty a, sound a, faulty b, sound b."""
    rows = []
    for stratum in np.unique(strata):
        here = strata == stratum
        a, b = faulty[here & is_a], faulty[here & ~is_a]
        rows.append([a.sum(), len(a) - a.sum(), b.sum(), len(b) - b.sum()])
    return np.array(rows, dtype=int)


def _fault_rows(
    table: pd.DataFrame, measure: str, columns: Sequence[str] = ("method",)
) -> pd.DataFrame:
    rows = usable_rows(table, measure, columns)
    counts = rows[measure].to_numpy()
    if (counts < 0).any() or (counts != np.round(counts)).any():
        wrong = counts[(counts < 0) | (counts != np.round(counts))][0]
        raise DataError(
            f"The column “{measure}” holds {wrong:g}; faults are counted in whole numbers, "
            "0 for none."
        )
    return rows.assign(faulty=(counts > 0).astype(int))


def _check_count(faulty: int, n: int) -> None:
    if n < 1 or not 0 <= faulty <= n:
        raise DataError(f"{faulty} faulty of {n} shots cannot be: check the counts.")
