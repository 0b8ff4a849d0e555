"""The amended schedule beside the sealed one, and the changes that led to it."""

from __future__ import annotations

import io
from pathlib import Path

import pandas as pd

from kit import codebook
from kit.files import read_text, write_atomically
from kit.schedule.files import read_schedule, schedule_text
from kit.schedule.rescue import Rescue

AMENDED_FILE = "amended_schedule.csv"
AMENDMENTS_FILE = "amendments.csv"


def write_rescue(rescue: Rescue, folder: Path) -> Path:
    """Write the amended schedule, and add its changes to those made before.

    ``schedule.csv`` and the seal are left untouched.
    """
    before = read_amendments(folder)
    changes = pd.concat([before, rescue.deviations.astype(object)], ignore_index=True)
    write_atomically(folder / AMENDMENTS_FILE, schedule_text(changes))
    return write_atomically(folder / AMENDED_FILE, schedule_text(rescue.schedule))


def current_schedule(folder: Path) -> pd.DataFrame:
    """The schedule to pull by: the amended one where there is one, else the one drawn."""
    amended = folder / AMENDED_FILE
    return read_schedule(amended if amended.exists() else folder)


def read_amendments(folder: Path) -> pd.DataFrame:
    """Every change made to the sealed schedule (columns of ``codebook.DEVIATIONS``)."""
    columns = codebook.names(codebook.DEVIATIONS)
    path = folder / AMENDMENTS_FILE
    if not path.exists():
        return pd.DataFrame(columns=columns)
    return pd.read_csv(io.StringIO(read_text(path)), dtype=str, keep_default_na=False)[columns]
