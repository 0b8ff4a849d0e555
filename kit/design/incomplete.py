"""The best incomplete blocks for any number of methods, block size and number of blocks.

Balanced where a balanced design is at hand; otherwise blocks are exchanged until pairs of methods
meet as evenly as they can. The search works in whole numbers and with its own fixed seed, so
every machine finds the same design.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from kit.design.bibd import balanced_design, balanced_parameters, least_blocks, smallest_design
from kit.design.blockdesign import BlockDesign, IntArray
from kit.design.efficiency import efficiency_factor
from kit.errors import PlanError

_SEARCH_SEED = 20_001
_MOST_TRIES = 24_000  # swaps tried from one start
_ALL_TRIES = 100_000  # swaps tried in all, spread over 4 to 20 starts


@lru_cache(maxsize=128)
def best_incomplete_blocks(n_methods: int, block_size: int, n_blocks: int) -> BlockDesign:
    """The most efficient design found: ``n_blocks`` blocks of ``block_size`` of ``n_methods``.

    Raises
    ------
    PlanError
        If the blocks cannot connect the methods: too few shots, or blocks of one.
    """
    _check_size(n_methods, block_size, n_blocks)
    if block_size == n_methods:
        everyone = tuple(range(n_methods))
        return BlockDesign(n_methods, (everyone,) * n_blocks, "complete blocks")
    balanced = balanced_design(n_methods, block_size, n_blocks)
    if balanced is not None:
        return balanced
    candidates = [exchanged_blocks(n_methods, block_size, n_blocks)]
    candidates += _balanced_and_rest(n_methods, block_size, n_blocks)
    # Rounded, so that the last digit of a machine's arithmetic cannot change the choice.
    return max(candidates, key=lambda design: round(efficiency_factor(design), 9))


def _check_size(n_methods: int, block_size: int, n_blocks: int) -> None:
    t, k, b = n_methods, block_size, n_blocks
    if not 2 <= k <= t:
        raise PlanError(
            f"An incomplete block holds at least 2 and at most as many shots as there are "
            f"methods ({t}); it cannot hold {k}. The nearest possible block holds "
            f"{min(max(k, 2), t)}."
        )
    least = max(-(-(t - 1) // (k - 1)), -(-t // k))
    if b < least:
        raise PlanError(
            f"{b} blocks of {k} cannot tie {t} methods together: some differences could never be "
            f"estimated. The nearest possible design has {least} blocks of {k}; for precision "
            "take several times as many."
        )


def _balanced_and_rest(t: int, k: int, b: int) -> list[BlockDesign]:
    """As many whole balanced sets as fit, and the remaining blocks by exchange."""
    step = least_blocks(t, k)
    if b <= step or balanced_parameters(t, k, step) is None:
        return []
    whole = smallest_design(t, k, step)
    rest = b % step
    if whole is None or rest == 0:
        return []
    filled = whole.times(b // step)
    remainder = exchanged_blocks(t, k, rest)
    words = f"{filled.origin}; the other {rest} blocks by exchange"
    return [BlockDesign(t, filled.blocks + remainder.blocks, words)]


@lru_cache(maxsize=128)
def exchanged_blocks(n_methods: int, block_size: int, n_blocks: int) -> BlockDesign:
    """Blocks improved by swapping methods between them until meetings are as even as can be.

    Replication is equal within one throughout; the sum of squared concurrences falls
    ((M,S)-optimality: Eccleston and Hedayat 1974, Annals of Statistics 2). Of a few starts, the
    one with the highest average efficiency is kept.
    """
    rng = np.random.Generator(np.random.PCG64(_SEARCH_SEED))
    tries = min(_MOST_TRIES, 150 * n_blocks * block_size)
    starts = min(max(_ALL_TRIES // tries, 4), 20)
    found = [_one_search(rng, (n_methods, block_size, n_blocks), tries) for _ in range(starts)]
    return max(found, key=lambda design: round(efficiency_factor(design), 9))


def _one_search(rng: np.random.Generator, size: tuple[int, int, int], tries: int) -> BlockDesign:
    t, k, b = size
    blocks = _start(rng, t, k, b)
    meet = _concurrences(blocks, t)
    draws = rng.integers(0, [b, k, b, k], size=(tries, 4)).tolist()
    rows = blocks.tolist()
    pairs = meet.tolist()
    for step, (a, i, c, j) in enumerate(draws):
        # A threshold that falls to zero lets the search leave a poor design early on.
        allowed = max(0, 3 - 5 * step // tries)
        _swap_if_even(rows, pairs, (a, i, c, j), allowed)
    design = tuple(sorted(tuple(sorted(row)) for row in rows))
    return BlockDesign(t, design, "found by exchange")


def _start(rng: np.random.Generator, t: int, k: int, b: int) -> IntArray:
    """Blocks filled from one shuffled deck after another: replication equal within one."""
    blocks: list[list[int]] = []
    deck: list[int] = []
    for _ in range(b):
        block: list[int] = []
        while len(block) < k:
            fresh = [method for method in deck if method not in block]
            if not fresh:
                deck += rng.permutation(t).tolist()
                continue
            block.append(fresh[0])
            deck.remove(fresh[0])
        blocks.append(block)
    return np.array(blocks, dtype=np.int64)


def _concurrences(blocks: IntArray, t: int) -> IntArray:
    incidence = np.zeros((t, len(blocks)), dtype=np.int64)
    np.add.at(incidence, (blocks.ravel(), np.repeat(np.arange(len(blocks)), blocks.shape[1])), 1)
    meet = incidence @ incidence.T
    np.fill_diagonal(meet, 0)
    return meet


def _swap_if_even(
    rows: list[list[int]],
    pairs: list[list[int]],
    places: tuple[int, int, int, int],
    allowed: int,
) -> None:
    """Swap two methods between two blocks if meetings become no less even than allowed."""
    a, i, c, j = places
    x, y = rows[a][i], rows[c][j]
    if a == c or x == y or y in rows[a] or x in rows[c]:
        return
    stay = [m for m in rows[a] if m != x]
    move = [m for m in rows[c] if m != y]
    # Each meeting that ends takes 2λ − 1 off the sum of squares, each that begins adds 2λ + 1.
    shared = set(stay) & set(move)
    change = 0
    for m in stay:
        if m not in shared:
            change += 2 * (pairs[y][m] - pairs[x][m]) + 2
    for m in move:
        if m not in shared:
            change += 2 * (pairs[x][m] - pairs[y][m]) + 2
    if change > allowed:
        return
    rows[a][i], rows[c][j] = y, x
    for mates, out, into in ((stay, x, y), (move, y, x)):
        for m in mates:
            pairs[out][m] -= 1
            pairs[m][out] -= 1
            pairs[into][m] += 1
            pairs[m][into] += 1
