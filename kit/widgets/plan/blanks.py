"""The blanks of the running sentence that stand for numbers: noise, size and budget."""

from __future__ import annotations

from typing import Any

from kit.planning.words import unit_of
from kit.trial import Trial
from kit.widgets.entry import NumberRule
from kit.widgets.plan.outcomes import OutcomesForm

SIZE = "smallest_difference"
"""The blank that belongs to the primary outcome."""


def rules_of(outcomes: OutcomesForm) -> dict[str, NumberRule]:
    """What each blank is for; the units are those of the primary outcome."""
    return {
        SIZE: outcomes.primary.rule,
        "shot_sd": NumberRule(
            "Shot-to-shot SD",
            unit_of(outcomes.noise_measure),
            0.01,
            100,
            required=True,
            decimals=2,
        ),
        "sessions": NumberRule("Sessions", "", 1, 200, required=True, whole=True),
        "blocks_per_session": NumberRule(
            "Blocks in a session", "", 1, 200, required=True, whole=True
        ),
        "coffee_g": NumberRule("Coffee there is", "g", 1, 100_000, decimals=0),
        "minutes_per_session": NumberRule("Minutes a session", "min", 5, 1440, decimals=0),
    }


def saved_blanks(trial: Trial) -> dict[str, str]:
    """The blanks as the trial has them, the primary outcome's size left out."""
    saved: dict[str, float | None] = {
        "shot_sd": trial.noise.shot_sd,
        "sessions": trial.layout.sessions,
        "blocks_per_session": trial.layout.blocks_per_session,
        "coffee_g": trial.budget.coffee_g,
        "minutes_per_session": trial.budget.minutes_per_session,
    }
    return {name: "" if value is None else f"{value:g}" for name, value in saved.items()}


def put_blanks(values: dict[str, Any], read: dict[str, float | None]) -> None:
    """Put layout and budget into the values of a trial."""
    for name in ("sessions", "blocks_per_session"):
        values["layout"][name] = int(read[name] or 0)
    budget = values["budget"]
    if "sessions" in budget:
        budget["sessions"] = values["layout"]["sessions"]  # "I have 3 sessions" is the limit
    for name in ("coffee_g", "minutes_per_session"):
        budget.pop(name, None)
        if read[name] is not None:
            budget[name] = read[name]
