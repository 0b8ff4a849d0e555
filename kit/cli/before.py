"""Commands before the first shot: plan, schedule, freeze."""

from __future__ import annotations

import secrets
from datetime import datetime
from pathlib import Path

from kit.cli.answer import Answer
from kit.errors import PlanError
from kit.trial import read_trial


def schedule(folder: Path, seed: int | None) -> Answer:
    """Draw the run order and write schedule.csv; refused once the plan is sealed."""
    from kit.schedule import FREEZE_FILE, certificate, draw_schedule, write_schedule

    trial = read_trial(folder)
    if (folder / FREEZE_FILE).exists():
        raise PlanError(
            f"{folder / FREEZE_FILE} is there: this plan is sealed and its order stands. "
            "Start a new trial to draw another order."
        )
    used = secrets.randbelow(2**31) if seed is None else seed
    table = draw_schedule(trial, used)
    path = write_schedule(table, folder)
    text = (
        f"Drawn with seed {used}: {len(table)} pulls.\n{path}\n\n"
        + certificate(trial, table).words()
    )
    return Answer(text, {"seed": used, "pulls": len(table), "schedule": str(path)})


def freeze(folder: Path) -> Answer:
    """Seal plan and schedule with their hashes and the time."""
    from kit.schedule import freeze_trial

    sealed = freeze_trial(folder, datetime.now().astimezone())
    text = (
        f"Sealed at {sealed.at}. Seal: {sealed.short}\n"
        "Show this seal on camera or post it before the first shot; anybody can check your "
        "bundle against it afterwards."
    )
    return Answer(text, {"seal": sealed.short, "at": sealed.at})
