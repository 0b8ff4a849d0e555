"""From a formula and a table to the fixed-effects matrix X.

Factors are treatment coded: a column for each level but the first, which is the
reference. Where a factor's margin is absent from the formula (``a/b``, ``0 + a``)
it gets a column for every level in that term instead, which is the rule of
Chambers & Hastie (1992), Statistical Models in S, section 2.4.1.

The coding is kept, so that rows of X can be made for any setting of the factors,
averages over levels included: marginal means and type III tests are built from them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import reduce

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.analysis.formula import Formula
from kit.analysis.moments import Array
from kit.errors import DataError, ModelError

Setting = Mapping[str, Array | float]


@dataclass(frozen=True)
class Factor:
    """A categorical column: its levels in order, and the level number of each shot."""

    name: str
    levels: tuple[str, ...]
    codes: NDArray[np.intp]


@dataclass(frozen=True)
class TermColumns:
    """One term of the model: its variables and where its columns stand in X.

    ``full`` names the factors with a column for every level in this term.
    """

    name: str
    variables: tuple[str, ...]
    full: frozenset[str]
    columns: slice


@dataclass(frozen=True)
class FixedPart:
    """The fixed-effects matrix and the coding it was made by.

    ``matrix`` is n × p; ``names`` its p column names; ``covariate_means`` the mean of
    each numeric column over the shots used.
    """

    matrix: Array
    names: tuple[str, ...]
    terms: tuple[TermColumns, ...]
    intercept: bool
    factors: Mapping[str, Factor]
    covariate_means: Mapping[str, float]

    def row(self, setting: Setting) -> Array:
        """One row of X (length p) for a setting of every variable.

        A factor's setting is a vector of weights over its levels (1 at one level, or
        equal weights for an average over a full grid); a covariate's is its value.
        """
        row = np.zeros(len(self.names))
        if self.intercept:
            row[0] = 1.0
        for term in self.terms:
            row[term.columns] = self.term_row(term, setting)
        return row

    def term_row(self, term: TermColumns, setting: Setting) -> Array:
        """The part of a row that belongs to one term."""
        parts = []
        for name in term.variables:
            weights = np.atleast_1d(np.asarray(setting[name], dtype=float))
            reduced = name in self.factors and name not in term.full
            parts.append(weights[1:] if reduced else weights)
        return reduce(lambda left, right: np.outer(right, left).ravel(), parts)

    def average_setting(self) -> dict[str, Array | float]:
        """Equal weights over the levels of every factor; every covariate at its mean."""
        equal: dict[str, Array | float] = {
            name: np.full(len(factor.levels), 1.0 / len(factor.levels))
            for name, factor in self.factors.items()
        }
        return equal | dict(self.covariate_means)


def level_labels(column: pd.Series) -> tuple[list[str], NDArray[np.intp]]:
    """Level names and level numbers of a column taken as labels.

    Levels stand in the order of the column's categories, or sorted where the column
    is not categorical; levels without a shot are left out.
    """
    if isinstance(column.dtype, pd.CategoricalDtype):
        categories = column.cat.categories
        codes = column.cat.codes.to_numpy()
    else:
        codes, categories = pd.factorize(column, sort=True)
    used = np.unique(codes)
    labels = [str(categories[i]) for i in used]
    if len(set(labels)) < len(labels):
        twice = next(label for label in labels if labels.count(label) > 1)
        raise DataError(
            f'Column "{column.name}" has two different levels that both read "{twice}" '
            "(a number and a text, perhaps). Write the level in one way only."
        )
    return labels, np.searchsorted(used, codes)


def is_covariate(column: pd.Series) -> bool:
    """Numbers are covariates; texts, categories and true/false are factors."""
    return pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column)


def build_fixed_part(formula: Formula, table: pd.DataFrame) -> FixedPart:
    """Make X for a formula from a table without missing values.

    Raises
    ------
    ModelError
        When a factor has one level only, or nothing is left to estimate.
    """
    factors: dict[str, Factor] = {}
    means: dict[str, float] = {}
    columns: dict[str, Array] = {}
    for name in formula.variables:
        if is_covariate(table[name]):
            columns[name] = table[name].to_numpy(dtype=float)[:, None]
            means[name] = float(columns[name].mean())
        else:
            factors[name] = _factor(table[name])
            columns[name] = np.eye(len(factors[name].levels))[factors[name].codes]
    if not formula.terms and not formula.intercept:
        raise ModelError(
            'The model formula leaves nothing to estimate. Write "1" for a common mean.'
        )
    return _assemble(formula, factors, means, columns, len(table))


def _factor(column: pd.Series) -> Factor:
    levels, codes = level_labels(column)
    if len(levels) < 2:
        raise ModelError(
            f'Column "{column.name}" has one level only in these shots ("{levels[0]}"), so there '
            "is nothing to compare. Take it out of the model, or bring the shots of the others."
        )
    return Factor(str(column.name), tuple(levels), codes)


def _assemble(
    formula: Formula,
    factors: dict[str, Factor],
    means: dict[str, float],
    columns: dict[str, Array],
    n: int,
) -> FixedPart:
    present = {frozenset(term) for term in formula.terms}
    if formula.intercept:
        present.add(frozenset())
    blocks: list[Array] = [np.ones((n, 1))] if formula.intercept else []
    names = ["(Intercept)"] if formula.intercept else []
    terms = []
    for variables in formula.terms:
        full = frozenset(
            v for v in variables if v in factors and frozenset(variables) - {v} not in present
        )
        block, block_names = _term_block(variables, full, factors, columns)
        start = len(names)
        blocks.append(block)
        names.extend(block_names)
        terms.append(
            TermColumns(
                ":".join(variables), variables, full, slice(start, start + len(block_names))
            )
        )
        if full == frozenset(variables) and len(variables) == 1:
            present.add(frozenset())  # a column for every level spans the constant
    return FixedPart(
        np.hstack(blocks), tuple(names), tuple(terms), formula.intercept, factors, means
    )


def _term_block(
    variables: tuple[str, ...],
    full: frozenset[str],
    factors: dict[str, Factor],
    columns: dict[str, Array],
) -> tuple[Array, list[str]]:
    """Columns of one term; the first variable's levels run fastest."""
    n = len(columns[variables[0]])
    block, names = np.ones((n, 1)), [""]
    for variable in variables:
        part, labels = columns[variable], [variable]
        if variable in factors:
            labels = [f"{variable}[{level}]" for level in factors[variable].levels]
            if variable not in full:
                part, labels = part[:, 1:], labels[1:]
        block = (part[:, :, None] * block[:, None, :]).reshape(n, -1)
        names = [f"{left}:{label}".lstrip(":") for label in labels for left in names]
    return block, names


