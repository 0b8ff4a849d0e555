"""Bringing a table: what was understood of it, before anything is written. No widgets."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pandas as pd

from kit import codebook
from kit.errors import Complaint, DataError, KitError, TableError
from kit.files import write_atomically
from kit.shotlog.importing import ImportedShots, Mapping, import_shots, log_import, preview_import
from kit.shotlog.importing.headers import CLOCK, DATE
from kit.widgets.shoot.trial_log import TrialLog, now

BROUGHT = "brought"
"""The folder in which a brought file is kept as it came."""
NOT_READ = "not read"
_KINDS = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm")
_OWN = {
    "shots.csv", "readings.csv", "tastings.csv", "schedule.csv", "deviations.csv",
    "amended_schedule.csv", "amendments.csv", "tasting_orders.csv", "tasting_sets.csv",
}  # fmt: skip
_NEVER_READ = {"position", "session_position", "entered_by"}
_CALLED = {DATE: "Date", CLOCK: "Time of day", "pulled_at": "Date and time"}


class BringModel(TrialLog):
    """A file somebody brings: chosen, understood, checked, taken in."""

    def __init__(self, folder: Path, clock: Callable[[], datetime] = now) -> None:
        self.path: Path | None = None
        self.mapping: Mapping | None = None
        self.complaints: list[Complaint] = []
        """What stands against the file as it is understood now."""
        self.outlook = ""
        """What would be taken in, or why nothing would; in words."""
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
        self._forget()
        path = self.folder / name
        self.mapping = preview_import(path, self.trial)
        self.path = path
        self._look_ahead()
        return "Check what each column is read as, then take the shots in."

    def understood(self) -> pd.DataFrame:
        """The mapping as a table to show: where a column stands, what it says, how it is read."""
        if self.mapping is None:
            return pd.DataFrame()
        shown = self.mapping.described()
        read_as = [
            called(str(row["read as"])) + (f" of {row['method']}" if row["method"] else "")
            if row["read as"] != NOT_READ
            else f"{NOT_READ}: {row['why']}"
            if row["why"]
            else NOT_READ
            for row in shown.to_dict("records")
        ]
        table = pd.DataFrame({
            "Sheet": shown["sheet"], "Column": shown["column"], "Heading": shown["heading"],
            "Read as": read_as, "Example": shown["example"],
        })  # fmt: skip
        return table if table["Sheet"].nunique() > 1 else table.drop(columns="Sheet")

    def columns(self) -> list[tuple[str, tuple[str, str]]]:
        """The columns one may read differently: what to show, and sheet with letter."""
        if self.mapping is None:
            return []
        several = len(self.mapping.sheets) > 1
        return [
            (
                f"{sheet.sheet.name} {use.letter}: {use.heading}"
                if several
                else f"{use.letter}: {use.heading}",
                (sheet.sheet.name, use.letter),
            )
            for sheet in self.mapping.sheets
            for use in sheet.columns
        ]

    def target_of(self, column: tuple[str, str]) -> str:
        """What a column is read as now."""
        for sheet in self.mapping.sheets if self.mapping else ():
            for use in sheet.columns:
                if (sheet.sheet.name, use.letter) == column:
                    return use.target or NOT_READ
        return NOT_READ

    def change(self, column: tuple[str, str], target: str) -> str:
        """Read one column as something else."""
        if self.mapping is None:
            raise DataError("Choose a file first.")
        self.mapping = self.mapping.with_target(*column, None if target == NOT_READ else target)
        self._look_ahead()
        now_read = NOT_READ if target == NOT_READ else f"read as {called(target)}"
        return f"Column {column[1]} is now {now_read}."

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
        try:
            imported = self.check()
        except TableError:
            self._look_ahead()
            raise DataError(f"Nothing was taken in. {self.outlook}") from None
        log_import(self.folder, imported, self.clock(), self.operator or "import")
        self._forget()
        self.after_writing()
        return imported.words()

    def _look_ahead(self) -> None:
        """What would become of the file if it were taken in now."""
        self.complaints = []
        try:
            self.outlook = self.check().outlook()
        except TableError as refused:
            self.complaints = refused.complaints
            self.outlook = _against_words(len(refused.complaints))
        except KitError as refused:
            self.outlook = str(refused)
        self.touch()

    def _forget(self) -> None:
        self.path, self.mapping, self.complaints, self.outlook = None, None, [], ""
        self.touch()


def targets() -> list[tuple[str, str]]:
    """What a column can be read as: what to show, and its name in the codebook."""
    names = [name for name in codebook.names(codebook.SHOTS) if name not in _NEVER_READ]
    return [(called(name), name) for name in (NOT_READ, *names, DATE, CLOCK)]


def called(target: str) -> str:
    """A target as people call it, with its unit."""
    if target == NOT_READ or target in _CALLED:
        return _CALLED.get(target, NOT_READ)
    column = codebook.column(target)
    label = column.label or target.replace("_", " ")
    return f"{label} ({column.unit})" if column.unit else label


def _against_words(complaints: int) -> str:
    things = "1 thing stands" if complaints == 1 else f"{complaints} things stand"
    return (
        f"{things} against it, listed with row and column. Mend the file, or change how a column "
        "is read, and look at it again."
    )
