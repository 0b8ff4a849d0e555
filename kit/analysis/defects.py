"""Visible flow faults: how often a shot shows one, and how methods differ in that.

A shot counts as faulty when it shows at least one fault by the trial's written definition. None
faulty does not mean never faulty: zero of ten still allows 26 % (see :func:`zero_of`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.exact import exact_odds_ratio, exact_stratified_p
from kit.analysis.multiplicity import holm_p
from kit.analysis.ordinal import OrdinalFit, fit_ordinal
from kit.analysis.usable import pair_positions, two_methods_or_more, usable_rows
from kit.errors import DataError, ModelError

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
    differences["p_adjusted"] = holm_p(differences["p"].to_numpy())
    return differences[list(DIFFERENCES)]


def fault_odds(
    table: pd.DataFrame,
    measure: str = "faults",
    strata: str | None = None,
    level: float = 0.95,
) -> pd.DataFrame:
    """Odds ratios of a fault for all pairs, compared within strata.

    Columns ``a, b, odds_ratio, lower, upper``.
        The conditional maximum-likelihood estimate with its exact interval (simultaneous by
    Bonferroni). It stays valid where one method never or always shows a fault: the estimate is
    then 0 or infinite and one limit is finite; where neither has shown any, nothing is known
    (estimate empty, 0 to infinity).
    """
    columns = ["method"] if strata is None else ["method", strata]
    rows = _fault_rows(table, measure, columns)
    methods = two_methods_or_more(rows, "faults")
    pairs = pair_positions(len(methods))
    each = 1 - (1 - level) / len(pairs)
    records = []
    for i, j in pairs:
        is_a, faulty, groups = _pair(rows, methods[i], methods[j], strata)
        odds = exact_odds_ratio(tables_by_stratum(is_a, faulty, groups), each)
        records.append((methods[i], methods[j], *odds))
    return pd.DataFrame(records, columns=["a", "b", "odds_ratio", "lower", "upper"])


def fault_model(table: pd.DataFrame, stratum: str, measure: str = "faults") -> OrdinalFit:
    """A logistic mixed model of faulty shots: method fixed, one random intercept a ``stratum``.

    Exact maximum likelihood by quadrature; effects are log odds of a faulty shot against the first
    method (use :func:`kit.analysis.ordinal.ordinal_pairs` for pairs). One random column only: name
    the finest one (block), which takes up what the coarser ones do. Where a method never or always
    shows a fault there is no finite estimate and the model is refused; :func:`fault_odds`, exact
    within strata, is its substitute.

    Raises
    ------
    ModelError
        If faults are all or none, of the trial or of one method.
    """
    rows = _fault_rows(table, measure, ["method", stratum])
    share = rows.groupby("method", observed=True)["faulty"].mean()
    extreme = share.index[(share == 0) | (share == 1)]
    if len(extreme):
        often = "always" if share[extreme[0]] == 1 else "never"
        raise ModelError(
            f"“{extreme[0]}” {often} showed a fault, so a logistic model has no finite estimate "
            "for it. The exact odds ratio within blocks stands in its place."
        )
    return fit_ordinal(rows, "faulty", ["method"], stratum)


def _difference(
    rows: pd.DataFrame, a: str, b: str, strata: str | None, level: float
) -> dict[str, object]:
    is_a, faulty, groups = _pair(rows, a, b, strata)
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


def _pair(
    rows: pd.DataFrame, a: str, b: str, strata: str | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of the shots of a and b: which are a's, which are faulty, and the number of the stratum."""
    pair = rows[rows["method"].astype(str).isin([a, b])]
    is_a = pair["method"].astype(str).eq(a).to_numpy()
    groups = np.zeros(len(pair)) if strata is None else pair[strata].cat.codes.to_numpy()
    return is_a, pair["faulty"].to_numpy(), groups


def tables_by_stratum(is_a: np.ndarray, faulty: np.ndarray, strata: np.ndarray) -> np.ndarray:
    """One row a stratum: faulty a, sound a, faulty b, sound b."""
    rows = []
    for stratum in np.unique(strata):
        here = strata == stratum
        a, b = faulty[here & is_a], faulty[here & ~is_a]
        rows.append([a.sum(), len(a) - a.sum(), b.sum(), len(b) - b.sum()])
    return np.array(rows, dtype=int)


def counted_faults(
    table: pd.DataFrame, measure: str = "faults", columns: Sequence[str] = ("method",)
) -> pd.DataFrame:
    """The usable rows, their faults checked to be whole numbers.

    Raises
    ------
    DataError
        If a count is negative or no whole number.
    """
    rows = usable_rows(table, measure, columns)
    counts = rows[measure].to_numpy()
    wrong = counts[(counts < 0) | (counts != np.round(counts))]
    if wrong.size:
        raise DataError(
            f"The column “{measure}” holds {wrong[0]:g}; faults are counted in whole numbers, "
            "0 for none."
        )
    return rows


def _fault_rows(
    table: pd.DataFrame, measure: str, columns: Sequence[str] = ("method",)
) -> pd.DataFrame:
    rows = counted_faults(table, measure, columns)
    return rows.assign(faulty=(rows[measure] > 0).astype(int))


def _check_count(faulty: int, n: int) -> None:
    if n < 1 or not 0 <= faulty <= n:
        raise DataError(f"{faulty} faulty of {n} shots cannot be: check the counts.")
