"""Our exceptions: every message is a sentence for the practitioner.

A message says what is wrong, where, what was found, and what to do about it.
The command line prints it as it stands and ends with exit code 2; the notebooks
show it beside the control it concerns.
"""

from __future__ import annotations

from dataclasses import dataclass


class KitError(Exception):
    """Anything the kit refuses to do, said in words for the person who asked."""


class PlanError(KitError):
    """The trial as described cannot be planned, drawn or frozen."""


class DataError(KitError):
    """A file or table cannot be read as meant."""


class ModelError(KitError):
    """The shots cannot answer the question asked of them (confounded, too few, not finite)."""


class BundleError(KitError):
    """A bundle is damaged, unsafe, or does not replay."""


@dataclass(frozen=True)
class Complaint:
    """One thing wrong in one place of a file: enough for the person to find and mend it."""

    file: str
    row: int | None
    column: str | None
    found: str
    problem: str
    remedy: str

    def sentence(self) -> str:
        """The complaint as one sentence that names file, row and column."""
        where = self.file
        if self.row is not None:
            where += f", row {self.row}"
        if self.column is not None:
            where += f", column {self.column}"
        found = f" (found: {self.found})" if self.found else ""
        return f"{where}: {self.problem}{found}. {self.remedy}"


class TableError(DataError):
    """One or more places of a table are wrong; ``complaints`` lists them all, in file order."""

    def __init__(self, complaints: list[Complaint]) -> None:
        self.complaints = complaints
        super().__init__("\n".join(complaint.sentence() for complaint in complaints))
