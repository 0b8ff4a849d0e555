"""Counting the permutations that leave a plan alone, against known group orders and brute force."""

import itertools
import math

import pytest

from kit.design.bibd import balanced_design
from kit.design.symmetry import OrderedTree, Tree, log10_stabiliser


def tree(*blocks: tuple[int, ...]) -> Tree:
    return Tree(((tuple(blocks),),))


def order(log10: float) -> float:
    return 10**log10


def test_the_fano_plane_and_the_affine_plane_have_their_known_groups() -> None:
    # 168 = |GL(3, 2)| and 432 = |AGL(2, 3)|: Dembowski (1968), Finite Geometries.
    fano = balanced_design(7, 3, 7)
    affine = balanced_design(9, 3, 12)
    assert fano is not None
    assert affine is not None
    assert order(log10_stabiliser(tree(*fano.blocks), 7)) == pytest.approx(168)
    assert order(log10_stabiliser(tree(*affine.blocks), 9)) == pytest.approx(432)


@pytest.mark.parametrize(
    "blocks",
    [
        ((0, 1), (1, 2), (2, 3)),
        ((0, 1, 2), (0, 1, 3), (2, 3, 4)),
        ((0, 1), (0, 1), (2, 3)),
        ((0, 0, 1), (0, 2, 2), (1, 1, 2)),
    ],
)
def test_small_plans_agree_with_trying_every_permutation(blocks: tuple) -> None:
    t = max(m for block in blocks for m in block) + 1
    same = 0
    for images in itertools.permutations(range(t)):
        renamed = [tuple(images[m] for m in block) for block in blocks]
        for places in itertools.permutations(range(len(blocks))):
            moved = [renamed[i] for i in places]
            inner = 1
            for block, target in zip(moved, blocks, strict=True):
                inner *= sum(
                    tuple(block[i] for i in order) == target
                    for order in itertools.permutations(range(len(block)))
                )
            same += inner
    assert order(log10_stabiliser(tree(*blocks), t)) == pytest.approx(same)


def test_an_ordered_plan_has_fewer_symmetries() -> None:
    cyclic = OrderedTree(((((0, 1, 2), (1, 2, 0), (2, 0, 1)),),))
    assert order(log10_stabiliser(cyclic, 3)) == pytest.approx(3)
    assert order(log10_stabiliser(tree((0, 1, 2), (1, 2, 0), (2, 0, 1)), 3)) == pytest.approx(
        math.factorial(3) * math.factorial(3)
    )
