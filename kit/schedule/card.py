"""The card of the next shot: what the operator needs at arm's length, and nothing measured."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from kit.errors import PlanError
from kit.trial import Trial

_PURPOSE = {
    "warm-up": "Warm-up: pulled and thrown away.",
    "dial-in": "Dial-in: set the grind with it; never analysed.",
    "reference": "Reference shot: shows drift; not part of the comparison.",
    "study": "",
    "spare": "Spare: only for a shot lost to a declared fault.",
}


@dataclass(frozen=True)
class ShotCard:
    """One planned pull for the person at the machine."""

    planned_shot: int
    method: str
    recipe: str
    settings: tuple[str, ...]
    """Settings that stay for a run of shots, for example “temperature: 94 °C”."""
    code: str
    place: str
    """Where the shot stands: session, block, how many are left in the session."""
    purpose: str
    changes: tuple[str, ...]
    """What has to be changed on the machine or bench before this shot."""


def shot_card(trial: Trial, schedule: pd.DataFrame, planned_shot: int) -> ShotCard:
    """The card of one planned pull.

    Raises
    ------
    PlanError
        If the schedule has no such pull.
    """
    found = schedule.index[schedule["planned_shot"] == planned_shot]
    if len(found) == 0:
        last = int(schedule["planned_shot"].max())
        raise PlanError(
            f"The schedule has no planned shot {planned_shot}; it runs from 1 to {last}."
        )
    row = schedule.loc[found[0]]
    session = schedule[schedule["session"] == row["session"]]
    earlier = session[session["session_position"] < row["session_position"]]
    recipes = {method.name: method.recipe for method in trial.methods}
    hard = [f.name for f in trial.hard_factors if row[f.name] != ""]
    return ShotCard(
        planned_shot=planned_shot,
        method=str(row["method"]),
        recipe=recipes.get(str(row["method"]), ""),
        settings=tuple(f"{name}: {row[name]}" for name in hard),
        code=str(row["code"]),
        place=_place(row, len(session)),
        purpose=_PURPOSE[str(row["role"])],
        changes=_changes(row, earlier, hard),
    )


def _place(row: pd.Series, pulls: int) -> str:
    parts = [f"Session {row['session']}", f"pull {row['session_position']} of {pulls}"]
    if row["block"]:
        parts.append(f"block {row['block']}, place {row['position']}")
    return ", ".join(parts)


def _changes(row: pd.Series, earlier: pd.DataFrame, hard: list[str]) -> tuple[str, ...]:
    """What differs from the pull before: a setting to change, a bag to open."""
    before = earlier.iloc[-1] if len(earlier) else None
    found = [
        f"Set {name} to {row[name]} and let the machine settle."
        for name in hard
        if before is None or before[name] != row[name]
    ]
    if row["bag"] and (before is None or before["bag"] != row["bag"]):
        found.append(f"Open {row['bag']}.")
    return tuple(found)
