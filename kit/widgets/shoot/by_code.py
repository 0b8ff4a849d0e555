"""Measuring, scoring and tasting by cup code: whoever does it does not see the method."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import ClassVar

import numpy as np

from kit.analysis.agreement import scorer_agreement
from kit.errors import DataError, ModelError
from kit.files import sha256_of
from kit.shotlog import (
    fault_scores_table,
    log_fault_score,
    log_readings,
    read_draft,
    save_draft,
)
from kit.widgets.shoot.form import READINGS, RULES, ShotForm
from kit.widgets.shoot.trial_log import TrialLog, now

SECOND_SCORER_SHARE = 0.2
"""Share of the cups a second scorer should see (common practice, no source)."""


class ByCodeModel(TrialLog):
    """What the three desks have in common: who sits there, which cups there are, and a draft.

    What is typed is kept at every edit, so that a crash loses none of it.
    """

    desk: ClassVar[str]
    """The name under which the draft is kept."""

    def __init__(self, folder: Path, clock: Callable[[], datetime] = now) -> None:
        self.who = ""
        self.texts = self.blank()
        super().__init__(folder, clock)

    def blank(self) -> dict[str, str]:
        """The texts of the empty boxes."""
        return {}

    def read_folder(self) -> None:
        """Read the log, and take up what was half-filled."""
        super().read_folder()
        draft = read_draft(self.folder, self.desk) if self.trial is not None else {}
        self.who = str(draft.pop("who", ""))
        self.texts = {**self.blank(), **draft}

    def write_who(self, code: str) -> None:
        """Remember the code of the person at the desk."""
        self.who = code.strip()
        self._keep()

    def type_in(self, name: str, text: str) -> None:
        """Take the text of a box as typed."""
        if self.texts.get(name, "") == text:
            return
        self.texts = {**self.texts, name: text}
        self._keep()

    def start_anew(self) -> None:
        """Empty boxes for the next cup; the person stays."""
        self.texts = self.blank()
        self._keep()

    def _keep(self) -> None:
        try:
            save_draft(self.folder, self.desk, {**self.texts, "who": self.who}, self.clock())
        finally:  # what the screen answers is on disk, or said not to be
            self.touch()

    @abstractmethod
    def save(self) -> str:
        """Save what is in the boxes; returns what to say once it is on disk."""

    def cups(self) -> dict[str, int]:
        """Cup codes of study and reference shots that gave a cup, with the number of the shot."""
        shots = self.shots()
        wanted = shots["role"].isin(["study", "reference"]) & shots["beverage_g"].notna()
        kept = shots[wanted & shots["code"].notna()]
        return {
            str(code): int(number) for code, number in zip(kept["code"], kept["shot"], strict=True)
        }

    def known_code(self, text: str) -> str:
        """The cup code in ``text``.

        Raises
        ------
        DataError
            If no cup with this code was pulled.
        """
        code = text.strip()
        if not self.who:
            raise DataError("Enter your code first: the log says who entered what.")
        if code not in self.cups():
            raise DataError(
                f"No cup with the code “{code}” has been pulled. Read the number on the cup again."
            )
        return code


class MeasureModel(ByCodeModel):
    """TDS readings by cup code."""

    desk = "measure"

    def blank(self) -> dict[str, str]:
        """The code and up to three readings."""
        return dict.fromkeys(("code", *READINGS), "")

    def waiting(self) -> list[str]:
        """Codes of cups without a reading, in the order of their numbers (not that of pulling)."""
        shots = self.shots()
        read = {str(code) for code in shots.loc[shots["tds_pct"].notna(), "code"]}
        return sorted(code for code in self.cups() if code not in read)

    def spread(self) -> str:
        """How far the readings are apart, in words."""
        return self._form().spread_words()

    def save(self) -> str:
        """Save the readings of the cup."""
        self.catch_up()
        code = self.known_code(self.texts["code"])
        form = self._form()
        problems = form.problems()
        if problems:
            raise DataError("\n".join(problems))
        if not form.readings():
            raise DataError("Enter at least one reading.")
        log_readings(self.folder, code, form.readings(), self.clock(), self.who)
        self.start_anew()
        self.after_writing()
        return f"Cup {code} is saved. {len(self.waiting())} cups are waiting."

    def _form(self) -> ShotForm:
        form = ShotForm.empty()
        for name in READINGS:
            form = form.typed(name, self.texts[name])
        return form


class ScoreModel(ByCodeModel):
    """Flow faults counted from the video, in an order of each scorer's own."""

    desk = "score"

    def blank(self) -> dict[str, str]:
        """The count and a note."""
        return {"faults": "", "note": ""}

    def waiting(self) -> list[str]:
        """Codes this scorer has not scored, in a random order that stays the same for them."""
        scored = {event.data["code"] for event in self.log.scores if event.by == self.who}
        codes = sorted(self.cups())
        seed = int(sha256_of(f"{self.trial and self.trial.title} {self.who}".encode())[:16], 16)
        order = np.random.default_rng(seed).permutation(len(codes))
        return [codes[place] for place in order if codes[place] not in scored]

    def save(self) -> str:
        """Save the count of the cup that is next for this scorer."""
        self.catch_up()
        waiting = self.waiting()
        if not waiting:
            raise DataError("You have scored every cup there is.")
        code = self.known_code(waiting[0])
        count = RULES["faults"].read(self.texts["faults"])
        if count is None:
            raise DataError("Enter the number of faults; 0 if you saw none.")
        note = self.texts["note"].strip()
        log_fault_score(self.folder, code, int(count), self.clock(), self.who, note)
        self.start_anew()
        self.after_writing()
        return f"Clip {code} is scored. {len(self.waiting())} are left."

    def agreement(self) -> str:
        """How far two scorers agree; or how many cups a second one should see."""
        try:
            return scorer_agreement(fault_scores_table(self.log)).sentence()
        except ModelError:
            wanted = max(1, round(SECOND_SCORER_SHARE * len(self.cups())))
            return f"A second scorer should see at least {wanted} of the clips."
