"""The layout behind the answers: the drawn schedule, or one drawn for a look ahead.

Nothing is written here. Layouts are kept from one keystroke to the next, so that a change of the
budget or of a smallest difference computes nothing anew.
"""

from __future__ import annotations

import json
from typing import Any

import pandas as pd

from kit.planning.laid_out import LaidOut
from kit.planning.layouts import has_closed_form, study_rows
from kit.planning.virtual import VirtualPlan, virtual_plan
from kit.schedule import draw_schedule
from kit.trial import Trial

_SIZE = ("sessions", "blocks_per_session", "seed")
_KEPT = 8


class LookAhead:
    """Study rows and layouts of a trial as typed. ``schedule`` is that of ``saved``, if drawn."""

    def __init__(self, saved: Trial, schedule: pd.DataFrame | None) -> None:
        self._rows: dict[str, tuple[pd.DataFrame, list[str]]] = {}
        self._layouts: dict[str, LaidOut] = {}
        if schedule is not None:
            self._rows[_make(saved)] = (study_rows(schedule, saved), saved.method_names)

    def rows(self, trial: Trial) -> pd.DataFrame:
        """Study rows of a layout of this make, of whatever size.

        Raises
        ------
        PlanError
            If there is no such layout.
        """
        make = _make(trial)
        if make not in self._rows:
            _forget_oldest(self._rows)
            self._rows[make] = (study_rows(draw_schedule(trial, 0), trial), trial.method_names)
        rows, names = self._rows[make]
        if names == trial.method_names:
            return rows
        renamed = dict(zip(names, trial.method_names, strict=True))
        return rows.assign(method=rows["method"].cat.rename_categories(renamed))

    def layout(self, trial: Trial) -> LaidOut | None:
        """The layout of a trial at its noise; None where there is a closed form."""
        if has_closed_form(trial):
            return None
        make = json.dumps([_make(trial), trial.method_names])
        key = json.dumps([make, trial.noise.model_dump(mode="json")])
        if key not in self._layouts:
            base = self._layouts.get(make)
            if base is None:
                base = LaidOut(self.rows(trial), trial, trial.noise)
            _forget_oldest(self._layouts)
            self._layouts[make] = self._layouts[key] = base.at_noise(trial.noise)
        return self._layouts[key]

    def virtual(self, trial: Trial) -> VirtualPlan:
        """Virtual trials of the size that is planned."""
        return virtual_plan(draw_schedule(trial, trial.layout.seed or 0), trial)


def _make(trial: Trial) -> str:
    """All that decides how the shots are laid out, but not how many blocks there are."""
    layout = {k: v for k, v in trial.layout.model_dump(mode="json").items() if k not in _SIZE}
    methods = [(sorted(method.settings.items()), method.control) for method in trial.methods]
    factors = [factor.model_dump(mode="json") for factor in trial.factors]
    return json.dumps([layout, methods, factors])


def _forget_oldest(kept: dict[str, Any]) -> None:
    while len(kept) >= 2 * _KEPT:
        del kept[next(iter(kept))]
