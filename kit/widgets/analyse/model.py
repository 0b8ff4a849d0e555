"""What the shots say, when it may be seen, and under which names. No widgets here."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd

from kit.errors import DataError
from kit.figures import Picture
from kit.findings.claims import Claim
from kit.findings.findings import verdict_grid
from kit.results import (
    Results,
    check_pictures,
    compute_blind_results,
    compute_results,
    lock_analysis,
    names_hidden,
    outcome_pictures,
    raw_pictures,
)
from kit.results.gate import note_early_look, still_to_pull
from kit.results.rehearsal import rehearse
from kit.results.write import findings_text
from kit.shotlog import write_tables
from kit.widgets.panel_model import JOURNAL_FILE, SCHEDULE_FILE
from kit.widgets.results_model import ResultsModel


class AnalyseModel(ResultsModel):
    """The findings of a completed trial; letters for names until the analysis is settled."""

    def __init__(self, folder: Path) -> None:
        self.hidden = False
        self.to_pull = 0
        super().__init__(folder)

    def read_folder(self) -> None:
        """Look how far the trial has come; what was computed before is thrown away."""
        super().read_folder()
        self.hidden = self.trial is not None and names_hidden(self.folder)
        self.to_pull = still_to_pull(self.folder) if self.trial is not None else 0

    def unmet(self) -> list[str]:
        """What is still missing before the shots can be judged."""
        if self.trial is None:
            return super().unmet()
        if not self.has(JOURNAL_FILE):
            return ["No shot is logged yet. Log shots in 2_shoot, or import a table."]
        if self.to_pull:
            pulls = "pull is" if self.to_pull == 1 else "pulls are"
            return [f"{self.to_pull} {pulls} still to be made; the answer comes after the last."]
        return []

    def compute(self, progress: Callable[[str], None]) -> Results:
        """Analyse the trial; the result is kept by :meth:`keep`, so that this may run apart."""
        write_tables(self.folder)
        analyse = compute_blind_results if self.hidden else compute_results
        return analyse(self.folder, progress)

    def can_rehearse(self) -> bool:
        """Whether there is an order to rehearse, and no answer yet to confuse it with."""
        return self.trial is not None and self.has(SCHEDULE_FILE) and not self.ready

    def rehearse(self, seed: int, progress: Callable[[str], None]) -> Results:
        """The whole analysis on invented shots without any true difference; nothing is written."""
        return rehearse(self.folder, np.random.default_rng(seed), progress)

    def ask_early(self, at: datetime, by: str) -> str:
        """Note that somebody asked before the end; returns why there is no answer."""
        return note_early_look(self.folder, at, by)

    def settle(self, at: datetime, by: str) -> None:
        """Settle the blind analysis as it stands and take the letters off.

        Raises
        ------
        DataError
            If nothing was analysed yet, or it was settled before.
        """
        if self.results is None or not self.ready:
            raise DataError("There is nothing to settle yet: wait until the analysis is done.")
        lock_analysis(self.folder, findings_text(self.results), at, by)
        self.refresh()

    # -- what is shown ---------------------------------------------------------------------------

    def grid(self) -> pd.DataFrame:
        """Verdicts: pairs in rows, outcomes in columns."""
        return pd.DataFrame() if self.results is None else verdict_grid(self.results.analysis)

    def claims(self, outcome: str) -> list[Claim]:
        """The claim sheet of one outcome."""
        if self.results is None:
            return []
        return [claim for claim in self.results.findings.claims if claim.outcome == outcome]

    def raw_pictures(self) -> list[Picture]:
        """The shots in the order pulled."""
        return [] if self.results is None else raw_pictures(self.results)

    def outcome_pictures(self, outcome: str) -> list[Picture]:
        """The pictures of one outcome; none where it could not be analysed."""
        analysed = self.results is not None and outcome in {
            item.outcome.name for item in self.results.analysis.results
        }
        return outcome_pictures(self.results, outcome) if analysed and self.results else []

    def check_pictures(self) -> list[Picture]:
        """Reference shots and residuals."""
        return [] if self.results is None else check_pictures(self.results)
