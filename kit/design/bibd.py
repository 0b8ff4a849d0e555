"""Balanced incomplete blocks: the arithmetic they must satisfy, and how to build them.

A balanced design lets every pair of t methods meet in exactly λ of b blocks of k shots.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import lru_cache

from kit.design.blockdesign import BlockDesign

# Limits of the search, in steps rather than seconds, so that every machine finds the same design.
_MOST_SUBSETS = 60_000
_MOST_STEPS = 150_000


@dataclass(frozen=True)
class BalancedParameters:
    """The five numbers of a balanced incomplete block design."""

    methods: int
    blocks: int
    shots_per_method: int
    block_size: int
    meetings: int
    """λ: in how many blocks each pair of methods meets."""


def least_blocks(n_methods: int, block_size: int) -> int:
    """The smallest b for which bk/t and r(k−1)/(t−1) are whole numbers.

    Every balanced design has a multiple of this many blocks. That the arithmetic works out does
    not promise that a design exists (Fisher's inequality b ≥ t may rule it out, for one).
    """
    t, k = n_methods, block_size
    meetings = 1
    while (meetings * (t - 1)) % (k - 1) or (meetings * t * (t - 1)) % (k * (k - 1)):
        meetings += 1
    return meetings * t * (t - 1) // (k * (k - 1))


def balanced_parameters(
    n_methods: int, block_size: int, n_blocks: int
) -> BalancedParameters | None:
    """The parameters, or None where they break a necessary condition.

    Conditions: bk = rt; r(k−1) = λ(t−1); b ≥ t (Fisher 1940, Annals of Eugenics 10); in a
    symmetric design with an even number of methods, k − λ is a square (Schützenberger 1949).
    """
    t, k, b = n_methods, block_size, n_blocks
    if not 2 <= k < t or b % least_blocks(t, k):
        return None
    r = b * k // t
    meetings = r * (k - 1) // (t - 1)
    if b < t:
        return None
    if b == t and t % 2 == 0 and math.isqrt(k - meetings) ** 2 != k - meetings:
        return None
    return BalancedParameters(t, b, r, k, meetings)


def balanced_design(n_methods: int, block_size: int, n_blocks: int) -> BlockDesign | None:
    """A balanced incomplete block design with exactly ``n_blocks`` blocks, or None.

    None means that none exists or that none was found by the constructions known here.
    """
    step = least_blocks(n_methods, block_size)
    if balanced_parameters(n_methods, block_size, n_blocks) is None:
        return None
    for blocks in range(step, n_blocks + 1, step):
        if n_blocks % blocks == 0:
            found = smallest_design(n_methods, block_size, blocks)
            if found is not None:
                return found.times(n_blocks // blocks)
    return None


@lru_cache(maxsize=256)
def smallest_design(n_methods: int, block_size: int, n_blocks: int) -> BlockDesign | None:
    """A design of exactly this size that is not sought as a repetition of a smaller one."""
    t, k, b = n_methods, block_size, n_blocks
    if balanced_parameters(t, k, b) is None:
        return None
    if b == math.comb(t, k):
        return BlockDesign(t, tuple(itertools.combinations(range(t), k)), f"every {k} of {t}")
    if 2 * k > t and t - k >= 2:
        other = smallest_design(t, t - k, b)
        return None if other is None else _complement(other)
    return _developed(t, k, b)


def _complement(design: BlockDesign) -> BlockDesign:
    """Each block replaced by the methods it left out: balanced where the design was."""
    everyone = range(design.n_methods)
    blocks = tuple(tuple(m for m in everyone if m not in block) for block in design.blocks)
    return BlockDesign(design.n_methods, blocks, f"complement of the blocks {design.origin}")


def _developed(t: int, k: int, b: int) -> BlockDesign | None:
    """Blocks found as whole orbits under a cyclic shift (Bose 1939; Kramer and Mesner 1976)."""
    if math.comb(t, k) > _MOST_SUBSETS:
        return None
    meetings = b * k * (k - 1) // (t * (t - 1))
    for shift, copies, fixed in _shifts(t):
        blocks = _orbits_that_cover(t, k, meetings, _permutation(shift, copies, fixed))
        if blocks is not None:
            words = f"developed by a shift of {shift}"
            words += f" in {copies} rows" if copies > 1 else ""
            words += " with one method held" if fixed else ""
            return BlockDesign(t, blocks, words)
    return None


def _shifts(t: int) -> list[tuple[int, int, int]]:
    """(length, rows, fixed methods) of the shifts to try, the longest (quickest) first."""
    found = []
    for fixed in (0, 1):
        for copies in range(1, (t - fixed) // 2 + 1):
            if (t - fixed) % copies == 0 and (t - fixed) // copies >= 2:
                found.append(((t - fixed) // copies, copies, fixed))
    return sorted(found, key=lambda entry: (-entry[0], entry[2]))


def _permutation(shift: int, copies: int, fixed: int) -> tuple[int, ...]:
    """The image of every method under one step of the shift."""
    images = [row * shift + (i + 1) % shift for row in range(copies) for i in range(shift)]
    return tuple(images) + ((shift * copies,) if fixed else ())


def _orbits(
    subsets: itertools.combinations[tuple[int, ...]], image: tuple[int, ...]
) -> list[list[tuple[int, ...]]]:
    """Subsets gathered into orbits of the permutation, each in order of first appearance."""
    seen: set[tuple[int, ...]] = set()
    orbits = []
    for subset in subsets:
        orbit = []
        while subset not in seen:
            seen.add(subset)
            orbit.append(subset)
            subset = tuple(sorted(image[m] for m in subset))
        if orbit:
            orbits.append(orbit)
    return orbits


def _orbits_that_cover(
    t: int, k: int, meetings: int, image: tuple[int, ...]
) -> tuple[tuple[int, ...], ...] | None:
    """Orbits of blocks that together let every pair meet ``meetings`` times, by backtracking."""
    pair_orbits = _orbits(itertools.combinations(range(t), 2), image)  # type: ignore[arg-type]
    pair_orbit_of = {pair: i for i, orbit in enumerate(pair_orbits) for pair in orbit}
    cover: list[list[tuple[tuple[int, ...], list[tuple[int, ...]]]]] = [[] for _ in pair_orbits]
    for orbit in _orbits(itertools.combinations(range(t), k), image):
        counts = [0] * len(pair_orbits)
        for pair in itertools.combinations(orbit[0], 2):
            counts[pair_orbit_of[pair]] += len(orbit)
        each = tuple(c // len(p) for c, p in zip(counts, pair_orbits, strict=True))
        if max(each) <= meetings:
            for i, times in enumerate(each):
                if times:
                    cover[i].append((each, orbit))
    chosen: list[list[tuple[int, ...]]] = []
    steps = [0]

    def fill(left: list[int]) -> bool:
        open_pairs = [i for i, value in enumerate(left) if value]
        if not open_pairs:
            return True
        scarce = min(open_pairs, key=lambda i: (len(cover[i]), i))
        for each, orbit in cover[scarce]:
            steps[0] += 1
            if steps[0] > _MOST_STEPS:
                return False
            if all(e <= value for e, value in zip(each, left, strict=True)):
                chosen.append(orbit)
                if fill([value - e for e, value in zip(each, left, strict=True)]):
                    return True
                chosen.pop()
        return False

    if not fill([meetings] * len(pair_orbits)):
        return None
    return tuple(sorted(block for orbit in chosen for block in orbit))
