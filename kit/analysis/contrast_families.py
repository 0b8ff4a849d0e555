"""The families of contrasts a trial can declare, as weights on its methods.

Each contrast is a name and the weight of every method in it; weights add up to zero.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from kit.analysis.usable import pair_positions

Contrasts = dict[str, dict[str, float]]


def pair_contrasts(methods: Sequence[str]) -> Contrasts:
    """All pairs, named ``a − b``."""
    return {
        f"{methods[i]} − {methods[j]}": {methods[i]: 1.0, methods[j]: -1.0}
        for i, j in pair_positions(len(methods))
    }


def control_contrasts(methods: Sequence[str], control: str) -> Contrasts:
    """Every other method against the control."""
    return {
        f"{name} − {control}": {name: 1.0, control: -1.0} for name in methods if name != control
    }


def factorial_contrasts(
    settings: Mapping[str, Mapping[str, str]], levels: Mapping[str, Sequence[str]]
) -> Contrasts:
    """Main effects and two-factor interactions of two-level factors, by the cells' settings.

    ``settings``: for each method its level of each factor. Second level less first; an
    interaction is half the difference of the two simple effects (Box, Hunter & Hunter 2005,
    chapter 5). Factors with more levels than two are left out.
    """
    two = [name for name, names in levels.items() if len(names) == 2]
    sign = {
        name: {
            cell: 1.0 if own[name] == levels[name][1] else -1.0 for cell, own in settings.items()
        }
        for name in two
    }
    terms = dict(sign)
    for i, j in pair_positions(len(two)):
        a, b = sign[two[i]], sign[two[j]]
        terms[f"{two[i]}:{two[j]}"] = {cell: a[cell] * b[cell] for cell in settings}
    return {
        name: {cell: value * 2 / len(settings) for cell, value in signs.items()}
        for name, signs in terms.items()
    }
