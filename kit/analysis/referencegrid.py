"""Marginal means as linear functions of the coefficients.

A marginal mean is the average of the model's predictions over a full grid: equal weights
over the levels of every other factor, every covariate at its mean over the shots used
(Searle, Speed & Milliken 1980, American Statistician 34, 216-221).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np

from kit.analysis.modelmatrix import FixedPart
from kit.analysis.moments import Array
from kit.errors import ModelError


def mean_rows(fixed: FixedPart, factor: str | Sequence[str]) -> tuple[list[str], Array]:
    """Labels of the levels (or of the combinations of levels) and their rows (m × p).

    The combinations of several factors are labelled ``"level, level"``, the last factor
    running fastest.

    Raises
    ------
    ModelError
        When a name is not a factor of the model.
    """
    names = [factor] if isinstance(factor, str) else list(factor)
    if not names:
        raise ModelError("Name at least one factor to average or compare by.")
    for name in names:
        _check_factor(fixed, name)
    levels = [fixed.factors[name].levels for name in names]
    labels = [", ".join(cell) for cell in product(*levels)]
    average = fixed.average_setting()
    rows = []
    for cell in product(*(np.eye(len(each)) for each in levels)):
        rows.append(fixed.row(average | dict(zip(names, cell, strict=True))))
    return labels, np.array(rows)


def _check_factor(fixed: FixedPart, name: str) -> None:
    if name in fixed.factors:
        return
    if name in fixed.covariate_means:
        raise ModelError(
            f'"{name}" holds numbers and has a slope, not a mean for each level. Make it a '
            "category before the fit to compare its values as methods."
        )
    known = ", ".join(fixed.factors) or "none"
    raise ModelError(f'"{name}" is not a factor of this model. Its factors are: {known}.')
