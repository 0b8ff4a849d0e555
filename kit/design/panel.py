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
    Fewer: the best incomplete blocks with places and followers evened out. More: Williams's
    orders with hidden duplicates, spread evenly over the methods and never side by side.

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
    orders = _williams_orders(rng, cups, rows)
    if cups == n_methods:
        return orders
    return _with_duplicates(rng, orders, n_methods)


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


def _with_duplicates(rng: np.random.Generator, orders: IntArray, n_methods: int) -> IntArray:
    """Cups numbered above the methods become second cups of methods, never beside their twin."""
    used = np.zeros(n_methods, dtype=np.int64)
    rows = orders.copy()
    for row in rows:
        for place in np.flatnonzero(row >= n_methods):
            taken = set(row[max(place - 1, 0) : place + 2].tolist())
            doubled = {int(m) for m in row if (row == m).sum() > 1}
            free = [m for m in range(n_methods) if m not in taken | doubled]
            free = free or [m for m in range(n_methods) if m not in doubled]
            fewest = min(used[m] for m in free)
            chosen = int(rng.choice([m for m in free if used[m] == fewest]))
            row[place] = chosen
            used[chosen] += 1
    return rows
