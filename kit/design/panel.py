"""Orders of cups for a panel: every taster another order, all orders balanced over the panel.

Cups are numbered by method from 0; a taster's row is one sitting.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from kit.design.blockdesign import IntArray
from kit.design.carryover import even_followers, part_of_williams, williams_rows
from kit.design.incomplete import best_incomplete_blocks
from kit.errors import PlanError

Test = Literal["triangle", "duo-trio", "paired"]

# A and B are the two methods; in the duo-trio test the first cup is the named reference.
ORDERS: dict[str, tuple[str, ...]] = {
    "triangle": ("AAB", "ABA", "BAA", "BBA", "BAB", "ABB"),
    "duo-trio": ("AAB", "ABA", "BAB", "BBA"),
    "paired": ("AB", "BA"),
}
"""Every order of a set. Triangle: ISO 4120:2021; duo-trio with balanced reference: ISO 10399:2017;
paired: ISO 5495:2005 (the standards ask for each order equally often and at random)."""


def orders_of_test(
    rng: np.random.Generator, test: Test, tasters: int, sets: int
) -> list[list[str]]:
    """The order of every set of every taster.

    Over the panel each order is used equally often, within one; a taster gets an order again
    only after every other. Orders, tasters and the sets of a taster are permuted at random.
    """
    names = ORDERS[test]
    numbers = (np.arange(tasters * sets) % len(names)).reshape(tasters, sets)
    numbers = rng.permuted(numbers[rng.permutation(tasters)], axis=1)
    labels = rng.permutation(len(names))
    return [[names[labels[number]] for number in row] for row in numbers]


def sitting_orders(rng: np.random.Generator, n_methods: int, cups: int, rows: int) -> IntArray:
    """One order of cups for each sitting of each taster (sittings × cups).

    As many cups as methods: Williams's orders, balanced for place and for what was tasted before.
    Fewer: the best incomplete blocks with places and followers evened out. More: the same orders
    with hidden duplicates put in, spread evenly over the methods and never side by side.

    Raises
    ------
    PlanError
        If the cups cannot tie the methods together (the nearest possible number is named), or
        more cups are duplicates than methods.
    """
    if cups < n_methods:
        plan = even_followers(best_incomplete_blocks(n_methods, cups, rows)).array
        return rng.permutation(n_methods)[plan[rng.permutation(rows)]]
    if cups > 2 * n_methods:
        raise PlanError(
            f"{cups} cups a sitting hold {n_methods} methods more than twice over. The nearest "
            f"possible: {2 * n_methods} cups, and more sittings."
        )
    orders = _williams_orders(rng, n_methods, rows)
    return orders if cups == n_methods else _with_duplicates(rng, orders, cups - n_methods)


def _williams_orders(rng: np.random.Generator, cups: int, rows: int) -> IntArray:
    """Whole Williams sets and a part, each renamed at random, in random order over the panel."""
    if cups == 1:
        return np.zeros((rows, 1), dtype=np.int64)
    whole = williams_rows(cups)
    parts = []
    for start in range(0, rows, len(whole)):
        left = min(len(whole), rows - start)
        part = whole if left == len(whole) else np.array(part_of_williams(cups, left))
        parts.append(rng.permutation(cups)[part])
    return np.vstack(parts)[rng.permutation(rows)]


def _with_duplicates(rng: np.random.Generator, orders: IntArray, extra: int) -> IntArray:
    """A second cup of ``extra`` methods in each row, never beside its twin.

    The methods doubled least so far are doubled next, so that over the panel each is a hidden
    duplicate equally often, within one.
    """
    used = np.zeros(orders.shape[1], dtype=np.int64)
    rows = []
    for order in orders.tolist():
        # Ties are broken at random: a random number below one is added to each whole number.
        doubled = np.argsort(used + rng.random(len(used)))[:extra]
        used[doubled] += 1
        for method in doubled.tolist():
            twin = order.index(method)
            apart = [place for place in range(len(order) + 1) if place not in (twin, twin + 1)]
            order.insert(int(rng.choice(apart)), method)
        rows.append(order)
    return np.array(rows, dtype=np.int64)
