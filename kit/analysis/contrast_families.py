"""The families of contrasts a trial can declare, as weights on its methods.

Each contrast is a name and the weight of every method in it; weights add up to zero.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from kit.analysis.usable import pair_positions

Contrasts = dict[str, dict[str, float]]
MINUS = " − "
"""Between the two sides of a contrast's name."""


def pair_contrasts(methods: Sequence[str]) -> Contrasts:
    """All pairs, named ``a − b``."""
    return {
        f"{methods[i]}{MINUS}{methods[j]}": {methods[i]: 1.0, methods[j]: -1.0}
        for i, j in pair_positions(len(methods))
    }


def control_contrasts(methods: Sequence[str], control: str) -> Contrasts:
    """Every other method against the control."""
    return {
        f"{name}{MINUS}{control}": {name: 1.0, control: -1.0} for name in methods if name != control
    }


def factorial_contrasts(
    settings: Mapping[str, Mapping[str, str]], levels: Mapping[str, Sequence[str]]
) -> Contrasts:
    """Main effects and two-factor interactions of two-level factors, by the cells' settings.

    ``settings``: for each method its level of each factor. A main effect, named ``disc: one −
    disc: none``, is the second level less the first over all cells; an interaction, named ``disc
    with soak``, is the difference of the two simple effects (twice that of Box, Hunter & Hunter
    2005, chapter 5). Factors with more levels than two are left out.
    """
    two = [name for name, names in levels.items() if len(names) == 2]
    sign = {
        name: {
            cell: 1.0 if own[name] == levels[name][1] else -1.0 for cell, own in settings.items()
        }
        for name in two
    }
    share = 2 / len(settings)
    found: Contrasts = {}
    for name in two:
        low, high = levels[name]
        found[f"{name}: {high}{MINUS}{name}: {low}"] = {c: share * s for c, s in sign[name].items()}
    for i, j in pair_positions(len(two)):
        one, other = sign[two[i]], sign[two[j]]
        found[f"{two[i]} with {two[j]}"] = {c: 2 * share * one[c] * other[c] for c in settings}
    return found
