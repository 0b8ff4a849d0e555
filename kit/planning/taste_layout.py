"""What a panel's scores will let the analysis know: its cups as they are poured and ordered.

The cups are ordered by the very function that draws the tasting, and the sources of noise are
those that the analysis of taste scores tells apart, shots that tasters share among them.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.analysis.designed_model import DesignedModel
from kit.analysis.outcomes.scores import taste_errors
from kit.design.panel import sitting_orders
from kit.errors import ModelError, PlanError
from kit.planning import inputs
from kit.planning.comparisons import Contrast, dunnett_critical, tukey_critical
from kit.planning.layouts import ExpectedFit, expected_of_model
from kit.planning.taste_power import CUP_SD, SHOT_SD, TASTER_METHOD_SD, TASTER_SD
from kit.trial import Attribute, Outcome, Trial

Floats = NDArray[np.float64]

MOST_CUPS = 1_500
"""Cups beyond which a panel is not computed; no kitchen pours them for one trial."""
_GUESSED = {"taster": TASTER_SD, "taster_method": TASTER_METHOD_SD, "tasted_shot": SHOT_SD}
_SPAN = 8.0
"""The guessed SDs are those of a scale from 1 to 9."""


def attribute_of(trial: Trial, outcome: Outcome) -> Attribute | None:
    """The taste attribute an outcome is about, if the tasters are asked for it."""
    named = (entry for entry in trial.tasting.attributes if entry.name == outcome.measure)
    return next(named, None)


def taste_contrast(trial: Trial, outcome: Outcome, tasters: int) -> Contrast:
    """A difference of mean scores as the analysis will see it, with ``tasters`` tasters.

    Average over the comparisons of the outcome's family; the multiplier is Tukey's, or Dunnett's
    where methods are compared with the control.

    Raises
    ------
    PlanError
        If the panel cannot be planned, or its cups cannot tell the methods apart.
    """
    attribute = attribute_of(trial, outcome)
    if attribute is None:
        raise PlanError(f"No taster is asked for “{outcome.measure}”. Add it to what is scored.")
    inputs.assessment_count(tasters, "The number of tasters")
    panel = trial.tasting
    scale = (attribute.high - attribute.low) / _SPAN
    rounding = 1 / (12 * scale**2) if attribute.whole_points else 0.0
    fit = _expected_scores(
        len(trial.methods), tasters, panel.cups_per_sitting, panel.sittings, rounding
    )
    rows = fit.level_rows("method")
    if outcome.family == "against control" and trial.control is not None:
        control = trial.method_names.index(trial.control)
        differences = np.delete(rows, control, axis=0) - rows[control]
        correlation = fit.correlation(differences)
        m = len(differences)
        mean = 1.0 if m == 1 else float((correlation.sum() - m) / (m * (m - 1)))
        se, df, alike = _average(fit, differences)
        return Contrast(scale * se, df, dunnett_critical(m, round(mean, 6), df, 0.05), alike)
    first, second = np.triu_indices(len(rows), 1)
    se, df, alike = _average(fit, rows[first] - rows[second])
    return Contrast(scale * se, df, tukey_critical(len(rows), df, 0.05), alike)


@lru_cache(maxsize=256)
def _expected_scores(
    methods: int, tasters: int, cups: int, sittings: int, rounding: float
) -> ExpectedFit:
    """The expected fit of the scores of one attribute, on a scale from 1 to 9.

    ``rounding``: the variance that whole points add to a cup (Sheppard 1898: a step squared
    over 12).
    """
    _check_panel(methods, tasters, cups, sittings)
    rows = _poured(methods, tasters, cups, sittings)
    try:
        random = tuple(taste_errors(rows))
        known = {name: _GUESSED[name] ** 2 for name in random}
        left = CUP_SD**2 - known.get("tasted_shot", 0.0) + rounding
        model = DesignedModel("score", "method + cup_position", random)
        return expected_of_model(rows, model, np.array([*known.values(), left]))
    except (ModelError, np.linalg.LinAlgError) as error:
        raise PlanError(
            f"{len(rows)} cups in this order cannot tell the methods from all that varies. Plan "
            "more sittings, or more cups in each."
        ) from error


def _check_panel(methods: int, tasters: int, cups: int, sittings: int) -> None:
    if tasters < 2:
        raise PlanError("One taster cannot speak for others: scores take two tasters or more.")
    if cups * sittings <= methods:
        raise PlanError(
            "All tasters share one shot of each method, so what they find may belong to that shot "
            "and not to its method. Plan two sittings or more."
        )
    if tasters * cups * sittings > MOST_CUPS:
        raise PlanError(
            f"{tasters:,} tasters with {cups} cups in each of {sittings} sittings make "
            f"{tasters * cups * sittings:,} cups; plans go up to {MOST_CUPS:,}. Plan fewer."
        )


def _poured(methods: int, tasters: int, cups: int, sittings: int) -> pd.DataFrame:
    """One row a cup; in a sitting all tasters share the shots."""
    orders = _orders(methods, cups, tasters * sittings)
    rows = pd.DataFrame(
        [
            (f"T{taster + 1}", f"{sitting + 1}", place, method)
            for taster in range(tasters)
            for sitting in range(sittings)
            for place, method in enumerate(orders[taster * sittings + sitting].tolist(), start=1)
        ],
        columns=["taster", "sitting", "cup_position", "method"],
    )
    second = rows.groupby(["taster", "sitting", "method"]).cumcount().astype(str)
    name = rows["method"].map("m{:02d}".format)
    rows["tasted_shot"] = rows["sitting"] + " " + name + " " + second
    rows["taster_method"] = rows["taster"] + " × " + name
    rows["cup_position"] = rows["cup_position"].astype(float)
    return rows.assign(method=pd.Categorical(name), score=0.0)


def _orders(methods: int, cups: int, rows: int) -> NDArray[np.int64]:
    """Orders of cups (rows × cups), as the tasting is drawn.

    Where a sitting does not hold all methods, cyclic blocks under a new renaming for each round
    stand in for the best incomplete blocks, whose search takes seconds.
    """
    rng = np.random.default_rng(0)
    if cups >= methods:
        return sitting_orders(rng, methods, cups, rows)
    rounds = -(-rows // methods)
    cyclic = (np.arange(methods)[:, None] + np.arange(cups)) % methods
    return np.vstack([rng.permutation(methods)[cyclic] for _ in range(rounds)])[:rows]


def _average(fit: ExpectedFit, rows: Floats) -> tuple[float, float, bool]:
    se, df = fit.contrasts(rows)
    alike = bool(se.max() <= 1.1 * se.min())
    return float(np.sqrt((se**2).mean())), float(df.mean()), alike
