"""Balanced incomplete blocks against published parameters and the efficiency of known designs."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.design.bibd import balanced_design, balanced_parameters, least_blocks
from kit.design.blockdesign import BlockDesign
from kit.design.efficiency import (
    canonical_efficiency_factors,
    efficiency_bound,
    efficiency_factor,
    is_connected,
    pair_variances,
)
from kit.design.incomplete import best_incomplete_blocks, exchanged_blocks
from kit.errors import PlanError
from tests.design import REFERENCE

# (v, b, r, k, λ): Fisher and Yates, Statistical Tables, table XVIII; Cochran and Cox (1957),
# Experimental Designs, table 11.3 (both from memory; each satisfies bk = rv, λ(v−1) = r(k−1)).
PUBLISHED = [
    (4, 4, 3, 3, 2),
    (4, 6, 3, 2, 1),
    (5, 5, 4, 4, 3),
    (5, 10, 6, 3, 3),
    (6, 10, 5, 3, 2),
    (6, 15, 10, 4, 6),
    (7, 7, 3, 3, 1),
    (7, 7, 4, 4, 2),
    (8, 14, 7, 4, 3),
    (9, 12, 4, 3, 1),
    (9, 18, 8, 4, 3),
    (9, 18, 10, 5, 5),
    (9, 12, 8, 6, 5),
    (10, 15, 6, 4, 2),
    (10, 18, 9, 5, 4),
    (10, 30, 9, 3, 2),
    (11, 11, 5, 5, 2),
    (11, 11, 6, 6, 3),
    (13, 13, 4, 4, 1),
    (13, 26, 6, 3, 1),
    (15, 15, 7, 7, 3),
    (16, 16, 6, 6, 2),
    (16, 20, 5, 4, 1),
]


@pytest.mark.parametrize(("v", "b", "r", "k", "meetings"), PUBLISHED)
def test_published_designs_are_built(v: int, b: int, r: int, k: int, meetings: int) -> None:
    design = balanced_design(v, k, b)
    assert design is not None
    assert (design.n_methods, design.n_blocks, design.block_size) == (v, b, k)
    assert design.is_balanced
    assert (design.replications == r).all()
    assert (design.concurrences[~np.eye(v, dtype=bool)] == meetings).all()
    assert design.incidence.max() == 1


@pytest.mark.parametrize(
    ("v", "k", "b"),
    [
        (7, 4, 8),  # bk/v is no whole number
        (6, 4, 3),  # λ would be a fraction
        (16, 6, 8),  # r(k−1) = λ(v−1) and bk = rv hold, but b < v: Fisher's inequality
        (22, 7, 22),  # symmetric, v even, k − λ = 5 no square (Schützenberger 1949)
        (5, 5, 5),  # no incomplete block
    ],
)
def test_designs_that_cannot_exist_are_not_built(v: int, k: int, b: int) -> None:
    assert balanced_parameters(v, k, b) is None
    assert balanced_design(v, k, b) is None


def test_a_design_that_satisfies_the_arithmetic_and_does_not_exist_is_not_claimed() -> None:
    # (15, 21, 7, 5, 2) is the smallest such set: Nandi (1945), Sankhya 7, 305-312.
    assert balanced_parameters(15, 5, 21) is not None
    assert balanced_design(15, 5, 21) is None


def test_least_blocks_of_the_fano_plane_and_its_complement() -> None:
    assert least_blocks(7, 3) == 7
    assert least_blocks(7, 4) == 7


# Average efficiency t(k−1)/(k(t−1)) of the balanced designs listed in the method notes
# (recomputed there from the formula): 5 in 4, 6 in 3, 6 in 4, 7 in 4, 7 in 3, 8 in 4, 9 in 3.
@pytest.mark.parametrize(
    ("t", "k", "b", "efficiency"),
    [
        (5, 4, 5, 0.94),
        (6, 3, 10, 0.80),
        (6, 4, 15, 0.90),
        (7, 4, 7, 0.875),
        (7, 3, 7, 0.78),
        (8, 4, 14, 0.857),
        (9, 3, 12, 0.75),
        (10, 5, 18, 0.89),
    ],
)
def test_efficiency_of_balanced_designs(t: int, k: int, b: int, efficiency: float) -> None:
    design = best_incomplete_blocks(t, k, b)
    assert efficiency_factor(design) == pytest.approx(efficiency, abs=0.005)
    assert efficiency_factor(design) == pytest.approx(efficiency_bound(t, k, b), abs=1e-12)
    assert np.ptp(canonical_efficiency_factors(design)) < 1e-12


@given(
    t=st.integers(3, 10),
    k=st.integers(2, 9),
    times=st.integers(1, 3),
    extra=st.integers(0, 9),
)
@settings(max_examples=30, deadline=None)
def test_every_incomplete_design_is_connected_even_and_within_its_bound(
    t: int, k: int, times: int, extra: int
) -> None:
    k = min(k, t)
    blocks = max(-(-(t - 1) // (k - 1)), -(-t // k)) * times + extra
    design = best_incomplete_blocks(t, k, blocks)
    assert (design.n_methods, design.n_blocks, design.block_size) == (t, blocks, k)
    assert design.incidence.max() == 1
    assert np.ptp(design.replications) <= 1
    if times >= 2:
        assert is_connected(design)
        assert efficiency_factor(design) <= efficiency_bound(t, k, blocks) + 1e-9


def test_the_search_reaches_the_bound_where_near_balance_is_possible() -> None:
    # Regular graph designs with these sizes exist: John and Mitchell (1977), Journal of the Royal
    # Statistical Society B 39, 39-43 (from memory); meetings differ by one at most.
    for t, k, b in [(8, 4, 12), (6, 4, 12), (10, 4, 20), (9, 3, 15)]:
        design = exchanged_blocks(t, k, b)
        meet = design.concurrences[~np.eye(t, dtype=bool)]
        assert np.ptp(meet) <= 1
        assert efficiency_factor(design) > 0.995 * efficiency_bound(t, k, b)


@pytest.mark.parametrize(
    ("t", "k", "b", "nearest"),
    [(7, 8, 7, "holds 7"), (7, 1, 7, "holds 2"), (9, 3, 3, "4 blocks of 3")],
)
def test_impossible_sizes_name_the_nearest_possible(t: int, k: int, b: int, nearest: str) -> None:
    with pytest.raises(PlanError, match=nearest):
        best_incomplete_blocks(t, k, b)


def test_a_disconnected_design_has_no_finite_variance() -> None:
    design = BlockDesign(4, ((0, 1), (0, 1), (2, 3), (2, 3)), "two islands")
    assert not is_connected(design)
    assert np.isinf(pair_variances(design)[0, 2])
    assert efficiency_factor(design) == 0.0


def test_a_published_taste_design_is_recognised_as_balanced() -> None:
    # R package DAAG, data appletaste: each of 20 panelists tastes 3 of 4 products.
    table = pd.read_csv(REFERENCE / "data" / "appletaste_bibd.csv")
    number = {name: i for i, name in enumerate(sorted(table["product"].unique()))}
    blocks = tuple(
        tuple(number[product] for product in products)
        for _, products in table.groupby("panelist")["product"]
    )
    design = BlockDesign(4, blocks, "appletaste")
    assert design.is_balanced
    assert efficiency_factor(design) == pytest.approx(4 * 2 / (3 * 3), abs=1e-12)
