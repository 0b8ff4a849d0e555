"""Methods as letters: a trial and its tables with the names taken off, for a blind analysis.

The letters are drawn at random, so neither their order nor their colour tells which is which.
What cannot be hidden stays visible: that comparisons go against a control, and which factor of a
factorial a contrast is about (its levels are hidden, so its direction is).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations

import numpy as np
import pandas as pd

from kit.analysis.discrimination import GUESSING
from kit.schedule.tasting import name_of_test
from kit.trial import Factor, Method, Trial

# No I, O or S (read as 1, 0, 5), none that a grade or a size is called by.
LETTERS = "KPQRTUVWXYZGHJLMN"


@dataclass(frozen=True)
class Mask:
    """Which letter stands for which method, and which for which level of each factor."""

    methods: dict[str, str]
    levels: dict[str, dict[str, str]]


def draw_mask(trial: Trial, rng: np.random.Generator) -> Mask:
    """Letters for the methods of a trial and the levels of its factors, drawn from ``rng``."""
    return Mask(
        methods=_letters(trial.method_names, "Method", rng),
        levels={
            factor.name: _letters(list(factor.levels), "level", rng) for factor in trial.factors
        },
    )


def masked_trial(trial: Trial, mask: Mask) -> Trial:
    """The trial with letters for names, methods in the order of their letters, no recipes."""
    methods = sorted(
        (
            Method(
                name=mask.methods[method.name],
                control=method.control,
                settings={
                    name: mask.levels[name][level] for name, level in method.settings.items()
                },
            )
            for method in trial.methods
        ),
        key=lambda method: method.name,
    )
    factors = tuple(
        Factor(
            name=factor.name,
            levels=tuple(sorted(mask.levels[factor.name].values())),
            hard_to_change=factor.hard_to_change,
        )
        for factor in trial.factors
    )
    pair = trial.tasting.pair
    tasting = trial.tasting.model_copy(
        update={"pair": pair and (mask.methods[pair[0]], mask.methods[pair[1]])}
    )
    return trial.model_copy(
        update={"methods": tuple(methods), "factors": factors, "tasting": tasting}
    )


def masked_table(table: pd.DataFrame, mask: Mask) -> pd.DataFrame:
    """A table of shots or tastings with letters for methods and levels; notes are taken out."""
    hidden = table.copy()
    if "method" in hidden:
        hidden["method"] = hidden["method"].map(mask.methods)
    for name, letters in mask.levels.items():
        if name in hidden:
            hidden[name] = hidden[name].map(letters)
    if "attribute" in hidden:
        hidden["attribute"] = hidden["attribute"].replace(_masked_tests(mask))
    if "note" in hidden:
        hidden["note"] = None
    return hidden


def _masked_tests(mask: Mask) -> dict[str, str]:
    """Names of taste tests, which hold the pair that is to be told apart, with letters for it."""
    return {
        name_of_test(test, (a, b)): name_of_test(test, (mask.methods[a], mask.methods[b]))
        for test in GUESSING
        for a, b in permutations(mask.methods, 2)
    }


def _letters(names: list[str], kind: str, rng: np.random.Generator) -> dict[str, str]:
    count = max(len(names), 1)
    labels = [
        f"{kind} {LETTERS[at % len(LETTERS)]}{at // len(LETTERS) or ''}" for at in range(count)
    ]
    drawn = rng.permutation(len(names))
    return {name: labels[at] for name, at in zip(names, drawn, strict=True)}
