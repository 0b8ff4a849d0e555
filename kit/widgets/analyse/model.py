"""What is to be judged, and whether there are shots to judge it by. No widgets here."""

from __future__ import annotations

import pandas as pd

from kit.codebook import column
from kit.trial import Outcome
from kit.widgets.panel_model import JOURNAL_FILE, PanelModel

SHOTS_FILE = "shots.csv"
_ASPECTS = {"mean": "mean", "spread": "consistency (SD)", "rate": "share of shots with one"}


class AnalyseModel(PanelModel):
    """The outcomes of the trial and what is missing for judging them."""

    def outcomes(self) -> pd.DataFrame:
        """One row an outcome: what, how judged, smallest difference that matters, its part."""
        listed = self.trial.outcomes if self.trial is not None else ()
        return pd.DataFrame(
            [
                (_label(outcome), _margin(outcome), outcome.family, outcome.role)
                for outcome in listed
            ],
            columns=["Outcome", "Smallest difference that matters", "Compared", "Part"],
        )

    def unmet(self) -> list[str]:
        """What is still missing before the shots can be judged."""
        if self.trial is None:
            return super().unmet()
        if not (self.has(JOURNAL_FILE) or self.has(SHOTS_FILE)):
            return ["No shot is logged yet. Log shots in 2_shoot."]
        return []


def _label(outcome: Outcome) -> str:
    try:
        measure = column(outcome.measure).label
    except KeyError:
        measure = outcome.measure.capitalize()
    return f"{measure}, {_ASPECTS.get(outcome.aspect, outcome.aspect)}"


def _margin(outcome: Outcome) -> str:
    size = outcome.smallest_difference
    if outcome.aspect == "spread":
        return f"{size:g} times"
    if outcome.aspect == "rate":
        return f"{100 * size:g} percentage points"
    return f"{size:g} points" if outcome.measure.endswith("_pct") else f"{size:g}"
