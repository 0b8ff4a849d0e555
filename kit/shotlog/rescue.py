"""Something broke at the bench: plan again what is left, and write it beside the sealed schedule.

Of the log only which pulls were made and kept is looked at (see ``kit.schedule.standing``).
"""

from __future__ import annotations

import secrets
from datetime import datetime
from pathlib import Path

from kit.errors import PlanError
from kit.schedule import (
    Mishap,
    Rescue,
    current_schedule,
    end_session_early,
    make_up_lost,
    open_new_bag,
    read_amendments,
    write_rescue,
)
from kit.shotlog.tables import read_shots
from kit.trial import read_trial


def what_happened(reason: str, at: datetime) -> Mishap:
    """The mishap with a fresh seed for whatever has to be drawn anew.

    Raises
    ------
    PlanError
        If no reason is given.
    """
    if not reason.strip():
        raise PlanError("Say why: the reason stands in the report beside the change of plan.")
    return Mishap(reason.strip(), at, secrets.randbelow(2**31))


def rescue_empty_bag(folder: Path, mishap: Mishap) -> Rescue:
    """The bag is empty: what is left of the session comes from another one. Written at once."""
    found = open_new_bag(read_trial(folder), current_schedule(folder), read_shots(folder), mishap)
    write_rescue(found, folder)
    return found


def rescue_ended_session(folder: Path, mishap: Mishap, extra_sessions: int) -> Rescue:
    """The session ends here: its blocks go to ``extra_sessions`` more. Written at once."""
    trial, schedule, shots = read_trial(folder), current_schedule(folder), read_shots(folder)
    found = end_session_early(trial, schedule, shots, mishap, extra_sessions)
    write_rescue(found, folder)
    return found


def rescue_lost_shots(folder: Path, mishap: Mishap) -> Rescue:
    """Lost study shots are pulled again as a block of their own. Written at once."""
    trial, schedule, shots = read_trial(folder), current_schedule(folder), read_shots(folder)
    found = make_up_lost(trial, schedule, shots, mishap, _made_up(folder))
    write_rescue(found, folder)
    return found


def rescue_words(rescue: Rescue) -> list[str]:
    """The changes, a line each, as they stand in the deviations."""
    rows = rescue.deviations.itertuples()
    return [f"{row.what}: {row.planned} → {row.done}".replace(":  →", ":") for row in rows]


def _made_up(folder: Path) -> set[int]:
    """Lost shots that an earlier amendment made up for."""
    rows = read_amendments(folder)
    return {int(n) for n in rows.loc[rows["what"] == "lost shot made up for", "planned_shot"]}
