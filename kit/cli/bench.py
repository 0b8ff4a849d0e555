"""Commands around the bench: print the sheets, and mend the plan when something breaks."""

from __future__ import annotations

import secrets
from datetime import datetime
from pathlib import Path

from kit.cli.answer import Answer
from kit.errors import PlanError
from kit.trial import read_trial


def sheets(folder: Path, paper: str) -> Answer:
    """Write print-ready sheets for everybody at the bench, and a log sheet to fill in."""
    from kit.schedule import is_sealed, read_freeze
    from kit.schedule.printing import write_sheets
    from kit.shotlog.logsheet import write_log_sheet

    footer = f"Seal {read_freeze(folder).short}" if is_sealed(folder) else "Not sealed yet"
    pages = write_sheets(folder, paper, footer)
    logs = write_log_sheet(folder)
    text = "\n".join(["Print these:", *map(str, pages), "Fill in one of these:", *map(str, logs)])
    return Answer(text, {"pages": list(map(str, pages)), "log_sheets": list(map(str, logs))})


def rescue(folder: Path, what: str, reason: str, extra_sessions: int) -> Answer:
    """Plan again what is left, without looking at any outcome; the seal stays as it is."""
    from kit.schedule import (
        Mishap,
        current_schedule,
        end_session_early,
        make_up_lost,
        open_new_bag,
        write_rescue,
    )
    from kit.shotlog import read_shots

    if not reason.strip():
        raise PlanError("Say why with --reason: it stands in the report.")
    trial, schedule, shots = read_trial(folder), current_schedule(folder), read_shots(folder)
    mishap = Mishap(reason, datetime.now().astimezone(), secrets.randbelow(2**31))
    if what == "bag":
        found = open_new_bag(trial, schedule, shots, mishap)
    elif what == "session":
        found = end_session_early(trial, schedule, shots, mishap, extra_sessions)
    else:
        found = make_up_lost(trial, schedule, shots, mishap, _made_up(folder))
    path = write_rescue(found, folder)
    changes = [f"{row.what}: {row.planned} → {row.done}" for row in found.deviations.itertuples()]
    text = "\n".join([f"The order to pull by is now {path}.", *changes, *found.lost])
    return Answer(text, {"schedule": str(path), "changes": changes, "lost": list(found.lost)})


def _made_up(folder: Path) -> set[int]:
    """Lost shots that an earlier amendment made up for."""
    from kit.schedule import read_amendments

    rows = read_amendments(folder)
    return {int(n) for n in rows.loc[rows["what"] == "lost shot made up for", "planned_shot"]}
