"""Orders for a panel: balanced places, hidden duplicates, and sets with every order."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.design.carryover import follower_counts, place_counts
from kit.design.panel import ORDERS, orders_of_test, sitting_orders
from kit.errors import PlanError


@pytest.mark.parametrize("test", ["triangle", "duo-trio", "paired"])
@given(tasters=st.integers(1, 30), sets=st.integers(1, 12), seed=st.integers(0, 99))
@settings(max_examples=25, deadline=None)
def test_every_order_is_used_equally_often_within_one(
    test: str, tasters: int, sets: int, seed: int
) -> None:
    drawn = orders_of_test(np.random.default_rng(seed), test, tasters, sets)  # type: ignore[arg-type]
    flat = [order for row in drawn for order in row]
    counts = [flat.count(order) for order in ORDERS[test]]
    assert sum(counts) == tasters * sets
    assert max(counts) - min(counts) <= 1
    for row in drawn:
        own = [row.count(order) for order in ORDERS[test]]
        assert max(own) - min(own) <= 1


def test_the_orders_are_those_of_the_standards() -> None:
    # Triangle: the six orders of two As and a B or the reverse; duo-trio: reference first, each
    # method as reference, the like cup first or second.
    assert len(set(ORDERS["triangle"])) == 6
    assert all(sorted(o) in (list("AAB"), list("ABB")) for o in ORDERS["triangle"])
    assert all({o[1], o[2]} == {"A", "B"} for o in ORDERS["duo-trio"])
    assert len(set(ORDERS["duo-trio"])) == 4


def test_a_whole_panel_is_balanced_for_place_and_what_came_before() -> None:
    orders = sitting_orders(np.random.default_rng(1), 6, 6, 12)
    assert (place_counts(orders, 6) == 2).all()
    followers = follower_counts(orders, 6)
    assert (followers[~np.eye(6, dtype=bool)] == 2).all()


@given(
    methods=st.integers(3, 8),
    extra=st.integers(1, 3),
    rows=st.integers(1, 20),
    seed=st.integers(0, 99),
)
@settings(max_examples=40, deadline=None)
def test_hidden_duplicates_stand_apart_and_go_round(
    methods: int, extra: int, rows: int, seed: int
) -> None:
    orders = sitting_orders(np.random.default_rng(seed), methods, methods + extra, rows)
    for row in orders:
        counts = np.bincount(row, minlength=methods)
        assert sorted(counts) == [1] * (methods - extra) + [2] * extra
    twins = sum(np.bincount(row, minlength=methods) - 1 for row in orders)
    assert np.ptp(twins) <= 1
    assert (orders[:, 1:] != orders[:, :-1]).all()


def test_fewer_cups_than_methods_become_incomplete_blocks() -> None:
    orders = sitting_orders(np.random.default_rng(3), 7, 4, 14)
    assert all(len(set(row)) == 4 for row in orders.tolist())
    assert np.bincount(orders.ravel()).tolist() == [8] * 7


def test_too_many_or_too_few_cups_name_the_nearest_possible() -> None:
    with pytest.raises(PlanError, match="nearest possible: 6 cups"):
        sitting_orders(np.random.default_rng(4), 3, 7, 5)
    with pytest.raises(PlanError, match="nearest possible"):
        sitting_orders(np.random.default_rng(4), 9, 2, 3)
