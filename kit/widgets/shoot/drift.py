"""The drift chart of the bench: reference shots only, so nothing about the methods can be seen."""

from __future__ import annotations

import pandas as pd

from kit.analysis.drift import reference_chart
from kit.errors import ModelError
from kit.figures import Picture, Setting
from kit.figures.measure import measure_of
from kit.figures.reference import reference_chart as reference_picture
from kit.widgets.shoot.trial_log import TrialLog


def drift_picture(model: TrialLog) -> Picture | None:
    """The chart of the reference shots so far; None while there are too few of them."""
    if model.trial is None:
        return None
    references = _references(model)
    try:
        chart = reference_chart(references)
    except ModelError:
        return None
    setting = Setting(methods=tuple(model.trial.method_names))
    return reference_picture(chart, measure_of("ey_pct"), setting)


def reference_values(model: TrialLog) -> tuple[tuple[str, float], ...]:
    """What the chart rests on; the chart needs drawing again only when this changes."""
    references = _references(model)
    return tuple(zip(references["session"], references["ey_pct"], strict=True))


def _references(model: TrialLog) -> pd.DataFrame:
    shots = model.shots()
    return shots[(shots["role"] == "reference") & shots["ey_pct"].notna()]
