"""Combinations: contrasts of a factorial, and blocks too small to hold every combination."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from kit.design.blockdesign import BlockDesign
from kit.errors import PlanError

Levels = Mapping[str, Sequence[str]]
Cell = Mapping[str, str]


@dataclass(frozen=True)
class Contrast:
    """A comparison of cells: a name, its two sides, and one weight a cell."""

    name: str
    a: str
    b: str
    weights: tuple[float, ...]


def factorial_contrasts(levels: Levels, cells: Sequence[Cell]) -> list[Contrast]:
    """Main effects, and differences of differences for every interaction.

    A main effect compares the means of two levels over all cells. An interaction of two factors
    is the change of one difference from one level of the other factor to the next, in the same
    unit as a difference of two shots; of three factors, the change of that change.
    """
    found = []
    for order in range(1, len(levels) + 1):
        for names in itertools.combinations(levels, order):
            pairs = (itertools.combinations(levels[name], 2) for name in names)
            found += [_contrast(names, chosen, cells) for chosen in itertools.product(*pairs)]
    return found


def _contrast(
    names: tuple[str, ...], chosen: tuple[tuple[str, str], ...], cells: Sequence[Cell]
) -> Contrast:
    signs = []
    for cell in cells:
        sign = 1
        for name, (low, high) in zip(names, chosen, strict=True):
            sign *= {high: 1, low: -1}.get(cell[name], 0)
        signs.append(sign)
    # Each corner of the comparison is the mean of the cells that share its levels.
    corner = sum(sign != 0 for sign in signs) / 2 ** len(names)
    first, second = (" with ".join(levels) for levels in zip(*chosen, strict=True))
    weights = tuple(sign / corner for sign in signs)
    return Contrast(" × ".join(names), second, first, weights)


def confounded_blocks(n_factors: int, block_size: int, n_blocks: int) -> BlockDesign | None:
    """Blocks of a 2^p factorial that give up the least interesting effects, or None.

    Cells are numbered in standard order (bit i of the number is the level of factor i). A block
    holds the cells in which the defining effects have the same sign. Where only interactions of
    three or more factors need be given up, they are given up in every replicate; otherwise the
    sacrifice goes round, so that nothing is lost altogether (partial confounding).

    Source: Yates (1937), The Design and Analysis of Factorial Experiments; Fisher (1942), Annals
    of Eugenics 11, 341-353.
    """
    halvings = n_factors - int(math.log2(block_size)) if block_size else 0
    if halvings < 1 or 2 ** (n_factors - halvings) != block_size or n_blocks % 2**halvings:
        return None
    choices = _by_sacrifice(n_factors, halvings)
    replicates = n_blocks // 2**halvings
    if min(_orders(_given_up(choices[0]))) >= 3:
        used = [choices[0]] * replicates
    else:
        used = [choices[i % len(choices)] for i in range(replicates)]
    blocks = [block for words in used for block in _split(n_factors, words)]
    return BlockDesign(2**n_factors, tuple(blocks), "a factorial divided by its interactions")


def effect_name(word: int, factors: Sequence[str]) -> str:
    """``A × B`` for the effect whose bits are set in ``word``."""
    return " × ".join(name for i, name in enumerate(factors) if word >> i & 1)


def given_up_effects(design: BlockDesign, factors: Sequence[str]) -> dict[str, float]:
    """The share of each factorial effect that is lost to the blocks; effects kept whole are left
    out.

    Raises
    ------
    PlanError
        If the design has not one method for each combination of two-level factors.
    """
    if design.n_methods != 2 ** len(factors):
        raise PlanError(
            f"{len(factors)} factors at two levels have {2 ** len(factors)} combinations; this "
            f"design has {design.n_methods} methods. Compare it as separate methods."
        )
    lost = {}
    for word in range(1, design.n_methods):
        totals = [sum(_sign(word, cell) for cell in block) for block in design.blocks]
        share = sum(total**2 for total in totals) / design.block_size**2 / design.n_blocks
        if share > 0:
            lost[effect_name(word, factors)] = share
    return lost


def _sign(word: int, cell: int) -> int:
    return -1 if (word & cell).bit_count() % 2 else 1


def _given_up(words: Sequence[int]) -> list[int]:
    """Every effect confounded with blocks: the defining ones and their products."""
    products = {0}
    for word in words:
        products |= {word ^ other for other in products}
    return sorted(products - {0})


def _orders(words: Sequence[int]) -> list[int]:
    return sorted(word.bit_count() for word in words)


def _by_sacrifice(n_factors: int, halvings: int) -> list[tuple[int, ...]]:
    """Every way to divide the cells, the least painful (highest interactions) first."""
    seen: set[tuple[int, ...]] = set()
    choices = []
    for words in itertools.combinations(range(1, 2**n_factors), halvings):
        lost = tuple(_given_up(words))
        if len(lost) == 2**halvings - 1 and lost not in seen:
            seen.add(lost)
            choices.append(words)
    return sorted(choices, key=lambda words: ([-o for o in _orders(_given_up(words))], words))


def _split(n_factors: int, words: tuple[int, ...]) -> list[tuple[int, ...]]:
    """The cells divided by the signs of the defining effects."""
    blocks: dict[tuple[int, ...], list[int]] = {}
    for cell in range(2**n_factors):
        blocks.setdefault(tuple(_sign(word, cell) for word in words), []).append(cell)
    return [tuple(block) for block in blocks.values()]
