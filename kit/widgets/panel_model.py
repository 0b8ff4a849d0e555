"""What the models of all panels have in common: a trial folder, its trial, and what is missing.

A model holds values and rules and knows no widget, so it is tested without a browser. Views look
at it through its properties and redraw when ``version`` changes.
"""

from __future__ import annotations

from pathlib import Path

import traitlets

from kit.errors import KitError
from kit.trial import TRIAL_FILE, Trial, read_trial

FREEZE_FILE = "freeze.json"
SCHEDULE_FILE = "schedule.csv"
JOURNAL_FILE = "shots.jsonl"


class PanelModel(traitlets.HasTraits):
    """The base of every panel's model. Everything it knows is read again from the folder."""

    version = traitlets.Int(0)
    """Goes up by one whenever something a view shows has changed."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self.folder = folder
        self.trial: Trial | None = None
        self.trouble = ""
        """Why the trial cannot be read, in words; empty when it can."""
        self.refresh()

    def refresh(self) -> None:
        """Read the folder again: another notebook or a person may have changed it."""
        self.trial, self.trouble = _read(self.folder)
        self.read_folder()
        self.touch()

    def read_folder(self) -> None:
        """Read what this panel needs besides the trial. The base needs nothing."""

    def touch(self) -> None:
        """Tell the views that something has changed."""
        self.version += 1

    def has(self, name: str) -> bool:
        """Whether the trial folder holds the file ``name``."""
        return (self.folder / name).is_file()

    @property
    def sealed(self) -> bool:
        """Whether plan and schedule are sealed: from then on they are no longer changed."""
        return self.has(FREEZE_FILE)

    def unmet(self) -> list[str]:
        """What is still missing for this step, a sentence each; empty when nothing is."""
        return self.trouble.splitlines()


def _read(folder: Path) -> tuple[Trial | None, str]:
    if not (folder / TRIAL_FILE).is_file():
        return None, (
            "This folder holds no trial. Start one in a terminal with “fairpull new my-trial”, "
            "then “fairpull open my-trial”."
        )
    try:
        return read_trial(folder), ""
    except KitError as error:
        return None, str(error)
