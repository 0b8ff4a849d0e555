"""The lock on a blind analysis: names are shown only after the analysis is settled and recorded."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from kit.analysis.masking import Mask, draw_mask
from kit.errors import DataError
from kit.files import read_text, sha256_of, write_atomically
from kit.trial import Trial, read_trial

LOCK_FILE = "analysis_lock.json"


@dataclass(frozen=True)
class AnalysisLock:
    """When the analysis was settled, by whom, and the checksum of what it said in letters."""

    at: str
    by: str
    findings_sha256: str


def names_hidden(folder: Path) -> bool:
    """Whether the analyst is to be blind and has not settled the analysis yet."""
    return read_trial(folder).blinding.analyst and read_lock(folder) is None


def read_lock(folder: Path) -> AnalysisLock | None:
    """The lock of a trial, or None while its analysis is open.

    Raises
    ------
    DataError
        If the file is damaged.
    """
    path = folder / LOCK_FILE
    if not path.exists():
        return None
    try:
        return AnalysisLock(**json.loads(read_text(path)))
    except (json.JSONDecodeError, TypeError) as error:
        raise DataError(f"{LOCK_FILE} is damaged: it cannot be read as a lock.") from error


def lock_analysis(folder: Path, blind_findings: str, at: datetime, by: str) -> AnalysisLock:
    """Settle the analysis and take the letters off; what was said in letters is sealed with it.

    Raises
    ------
    DataError
        If the analysis was settled before.
    """
    settled = read_lock(folder)
    if settled is not None:
        raise DataError(f"The analysis was settled at {settled.at}; it is settled once.")
    digest = sha256_of(blind_findings.encode("utf-8"))
    lock = AnalysisLock(at.isoformat(timespec="seconds"), by, digest)
    write_atomically(folder / LOCK_FILE, json.dumps(asdict(lock), indent=1) + "\n")
    return lock


def mask_of(trial: Trial, seed: int) -> Mask:
    """The letters of a trial: always the same for one schedule seed, unrelated to its order."""
    return draw_mask(trial, np.random.default_rng([seed, 0x1E77E25]))
