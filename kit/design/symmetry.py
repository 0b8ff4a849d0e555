"""How many permutations leave a plan of blocks as it is: needed to count distinct schedules."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

_MOST_STEPS = 2_000

Plan = tuple[tuple[tuple[tuple[int, ...], ...], ...], ...]


@dataclass(frozen=True)
class Tree:
    """Sessions of bags of blocks of methods, where order counts nowhere."""

    plan: Plan

    def block_seen(self, block: tuple[int, ...]) -> tuple[int, ...]:
        """A block in standard order."""
        return tuple(sorted(block))

    def seen(self, images: dict[int, int]) -> tuple[object, ...]:
        """The plan with methods renamed, unnamed ones alike, in one standard order."""
        return tuple(
            sorted(
                tuple(
                    sorted(
                        tuple(
                            sorted(
                                self.block_seen(tuple(images.get(m, -1) for m in block))
                                for block in bag
                            )
                        )
                        for bag in session
                    )
                )
                for session in self.plan
            )
        )


class OrderedTree(Tree):
    """The same, where the order of the shots within a block counts."""

    def block_seen(self, block: tuple[int, ...]) -> tuple[int, ...]:
        """A block as it stands."""
        return block


def log10_stabiliser(tree: Tree, n_methods: int, held: tuple[int, ...] = ()) -> float:
    """Common logarithm of the permutations that leave the plan as it is.

    These are the renamings of methods that map the plan onto itself, times the swaps of equal
    parts (twice the same block, twice the same bag). Renamings are counted along a chain: the
    images of the first method, then of the second with the first held, and so on. A search that
    grows too long counts an image as possible, so that the number of schedules derived from it is
    never overstated.
    """
    total = _swaps_of_equal_parts(tree)
    fixed = list(held)
    for point in [m for m in range(n_methods) if m not in held]:
        others = [m for m in range(n_methods) if m not in fixed and m != point]
        images = 1 + sum(_can_map(tree, n_methods, fixed, point, other) for other in others)
        total += math.log10(images)
        fixed.append(point)
    return total


def _can_map(tree: Tree, n_methods: int, fixed: list[int], point: int, image: int) -> bool:
    """Whether a renaming that keeps ``fixed`` and takes ``point`` to ``image`` fits the plan."""
    rest = [m for m in range(n_methods) if m not in fixed and m != point]
    steps = [0]

    def extend(images: dict[int, int], left: list[int]) -> bool:
        # Methods are given their own names on one side and their images' on the other.
        steps[0] += 1
        if steps[0] > _MOST_STEPS:
            return True
        if tree.seen(images) != tree.seen({m: m for m in images.values()}):
            return False
        if not left:
            return True
        free = [m for m in range(n_methods) if m not in images.values()]
        return any(extend({**images, left[0]: m}, left[1:]) for m in free)

    return extend({**{m: m for m in fixed}, point: image}, rest)


def _swaps_of_equal_parts(tree: Tree) -> float:
    """Common logarithm of the ways to exchange equal sessions, bags, blocks and shots."""
    everyone = {m: m for session in tree.plan for bag in session for block in bag for m in block}
    kind = type(tree)
    total = _of_equal(kind((session,)).seen(everyone) for session in tree.plan)
    for session in tree.plan:
        total += _of_equal(kind(((bag,),)).seen(everyone) for bag in session)
        for bag in session:
            total += _of_equal(tree.block_seen(block) for block in bag)
            if kind is Tree:
                total += sum(_of_equal(block) for block in bag)
    return total


def _of_equal(parts: object) -> float:
    counts = Counter(parts)  # type: ignore[call-overload]
    return sum(math.log10(math.factorial(count)) for count in counts.values())
