"""The count of dealings, against published worked examples and scipy."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kit.errors import DataError
from kit.report.recheck import count_dealings, relabelling_check


def shots(first: list[float], second: list[float], a: str = "A", b: str = "B") -> pd.DataFrame:
    """One shot of each method in each block."""
    rows = [
        {"block": f"{block}", "method": method, "ey_pct": value, "role": "study", "status": "kept"}
        for block, values in enumerate(zip(first, second, strict=True), start=1)
        for method, value in zip((a, b), values, strict=True)
    ]
    return pd.DataFrame(rows)


def only_pair(table: pd.DataFrame):
    return relabelling_check(table, "ey_pct", "extraction yield", "points", seed=1).pairs[0]


def test_shoes_of_box_hunter_and_hunter():
    """Box, Hunter and Hunter (1978), boys' shoes: of the 1,024 ways, 3 have a larger mean
    difference and 4 the same one, so 7 one-sided and 14 two-sided (data from memory)."""
    a = [13.2, 8.2, 10.9, 14.3, 10.7, 6.6, 9.5, 10.8, 8.8, 13.3]
    b = [14.0, 8.8, 11.2, 14.2, 11.8, 6.4, 9.8, 11.3, 9.3, 13.6]
    pair = only_pair(shots(a, b))
    assert pair.difference == pytest.approx(-0.41)
    assert (pair.at_least, pair.dealings) == (14, 1024)


def test_maize_of_fisher():
    """Fisher (1935), The Design of Experiments, section 21, Darwin's maize in eighths of an inch:
    863 of 32,768 ways give a sum as large, one-sided; twice that for both sides."""
    differences = [49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48]
    pair = only_pair(shots([float(d) for d in differences], [0.0] * 15))
    assert (pair.at_least, pair.dealings) == (2 * 863, 32768)


@given(
    st.lists(st.lists(st.integers(-60, 60), min_size=1, max_size=4), min_size=1, max_size=6),
    st.integers(-200, 200),
)
@settings(max_examples=80, deadline=None)
def test_counts_are_those_of_going_through_every_dealing(blocks, seen):
    sums = [abs(sum(chosen)) for chosen in product(*blocks)]
    at_least, dealings = count_dealings(blocks, min(abs(seen), max(sums)))
    assert dealings == len(sums)
    assert at_least == sum(value >= min(abs(seen), max(sums)) for value in sums)


def test_the_same_as_scipy_on_paired_data():
    rng = np.random.default_rng(20260701)
    first, second = rng.normal(19.6, 0.5, 9).round(2), rng.normal(19.2, 0.5, 9).round(2)
    theirs = stats.permutation_test(
        ((first - second),), lambda d: abs(round(float(d.sum()), 6)), permutation_type="samples",
        alternative="greater", n_resamples=np.inf,
    )  # fmt: skip
    ours = only_pair(shots(list(first), list(second)))
    assert ours.p == pytest.approx(theirs.pvalue, abs=1e-12)


def test_blocks_with_a_doubled_control_are_dealt_in_every_way():
    """Two of A and one of B in each of two blocks: 3 × 3 dealings, gone through by hand."""
    rows = [("1", "A", 3.0), ("1", "A", 1.0), ("1", "B", 5.0),
            ("2", "A", 2.0), ("2", "A", 2.5), ("2", "B", 4.0)]  # fmt: skip
    table = pd.DataFrame(rows, columns=["block", "method", "ey_pct"])
    pair = only_pair(table.assign(role="study", status="kept"))
    means = []
    for odd_one, other in product(range(3), range(3)):
        total = 0.0
        for values, chosen in (([3.0, 1.0, 5.0], odd_one), ([2.0, 2.5, 4.0], other)):
            rest = [value for place, value in enumerate(values) if place != chosen]
            total += sum(rest) / 2 - values[chosen]
        means.append(total)
    seen = (3 + 1) / 2 - 5 + (2 + 2.5) / 2 - 4
    assert pair.dealings == 9
    assert pair.at_least == sum(abs(value) >= abs(seen) - 1e-12 for value in means)
    assert pair.difference == pytest.approx(seen / 2)


def test_equal_methods_reject_as_rarely_as_promised():
    """Level: 2,000 simulated trials of 12 blocks without a difference, seed 4711. A p of 0.05 or
    less comes in 204 of 4,096 dealings (4.98 %); Monte Carlo error 0.49 points, 3 allowed."""
    rng = np.random.default_rng(4711)
    low = 0
    for differences in rng.normal(0, 40, (2000, 12)).round().astype(int).tolist():
        at_least, dealings = count_dealings([[d, -d] for d in differences], sum(differences))
        low += at_least / dealings <= 0.05
    assert abs(low / 2000 - 0.0498) <= 3 * 0.0049


def test_lost_and_replaced_shots_take_no_part():
    table = shots([20.0, 19.0, 21.0], [19.0, 19.5, 20.0])
    table.loc[0, "status"] = "replaced"
    assert only_pair(table).blocks == 2
    with pytest.raises(DataError, match="nothing to deal anew"):
        relabelling_check(table.head(2), "ey_pct", "extraction yield", "points", seed=1)
    with pytest.raises(DataError, match="needs the column block"):
        relabelling_check(table.drop(columns="block"), "ey_pct", "x", "points", seed=1)
