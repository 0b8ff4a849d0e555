"""Can these shots tell the parts of the model apart? Checked before any fit.

Fixed effects: rank of X. Variance components: the matrices MG_iM (M projects out X) must
be linearly independent, because the data enter the REML likelihood only through the
error contrasts; their Gram matrix is tr MG_iMG_j, the expected information at V = I
(Harville 1977, JASA 72, 320-338, section 5).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import qr

from kit.analysis.modelmatrix import FixedPart
from kit.analysis.moments import Array, Moments, ScaledData
from kit.errors import ModelError

Codes = NDArray[np.intp]

RANK_TOLERANCE = 1e-9
SEPARATION_TOLERANCE = 1e-8
SWEEPS = 1_000
OWN_RESIDUAL = "the residual of "
NO_VARIATION = 1e-11  # residual SD relative to the range of the outcome


def check_fixed_part(fixed: FixedPart) -> None:
    """Refuse a fixed part with more columns than the shots can carry.

    Raises
    ------
    ModelError
        Too few shots, a combination never shot, or terms that repeat one another.
    """
    x = fixed.matrix
    n, p = x.shape
    if n <= p:
        raise ModelError(
            f"{n} {'shot' if n == 1 else 'shots'} cannot carry this model: it has {p} "
            f"{'mean' if p == 1 else 'quantities'} to estimate and needs at least {p + 1} shots, "
            "and several times as many to say anything useful."
        )
    _check_cells(fixed)
    size = np.linalg.norm(x, axis=0)
    if np.any(size == 0):
        name = fixed.names[int(np.argmin(size))]
        raise ModelError(
            f'Column "{name}" is zero in every shot, so its effect cannot be estimated. '
            "Take it out of the model."
        )
    unit = x / size
    r, order = qr(unit, mode="r", pivoting=True)
    pivots = np.abs(np.diag(r[:p]))
    rank = int(np.sum(pivots > RANK_TOLERANCE * pivots[0]))
    if rank < p:
        _refuse_repeated(fixed, unit, order, rank)


def _check_cells(fixed: FixedPart) -> None:
    """Every combination of levels in an interaction must have been shot."""
    for term in fixed.terms:
        if len(term.variables) < 2 or not set(term.variables) <= set(fixed.factors):
            continue
        if fixed.intercept and term.full == frozenset(term.variables):
            raise ModelError(
                f'The interaction "{term.name}" stands without its parts. Write '
                f'"{" * ".join(term.variables)}", which includes them.'
            )
        factors = [fixed.factors[v] for v in term.variables]
        shape = tuple(len(f.levels) for f in factors)
        cells = np.ravel_multi_index([f.codes for f in factors], shape)
        empty = np.flatnonzero(np.bincount(cells, minlength=int(np.prod(shape))) == 0)
        if len(empty):
            at = np.unravel_index(int(empty[0]), shape)
            said = " and ".join(
                f'{f.name} "{f.levels[int(i)]}"' for f, i in zip(factors, at, strict=True)
            )
            more = f" (and {len(empty) - 1} more such combinations)" if len(empty) > 1 else ""
            raise ModelError(
                f'There is no shot with {said}{more}, so the interaction "{term.name}" cannot be '
                "estimated. Leave it out (+ instead of *), or make one column of the combinations "
                "that were shot and compare those."
            )


def _refuse_repeated(fixed: FixedPart, unit: Array, order: Array, rank: int) -> None:
    dependent = unit[:, order[rank]]
    share, *_ = np.linalg.lstsq(unit[:, order[:rank]], dependent, rcond=None)
    involved = {_term_of(fixed, int(order[rank]))}
    involved |= {_term_of(fixed, int(order[i])) for i in np.flatnonzero(np.abs(share) > 1e-6)}
    involved.discard("(Intercept)")
    names = sorted(involved)
    if len(names) == 1 and names[0] in fixed.covariate_means:
        raise ModelError(
            f'Column "{names[0]}" has the same value in every shot, so its effect cannot be '
            "told from the overall mean. Take it out of the model."
        )
    raise ModelError(
        f"These shots cannot tell apart the effects of {_and(names)}: once all but one are known, "
        "the last follows from them (they are confounded, or a combination was never shot). "
        "Take one of them out of the model, or shoot the missing combinations."
    )


def _term_of(fixed: FixedPart, column: int) -> str:
    for term in fixed.terms:
        if term.columns.start <= column < term.columns.stop:
            return term.name
    return "(Intercept)"


def check_variation(data: ScaledData, y: Array, response: str) -> None:
    """Refuse an outcome without variation beyond the fixed effects.

    Raises
    ------
    ModelError
        All values equal, or the fixed effects reproduce every shot.
    """
    if np.ptp(y) == 0:
        raise ModelError(
            f'Every shot has the same "{response}" ({y[0]:g}): without variation there is '
            "nothing to compare. Is the column the one that was measured?"
        )
    rounding = 4.0 * np.finfo(float).eps * np.max(np.abs(y))
    if data.scale <= NO_VARIATION * np.ptp(y) + rounding:
        raise ModelError(
            f'The model reproduces every value of "{response}" exactly, so there is no '
            "shot-to-shot variation to judge differences by. Was it computed from the other "
            "columns, or copied from one shot to the next?"
        )


def check_components(at_identity: Moments, names: Sequence[str], n: int) -> None:
    """Refuse variance components that cannot be told apart; ``at_identity`` is at V = I.

    ``names`` are in words, random columns first, one for each component.

    Raises
    ------
    ModelError
        A component confounded with the fixed effects, the residual, or another.
    """
    gram = at_identity.trace_pp
    size = np.sqrt(np.diag(gram))
    lost = size**2 <= 1e-16 * n + 1e-10 * np.diag(at_identity.trace_vv)
    if np.any(lost):
        name = names[int(np.flatnonzero(lost)[0])]
        if name.startswith(OWN_RESIDUAL):
            raise ModelError(
                f"There are too few shots of {name.removeprefix(OWN_RESIDUAL)} for an SD of its "
                "own. Bring more, or let all share one SD."
            )
        raise ModelError(
            f'The variance of "{name}" cannot be estimated: it is confounded with the fixed '
            "effects, so that nothing of it is left once they are allowed for. Take it out of the "
            "model and say that its effect could not be separated from theirs."
        )
    values, vectors = np.linalg.eigh(gram / np.outer(size, size))
    if values[0] < SEPARATION_TOLERANCE:
        involved = np.flatnonzero(np.abs(vectors[:, 0]) > 1e-3)
        mixed = _and([names[int(i)] for i in involved])
        raise ModelError(
            f"These shots cannot tell apart the variances of {mixed}: "
            "any split between them fits equally well (one level for each shot, or levels that "
            "coincide). Keep only one of them in the model."
        )


def check_within(codes: Sequence[Codes], x: Array, y: Array) -> None:
    """Refuse random columns that leave no shot-to-shot variation.

    ``codes`` are the level numbers of each shot by random column, x the fixed part, y the
    least-squares residual.

    Raises
    ------
    ModelError
        As many levels as shots, or levels within which all shots are equal.
    """
    if not codes:
        return
    levels = np.concatenate([[0], np.cumsum([int(c.max()) + 1 for c in codes])])
    if levels[-1] + x.shape[1] - len(codes) >= len(y):
        joint = np.hstack([*(np.eye(int(c.max()) + 1)[c] for c in codes), x])
        if np.linalg.matrix_rank(joint) >= len(y):
            raise ModelError(
                "The random columns have so many levels that no two shots can be compared within "
                "them: nothing shows the shot-to-shot variation. Take one of them out."
            )
    left = _residual_within(codes, x, y)
    if left @ left <= 1e-18 * (y @ y):
        raise ModelError(
            "Within the levels of the random columns the model reproduces every shot exactly, so "
            "there is no shot-to-shot variation to judge differences by. Were values copied?"
        )


def _residual_within(codes: Sequence[Codes], x: Array, y: Array) -> Array:
    """y less its fit by the fixed part and all random columns, by sweeping means in turn."""
    left = y
    for _ in range(SWEEPS):
        before = left @ left
        for rows in codes:
            left = left - (np.bincount(rows, left) / np.bincount(rows))[rows]
        left = left - x @ (x.T @ left)
        if left @ left <= 1e-18 * (y @ y) or left @ left > 0.999 * before:
            break
    return left


def _and(names: Sequence[str]) -> str:
    quoted = [f'"{n}"' if not n.startswith("the ") else n for n in names]
    if len(quoted) == 1:
        return quoted[0]
    return f"{', '.join(quoted[:-1])} and {quoted[-1]}"
