"""Commands during the shoot: import a log sheet, check the log, export it."""

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


def export(folder: Path) -> Answer:
    """Write the log for other programs: CSV, a workbook, and what every column means."""
    from kit.errors import DataError
    from kit.shotlog import read_log
    from kit.shotlog.export import write_exports

    if not read_log(folder).shots:
        raise DataError(f"No shot is logged in {folder} yet, so there is nothing to export.")
    written = [str(path) for path in write_exports(folder)]
    return Answer("\n".join(["Written:", *written]), {"files": written})
