"""What goes into a bundle, and what never does."""

from __future__ import annotations

from pathlib import Path

from kit.errors import BundleError
from kit.schedule.tasting import ORDERS_FILE, SETS_FILE

TRIAL_FILES = (
    "trial.toml",
    "schedule.csv",
    "freeze.json",
    ORDERS_FILE,
    SETS_FILE,
    "amended_schedule.csv",
    "amendments.csv",
    "shots.jsonl",
    "shots.csv",
    "readings.csv",
    "tastings.csv",
    "deviations.csv",
    "analysis_lock.json",
)
NEEDED = ("trial.toml", "shots.jsonl", "shots.csv")
RESULTS = "results"
_KINDS = {".csv", ".json", ".html", ".svg", ".png", ".pdf", ".txt", ".gif", ".mp4"}


def trial_entries(folder: Path) -> dict[str, bytes]:
    """The files of a trial and its results by their names in the bundle.

    Drafts, lock files, notebooks and anything a person keeps beside the trial stay out; so do
    names of tasters, which never enter a trial's files in the first place (tasters have codes).

    Raises
    ------
    BundleError
        If a file without which nothing can be reproduced is missing.
    """
    absent = [name for name in NEEDED if not (folder / name).is_file()]
    if absent:
        raise BundleError(
            f"{folder} lacks {absent[0]}, without which nobody could reproduce the result. "
            "Log the shots first."
        )
    entries = {
        name: (folder / name).read_bytes() for name in TRIAL_FILES if (folder / name).is_file()
    }
    results = folder / RESULTS
    for path in sorted(results.rglob("*")):
        if path.is_file() and not path.is_symlink() and path.suffix in _KINDS:
            entries[path.relative_to(folder).as_posix()] = path.read_bytes()
    return entries