def type_three_rows(fixed: FixedPart, term: TermColumns) -> Array:
    """The hypothesis of one term: contrasts of its cells, averaged over all other factors.

    Each row compares cells with the reference level of every treatment-coded factor of
    the term, other factors averaged with equal weights (type III of the SAS taxonomy:
    Searle 1987, Linear Models for Unbalanced Data, chapter 12, with all cells filled).
    Terms with other covariates than this one do not enter: a factor is tested where such
    a covariate is zero, as lmerTest does.
    """
    numeric = {v for v in term.variables if v not in fixed.factors}
    own = [v for v in term.variables if v in fixed.factors]
    setting = fixed.average_setting() | dict.fromkeys(numeric, 1.0)
    holders = [
        other
        for other in fixed.terms
        if set(term.variables) <= set(other.variables)
        and {v for v in other.variables if v not in fixed.factors} == numeric
    ]
    cells: list[dict[str, Array]] = [{}]
    for name in own:
        k = len(fixed.factors[name].levels)
        steps = np.eye(k)
        if name not in term.full:
            steps = steps[1:] - steps[0]
        cells = [{**cell, name: step} for step in steps for cell in cells]
    rows = np.zeros((len(cells), len(fixed.names)))
    for i, cell in enumerate(cells):
        for other in holders:
            rows[i, other.columns] = fixed.term_row(other, {**setting, **cell})
    return rows
