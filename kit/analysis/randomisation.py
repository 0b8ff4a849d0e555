"""The schedule as the test: what would chance alone have given, had the draw fallen otherwise?

Every shot keeps its result and its place; only the labels are drawn again, from the very set of
schedules that this one was drawn from. The share of draws with a difference as large as the one
seen is a p value that rests on the draw and on nothing else (Fisher 1935, The Design of
Experiments; Edgington & Onghena 2007, Randomization Tests).

The statistic is a studentised contrast of generalised-least-squares means. Its weights come from
the model without methods, which no re-labelling changes, so the test is exact whatever the noise.
All contrasts are judged together by their largest |t| (Westfall & Young 1993), which is exact
where no method differs from any other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from kit.analysis.heteroscedastic import fit_variances, indicators, layout_of, separable
from kit.analysis.usable import two_methods_or_more, usable_rows
from kit.errors import DataError, ModelError

Array = NDArray[np.floating]
_SMALL_SET = 3000
"""Sets of schedules up to this size are gone through one by one."""
_AT_ONCE = 500


class DrawsSchedules(Protocol):
    """What the test needs of a scheme: draws of labels, and the size of the set."""

    @property
    def log10_methods(self) -> float:
        """Common logarithm of the number of method orders in the set."""

    def draw_many(self, rng: np.random.Generator, n: int) -> NDArray[np.object_]:
        """``n`` draws of method labels for the study shots, in schedule order."""


@dataclass(frozen=True)
class RandomisationTest:
    """The result.

    ``contrasts``: columns ``contrast, estimate, t, p, p_adjusted, p_low, p_high``; the last two
    hold the p of all schedules with 99 % (they equal ``p`` when ``exhaustive``). Where no schedule
    goes beyond the one used, ``p_low`` is 0: the draw cannot tell how much rarer the result is.
    ``p``: of the family as a whole, no method differing from any other.
    """

    contrasts: pd.DataFrame
    p: float
    draws: int
    exhaustive: bool


def randomisation_test(
    shots: pd.DataFrame,
    places: Sequence[int] | NDArray[np.integer],
    scheme: DrawsSchedules,
    contrasts: Mapping[str, Mapping[str, float]],
    rng: np.random.Generator,
    *,
    measure: str = "ey_pct",
    random: Sequence[str] = (),
    draws: int = 4999,
) -> RandomisationTest:
    """Judge ``contrasts`` by drawing the schedule again.

    Parameters
    ----------
    shots
        Analysed shots: ``method``, ``measure`` and the ``random`` columns.
    places
        For each row of ``shots``, its place among the study shots of the schedule (from 0), so
        that a lost shot leaves its place empty in every draw. See :func:`study_places`.
    scheme
        The set of schedules that the trial's schedule was drawn from.
    contrasts
        For each name the weight of each method; weights add up to zero.
    draws
        Number of schedules drawn, where the set is too large to go through.

    Raises
    ------
    ModelError
        If a contrast names a method without shots, or nothing is left to compare.
    """
    shots = shots.reset_index(drop=True)
    rows = usable_rows(shots, measure, ["method", *random])
    methods = two_methods_or_more(rows, "mean")
    weights = _weights(contrasts, methods)
    seats = np.asarray(places)[rows.index]
    labels, exhaustive = _schedules(scheme, rng, draws)
    if seats.max() >= labels.shape[1]:
        raise DataError(
            f"A shot stands at place {seats.max() + 1} of the schedule, but the scheme has only "
            f"{labels.shape[1]} study shots. The plan was changed after the schedule was drawn."
        )
    judge = _Statistic.of(rows, measure, separable(rows, random), weights, len(methods))
    estimate, t_seen = judge.one(rows["method"].cat.codes.to_numpy())
    t = judge.many(_codes(labels, methods)[:, seats])
    return _result(list(contrasts), estimate, t_seen, t, exhaustive)


def study_places(shots: pd.DataFrame, schedule: pd.DataFrame) -> NDArray[np.intp]:
    """For each shot its place among the study rows of the schedule, from 0.

    A replacement stands at the place of the shot it replaces.

    Raises
    ------
    DataError
        If a shot's planned number is not a study shot of the schedule.
    """
    study = schedule.loc[schedule["role"].eq("study"), "planned_shot"].astype(int)
    place = {int(number): i for i, number in enumerate(study)}
    planned = shots["planned_shot"]
    if "replaces" in shots:
        planned = shots["replaces"].where(shots["replaces"].notna(), planned)
    unknown = [number for number in planned if pd.isna(number) or int(number) not in place]
    if unknown:
        raise DataError(
            f"A study shot carries the planned number {unknown[0]}, which is no study shot of the "
            "schedule; the draw cannot be repeated for it."
        )
    return np.array([place[int(number)] for number in planned], dtype=np.intp)


def disagrees(p_model: float, p_low: float, p_high: float) -> bool:
    """Whether a model's p lies further from the randomisation's than chance and habit explain.

    True when the model's p is outside the 99 % limits of the randomisation p and more than half
    as large again or smaller than two thirds: models are approximate, and a p of 0.31 beside one
    of 0.28 is no disagreement.
    """
    if p_low <= p_model <= p_high:
        return False
    nearest = p_low if p_model < p_low else p_high
    return max(p_model, nearest) > 1.5 * min(p_model, nearest)


def _weights(contrasts: Mapping[str, Mapping[str, float]], methods: list[str]) -> Array:
    for name, given in contrasts.items():
        absent = [method for method in given if method not in methods]
        if absent:
            raise ModelError(
                f"“{name}” needs the method “{absent[0]}”, of which no shot is left. "
                f"There are shots of {', '.join(methods)}."
            )
    if not contrasts:
        raise ModelError("No contrast is named, so there is nothing to test.")
    return np.array([[given.get(m, 0.0) for m in methods] for given in contrasts.values()])


def _schedules(
    scheme: DrawsSchedules, rng: np.random.Generator, draws: int
) -> tuple[NDArray[np.object_], bool]:
    """All schedules of a small set (collected until none is missing), or ``draws`` of a large."""
    if scheme.log10_methods > np.log10(_SMALL_SET):
        return scheme.draw_many(rng, draws), False
    size = round(10**scheme.log10_methods)
    found: dict[tuple[object, ...], None] = {}
    while len(found) < size:
        for labels in scheme.draw_many(rng, 4 * size):
            found[tuple(labels)] = None
    return np.array(list(found), dtype=object), True


def _codes(labels: NDArray[np.object_], methods: list[str]) -> NDArray[np.intp]:
    """Method numbers; a drawn method of which no shot is left counts as −1."""
    number = {name: i for i, name in enumerate(methods)}
    flat = pd.Series(labels.ravel()).astype(str).map(number).fillna(-1)
    return np.array(flat, dtype=np.intp).reshape(labels.shape)


@dataclass(frozen=True)
class _Statistic:
    """Studentised contrasts under weights M = V⁻¹ − V⁻¹1(1′V⁻¹1)⁻¹1′V⁻¹ that labels do not move."""

    M: Array
    My: Array
    total: float
    weights: Array
    n_methods: int

    @classmethod
    def of(
        cls,
        rows: pd.DataFrame,
        measure: str,
        random: Sequence[str],
        weights: Array,
        n_methods: int,
    ) -> _Statistic:
        everyone = rows.assign(all=pd.Categorical(["all"] * len(rows)))
        layout = layout_of(everyone, np.zeros(len(rows), dtype=np.intp), random, "all")
        y = rows[measure].to_numpy() - rows[measure].mean()
        fit = fit_variances(layout, y[None])
        V = np.eye(len(rows)) * fit.group_variances[0, 0]
        for name, variance in zip(random, fit.random_variances[0], strict=True):
            Z = indicators(rows[name])
            V += variance * (Z @ Z.T)
        inverse = np.linalg.inv(V)
        ones = inverse.sum(axis=1)
        M = inverse - np.outer(ones, ones) / ones.sum()
        return cls(M, M @ y, float(y @ M @ y), weights, n_methods)

    def one(self, codes: NDArray[np.integer]) -> tuple[Array, Array]:
        estimate, t = self._evaluate(codes[None])
        return estimate[0], t[0]

    def many(self, codes: NDArray[np.integer]) -> Array:
        parts = [
            self._evaluate(codes[first : first + _AT_ONCE])[1]
            for first in range(0, len(codes), _AT_ONCE)
        ]
        return np.concatenate(parts)

    def _evaluate(self, codes: NDArray[np.integer]) -> tuple[Array, Array]:
        """Estimates and t of all contrasts for each row of method numbers, shape (draws, c)."""
        last = self.n_methods - 1  # means are measured from the last method: M holds the constant
        X = (codes[:, :, None] == np.arange(last)).astype(float)
        MX = (X.swapaxes(1, 2).reshape(-1, codes.shape[1]) @ self.M).reshape(
            len(codes), last, codes.shape[1]
        )
        inverse = np.linalg.pinv(MX @ X, hermitian=True)
        beta = np.einsum("dij,dj->di", inverse, X.swapaxes(1, 2) @ self.My)
        explained = np.einsum("di,di->d", beta, X.swapaxes(1, 2) @ self.My)
        residual = np.maximum(self.total - explained, 0) / (codes.shape[1] - self.n_methods)
        C = self.weights[:, :last]
        estimate = beta @ C.T
        variance = np.einsum("ci,dij,cj->dc", C, inverse, C, optimize=True)
        with np.errstate(divide="ignore", invalid="ignore"):  # a draw without a contrast's shots
            t = estimate / np.sqrt(residual[:, None] * variance)
        return estimate, np.nan_to_num(t, nan=0.0, posinf=np.inf, neginf=-np.inf)


def _result(
    names: list[str], estimate: Array, t_seen: Array, t: Array, exhaustive: bool
) -> RandomisationTest:
    own = 0 if exhaustive else 1  # the schedule that was used is one of the set: count it once
    total, size = len(t) + own, np.abs(t_seen)
    hits = (np.abs(t) >= size * (1 - 1e-9)).sum(axis=0)
    largest = np.abs(t).max(axis=1)
    together = (largest[:, None] >= size * (1 - 1e-9)).sum(axis=0) + own
    p = (hits + own) / total
    low, high = (p, p) if exhaustive else _clopper_pearson(hits, len(t))
    low = np.where((np.abs(t) > size * (1 + 1e-9)).any(axis=0), low, 0.0)
    table = pd.DataFrame(
        {
            "contrast": names,
            "estimate": estimate,
            "t": t_seen,
            "p": p,
            "p_adjusted": together / total,
            "p_low": low,
            "p_high": high,
        }
    )
    return RandomisationTest(table, float(table["p_adjusted"].min()), len(t), exhaustive)


def _clopper_pearson(hits: NDArray[np.integer], draws: int) -> tuple[Array, Array]:
    """Exact 99 % limits of a share (Clopper & Pearson 1934, Biometrika 26:404)."""
    missed = draws - hits
    low = stats.beta.ppf(0.005, np.maximum(hits, 1), missed + 1)
    high = stats.beta.ppf(0.995, hits + 1, np.maximum(missed, 1))
    return np.where(hits > 0, low, 0.0), np.where(missed > 0, high, 1.0)
