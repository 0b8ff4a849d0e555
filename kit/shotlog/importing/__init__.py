"""Import of tables people already have: long or wide, CSV or workbook, tidy or not.

First ``preview_import`` says how the file would be read; then ``import_shots`` reads it, exactly
as meant or not at all; then ``log_import`` writes it into the journal of a trial.
"""

from kit.shotlog.importing.imported import (
    ImportedShots,
    import_into,
    import_shots,
    log_import,
    preview_import,
)
from kit.shotlog.importing.mapping import ColumnUse, Mapping, SheetMapping

__all__ = [
    "ColumnUse",
    "ImportedShots",
    "Mapping",
    "SheetMapping",
    "import_into",
    "import_shots",
    "log_import",
    "preview_import",
]
