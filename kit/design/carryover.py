"""Orders in which every method follows every other equally often, so that residue falls fairly.

A row is the order of one block (or of one taster's cups). Methods are numbered from 0.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from kit.design.blockdesign import BlockDesign, IntArray
from kit.errors import PlanError

_SEARCH_SEED = 20_003
_SWEEPS = 250
_MOST_TRIES = 60_000


def williams_rows(n_methods: int) -> IntArray:
    """Williams's rows: t of them for an even number of methods, 2t for an odd one.

    Each method stands once (twice) in each place and follows each other once (twice).
    Source: Williams (1949), Australian Journal of Scientific Research A 2, 149-168: the first
    row runs 0, 1, t−1, 2, t−2, …; the others are its shifts, and for odd t their mirror images.

    Raises
    ------
    PlanError
        If there are fewer than two methods.
    """
    if n_methods < 2:
        raise PlanError(
            f"An order balanced for carry-over needs at least two methods, not {n_methods}. "
            "The nearest possible has two."
        )
    steps = np.arange(1, n_methods)
    first = np.concatenate([[0], np.where(steps % 2 == 1, (steps + 1) // 2, -(steps // 2))])
    rows = (first[None, :] + np.arange(n_methods)[:, None]) % n_methods
    return rows if n_methods % 2 == 0 else np.vstack([rows, rows[:, ::-1]])


@lru_cache(maxsize=128)
def part_of_williams(n_methods: int, n_rows: int) -> tuple[tuple[int, ...], ...]:
    """``n_rows`` orders of all methods with places and followers as even as can be.

    For an even number of methods any rows of Williams's square are within one. For an odd number
    rows are exchanged between the two squares, and orders found by swapping are taken instead
    where they are more even; often no order within one exists (five methods in five rows, say).
    """
    rows = williams_rows(n_methods)
    if n_methods % 2 == 0:
        # Neighbouring rows: the first of one is never the last of the other.
        return tuple(tuple(row) for row in rows[:n_rows].tolist())
    chosen = list(range(0, len(rows), 2)) + list(range(1, len(rows), 2))
    inside, outside = chosen[:n_rows], chosen[n_rows:]
    part = rows[sorted(_exchanged(rows, inside, outside, n_methods))]
    everyone = BlockDesign(n_methods, (tuple(range(n_methods)),) * n_rows, "complete blocks")
    swapped = even_followers(everyone).array
    better = min((part, swapped), key=lambda order: unevenness(order, n_methods))
    return tuple(tuple(row) for row in better.tolist())


def _exchanged(rows: IntArray, inside: list[int], outside: list[int], t: int) -> list[int]:
    """Exchange rows one for one while that lowers the unevenness."""
    best = unevenness(rows[inside], t)
    improved = True
    while improved:
        improved = False
        for i in range(len(inside)):
            for j in range(len(outside)):
                inside[i], outside[j] = outside[j], inside[i]
                now = unevenness(rows[inside], t)
                if now < best:
                    best, improved = now, True
                else:
                    inside[i], outside[j] = outside[j], inside[i]
    return inside


def place_counts(rows: IntArray, n_methods: int) -> IntArray:
    """How often each method stands in each place (methods × places)."""
    counts = np.zeros((n_methods, rows.shape[1]), dtype=np.int64)
    np.add.at(counts, (rows.ravel(), np.tile(np.arange(rows.shape[1]), len(rows))), 1)
    return counts


def follower_counts(rows: IntArray, n_methods: int) -> IntArray:
    """How often each method (row) directly follows each other (column) within a row of cups."""
    counts = np.zeros((n_methods, n_methods), dtype=np.int64)
    np.add.at(counts, (rows[:, 1:].ravel(), rows[:, :-1].ravel()), 1)
    return counts


def unevenness(rows: IntArray, n_methods: int) -> int:
    """Sum of squared counts of places and of followers: least when both are even."""
    places, followers = place_counts(rows, n_methods), follower_counts(rows, n_methods)
    return int((places**2).sum() + (followers**2).sum())


@lru_cache(maxsize=64)
def even_places(design: BlockDesign) -> BlockDesign:
    """The blocks of a design ordered so that each method is spread evenly over the places.

    A row-column design with blocks as columns; a Youden square where the design is symmetric
    (Smith and Hartley 1948, Journal of the Royal Statistical Society B 10, 262-263: such an
    order always exists, within one).
    """
    rows = _ordered(design, follower_weight=0)
    return BlockDesign(design.n_methods, rows, f"{design.origin}, places evened out")


@lru_cache(maxsize=64)
def even_followers(design: BlockDesign) -> BlockDesign:
    """The blocks of a design ordered so that places and followers are as even as can be."""
    rows = _ordered(design, follower_weight=1)
    return BlockDesign(design.n_methods, rows, f"{design.origin}, places and followers evened out")


def _ordered(design: BlockDesign, follower_weight: int) -> tuple[tuple[int, ...], ...]:
    """Swap shots within blocks while the weighted unevenness does not rise (threshold search)."""
    t, k, b = design.n_methods, design.block_size, design.n_blocks
    rng = np.random.Generator(np.random.PCG64(_SEARCH_SEED))
    rows = rng.permuted(design.array, axis=1)
    places = place_counts(rows, t).tolist()
    followers = follower_counts(rows, t).tolist()
    orders = rows.tolist()
    tries = min(_MOST_TRIES, _SWEEPS * b * k)
    for step, (a, i, j) in enumerate(rng.integers(0, [b, k, k], size=(tries, 3)).tolist()):
        if i == j:
            continue
        allowed = max(0, 3 - 4 * step // tries)
        change = _swap(orders[a], places, followers, (i, j), follower_weight)
        if change > allowed:
            _swap(orders[a], places, followers, (i, j), follower_weight)
    return tuple(tuple(order) for order in orders)


def _swap(
    order: list[int],
    places: list[list[int]],
    followers: list[list[int]],
    pair: tuple[int, int],
    follower_weight: int,
) -> int:
    """Swap two shots of a block, keep the counts, and give the change of the sum of squares."""
    i, j = pair
    change = 0
    joins = sorted({p for q in pair for p in (q, q + 1) if 1 <= p < len(order)})
    for method, place in ((order[i], i), (order[j], j)):
        places[method][place] -= 1
        change -= 2 * places[method][place] + 1
    for p in joins:
        followers[order[p]][order[p - 1]] -= 1
        change -= follower_weight * (2 * followers[order[p]][order[p - 1]] + 1)
    order[i], order[j] = order[j], order[i]
    for method, place in ((order[i], i), (order[j], j)):
        change += 2 * places[method][place] + 1
        places[method][place] += 1
    for p in joins:
        change += follower_weight * (2 * followers[order[p]][order[p - 1]] + 1)
        followers[order[p]][order[p - 1]] += 1
    return change
