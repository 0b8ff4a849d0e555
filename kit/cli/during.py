"""Commands during the shoot: import a log sheet, check the log."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from kit.cli.answer import Answer


def import_log(folder: Path, file: Path) -> Answer:
    """Read a log sheet or spreadsheet into the journal; all of it or none."""
    from kit.shotlog import write_tables
    from kit.shotlog.importing import import_into

    taken = import_into(folder, file, datetime.now().astimezone(), by="import")
    write_tables(folder)
    return Answer(taken.words(), {"shots": taken.shots, "limitations": list(taken.limitations)})


def check(folder: Path) -> Answer:
    """Look for mistakes in the log; exit code 1 when there are some."""
    from kit.cli.path import log_in_words, validation_in_words
    from kit.errors import TableError

    summary = log_in_words(folder)
    try:
        checked = validation_in_words(folder)
    except TableError as wrong:
        found = [complaint.sentence() for complaint in wrong.complaints]
        return Answer("\n".join([summary, *found]), {"complaints": found}, exit_code=1)
    return Answer(f"{summary}\n{checked}", {"complaints": []})
