"""Commands around the bench: print the sheets, and mend the plan when something breaks."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from kit.cli.answer import Answer


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
    from kit.schedule.amended import AMENDED_FILE
    from kit.shotlog.rescue import (
        rescue_empty_bag,
        rescue_ended_session,
        rescue_lost_shots,
        rescue_words,
        what_happened,
    )

    mishap = what_happened(reason, datetime.now().astimezone())
    if what == "bag":
        found = rescue_empty_bag(folder, mishap)
    elif what == "session":
        found = rescue_ended_session(folder, mishap, extra_sessions)
    else:
        found = rescue_lost_shots(folder, mishap)
    path, changes = folder / AMENDED_FILE, rescue_words(found)
    text = "\n".join([f"The order to pull by is now {path}.", *changes, *found.lost])
    return Answer(text, {"schedule": str(path), "changes": changes, "lost": list(found.lost)})
