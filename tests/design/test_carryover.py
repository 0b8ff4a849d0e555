"""Orders balanced for carry-over: Williams's rows, parts of them, and incomplete blocks."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.design.carryover import (
    even_followers,
    even_places,
    follower_counts,
    part_of_williams,
    place_counts,
    unevenness,
    williams_rows,
)
from kit.design.incomplete import best_incomplete_blocks
from kit.errors import PlanError


def off_diagonal(counts: np.ndarray) -> np.ndarray:
    return counts[~np.eye(len(counts), dtype=bool)]


def test_first_rows_are_those_of_williams() -> None:
    # Williams (1949), section 3, numbered from 0: 0 1 3 2 for four, 0 1 5 2 4 3 for six.
    assert williams_rows(4)[0].tolist() == [0, 1, 3, 2]
    assert williams_rows(6)[0].tolist() == [0, 1, 5, 2, 4, 3]


@pytest.mark.parametrize("t", range(2, 16))
def test_whole_sets_are_balanced_for_place_and_follower(t: int) -> None:
    rows = williams_rows(t)
    times = 1 if t % 2 == 0 else 2
    assert rows.shape == (t * times, t)
    assert (place_counts(rows, t) == times).all()
    followers = follower_counts(rows, t)
    assert (off_diagonal(followers) == times).all()
    assert np.trace(followers) == 0


@given(t=st.integers(2, 12), share=st.floats(0.01, 0.99))
@settings(max_examples=20, deadline=None)
def test_parts_hold_every_method_in_each_row_and_are_nearly_even(t: int, share: float) -> None:
    whole = len(williams_rows(t))
    n = max(1, int(share * whole))
    rows = np.array(part_of_williams(t, n))
    assert rows.shape == (n, t)
    assert (np.sort(rows, axis=1) == np.arange(t)).all()
    within = 1 if t % 2 == 0 else 2
    assert np.ptp(place_counts(rows, t)) <= within
    assert np.ptp(off_diagonal(follower_counts(rows, t))) <= within


def test_five_methods_in_twelve_blocks_are_within_one() -> None:
    # Ten blocks are a whole set; the other two have no place and no follower twice.
    rows = np.array(part_of_williams(5, 2))
    assert place_counts(rows, 5).max() == 1
    assert follower_counts(rows, 5).max() == 1


@pytest.mark.parametrize(("t", "k", "b"), [(7, 4, 7), (7, 3, 7), (11, 5, 11), (13, 4, 13)])
def test_symmetric_designs_become_youden_squares(t: int, k: int, b: int) -> None:
    # Smith and Hartley (1948): every symmetric balanced design can be so arranged.
    design = even_places(best_incomplete_blocks(t, k, b))
    assert (place_counts(design.array, t) == 1).all()
    assert design.is_balanced


@pytest.mark.parametrize(("t", "k", "b"), [(7, 4, 28), (6, 3, 10), (8, 4, 14), (12, 5, 40)])
def test_ordering_keeps_the_blocks_and_evens_out_followers(t: int, k: int, b: int) -> None:
    plain = best_incomplete_blocks(t, k, b)
    ordered = even_followers(plain)
    assert [sorted(block) for block in ordered.blocks] == [sorted(b) for b in plain.blocks]
    rng = np.random.default_rng(3)
    by_luck = [unevenness(rng.permuted(plain.array, axis=1), t) for _ in range(200)]
    assert unevenness(ordered.array, t) < min(by_luck)
    assert np.ptp(place_counts(ordered.array, t)) <= 2


def test_an_order_of_one_is_refused() -> None:
    with pytest.raises(PlanError, match="at least two"):
        williams_rows(1)
