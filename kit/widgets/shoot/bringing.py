"""Bringing a table: what was understood of it, before anything is written. No widgets."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pandas as pd

from kit import codebook
from kit.errors import DataError
from kit.files import write_atomically
from kit.shotlog.importing import ImportedShots, Mapping, import_shots, log_import, preview_import
from kit.shotlog.importing.headers import CLOCK, DATE
from kit.widgets.shoot.trial_log import TrialLog, now

BROUGHT = "brought"
"""The folder in which a brought file is kept as it came."""
NOT_READ = "not read"
_KINDS = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm")
_OWN = {"shots.csv", "readings.csv", "tastings.csv", "schedule.csv", "deviations.csv"}


class BringModel(TrialLog):
    """A file somebody brings: chosen, understood, checked, taken in."""

    def __init__(self, folder: Path, clock: Callable[[], datetime] = now) -> None:
        self.path: Path | None = None
        self.mapping: Mapping | None = None
        super().__init__(folder, clock)

    def files(self) -> list[str]:
        """Tables lying in the trial folder that are not its own."""
        places = (self.folder, self.folder / BROUGHT)
        found = [
            path
            for place in places
            if place.is_dir()
            for path in place.iterdir()
            if path.suffix.lower() in _KINDS and path.name not in _OWN
        ]
        return sorted(path.relative_to(self.folder).as_posix() for path in found)

    def keep(self, name: str, content: bytes) -> str:
        """Keep an uploaded file in the trial folder, as it came; then look at it."""
        plain = Path(name.replace("\\", "/")).name
        if not plain or plain.startswith("."):
            raise DataError(f"“{name}” is no name for a file. Rename it and bring it again.")
        path = write_atomically(self.folder / BROUGHT / plain, content)
        return self.choose(path.relative_to(self.folder).as_posix())

    def choose(self, name: str) -> str:
        """Look at a file; nothing is written yet."""
        if self.trial is None:
            raise DataError(self.trouble)
        self.path, self.mapping = None, None
        self.touch()
        path = self.folder / name
        self.mapping = preview_import(path, self.trial)
        self.path = path
        self.touch()
        return "Check what each column is read as, then take the shots in."

    def understood(self) -> pd.DataFrame:
        """The mapping as a table to show."""
        if self.mapping is None:
            return pd.DataFrame()
        shown = self.mapping.described()
        columns = [name for name in shown.columns if (shown[name] != "").any()]
        return shown[columns]

    def columns(self) -> list[tuple[str, tuple[str, str]]]:
        """The columns one may read differently: what to show, and sheet with letter."""
        if self.mapping is None:
            return []
        return [
            (
                f"{sheet.sheet.name} {use.letter}: {use.heading}".strip(),
                (sheet.sheet.name, use.letter),
            )
            for sheet in self.mapping.sheets
            for use in sheet.columns
        ]

    def change(self, column: tuple[str, str], target: str) -> str:
        """Read one column as something else."""
        if self.mapping is None:
            raise DataError("Choose a file first.")
        self.mapping = self.mapping.with_target(*column, None if target == NOT_READ else target)
        self.touch()
        return "Changed."

    def check(self) -> ImportedShots:
        """The shots as they would be taken in.

        Raises
        ------
        DataError
            With every complaint, if something in the file cannot be taken as it stands.
        """
        if self.trial is None or self.path is None:
            raise DataError("Choose a file first.")
        zone = self.clock().tzinfo
        return import_shots(self.path, self.trial, self.schedule, self.mapping, zone)

    def take_in(self) -> str:
        """Write the shots into the journal, all or none."""
        self.catch_up()
        imported = self.check()
        log_import(self.folder, imported, self.clock(), self.operator or "import")
        self.path, self.mapping = None, None
        self.after_writing()
        return imported.words()


def targets() -> list[str]:
    """What a column can be read as."""
    return [NOT_READ, *codebook.names(codebook.SHOTS), DATE, CLOCK]
