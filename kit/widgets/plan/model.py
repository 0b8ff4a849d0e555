"""The plan as a form: what is asked, what there is to answer it with, and what that will tell.

No widgets here. The blanks are kept as typed; whenever they make a trial, the outlook is that of
the trial as typed, saved or not.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
import tomlkit
from pydantic import ValidationError

from kit.codebook import column
from kit.errors import KitError, PlanError
from kit.files import write_atomically
from kit.planning.chunks import Run
from kit.planning.laid_out import LaidOut
from kit.planning.layouts import study_rows
from kit.planning.plan_page import plan_page
from kit.planning.refined import simulated_answers, simulated_trial
from kit.planning.simulated_power import headlines
from kit.planning.variance import noise_from_past_trials, past_trials
from kit.planning.virtual import VirtualPlan, virtual_plan
from kit.schedule import (
    Freeze,
    certificate,
    draw_schedule,
    freeze_trial,
    make_schedule,
    randomisation_scheme,
    read_freeze,
    read_schedule,
)
from kit.trial import Noise, Outcome, Trial, trial_from_toml, write_trial
from kit.widgets.entry import NumberRule
from kit.widgets.panel_model import SCHEDULE_FILE, PanelModel
from kit.widgets.plan.outlook import Outlook, outlook_or_reason

_UNITS = {"spread": "times", "rate": "share"}
PLAN_PAGE = "plan.md"
SIMULATED_TRIALS = 4000


class PlanModel(PanelModel):
    """The blanks of the plan, as typed, what they will tell, the schedule and the seal."""

    def read_folder(self) -> None:
        """Fill the blanks from the trial, and take its layout from the schedule."""
        self.question = self.trial.question if self.trial is not None else ""
        self.rules = _rules(self.trial.primary) if self.trial is not None else {}
        self.noise = self.trial.noise if self.trial is not None else Noise()
        self.entries = self._saved_entries()
        self.schedule: pd.DataFrame | None = None
        self._rows: pd.DataFrame | None = None
        self.layout_trouble = ""
        self._read_layout()
        self._look_ahead()

    @property
    def editable(self) -> bool:
        """Whether the plan may still be changed."""
        return self.trial is not None and not self.sealed

    @property
    def changed(self) -> bool:
        """Whether something was typed that is not in the file yet."""
        if self.trial is None:
            return False
        return (
            self.entries != self._saved_entries()
            or self.question != self.trial.question
            or self.noise != self.trial.noise
        )

    @property
    def drawn(self) -> bool:
        """Whether the folder holds a schedule."""
        return self.has(SCHEDULE_FILE)

    def write_question(self, text: str) -> None:
        """Take the question as typed."""
        self.question = text
        self.touch()

    def type_in(self, name: str, text: str) -> None:
        """Take the text of one blank as typed; nothing is saved yet."""
        self.entries[name] = text
        self._look_ahead()
        self.touch()

    def take_noise_from(self, folder: Path) -> str:
        """Take the noise from the finished trials in ``folder``; returns it in words.

        Raises
        ------
        PlanError
            If there is none to learn from.
        """
        estimate = noise_from_past_trials(past_trials(folder))
        self.noise = estimate.as_noise()
        self.type_in("shot_sd", self.rules["shot_sd"].written(self.noise.shot_sd))
        return estimate.sentence()

    def problems(self) -> list[str]:
        """What is wrong with the blanks, a sentence each."""
        found = [
            (rule.label, rule.problem(self.entries[name])) for name, rule in self.rules.items()
        ]
        said = [
            problem if problem.startswith(label) else f"{label}: {problem}"
            for label, problem in found
            if problem
        ]
        return [*([] if self.question.strip() else ["The question is empty."]), *said]

    def unmet(self) -> list[str]:
        """What is still missing before the first shot may be pulled."""
        if self.trial is None:
            return super().unmet()
        unmet = self.problems()
        if self.layout_trouble:
            unmet.append(self.layout_trouble)
        if self.changed:
            unmet.append("What you changed is not saved yet.")
        if not self.drawn:
            unmet.append("The schedule is not drawn yet.")
        if not self.sealed:
            unmet.append("Plan and schedule are not sealed yet; no shot counts before they are.")
        return unmet

    def save(self) -> None:
        """Write the blanks into ``trial.toml``; comments in it are kept.

        Raises
        ------
        PlanError
            If the plan is sealed, or the blanks do not make a trial; the file is then untouched.
        """
        if not self.editable:
            raise PlanError("The plan is sealed. A change from here on is a deviation: log it.")
        if problems := self.problems():
            raise PlanError("\n".join(problems))
        write_trial(self._trial_as_typed(), self.folder)
        self.refresh()

    def draw(self, seed: int) -> None:
        """Draw the schedule of the saved plan from ``seed`` and write it."""
        if self.changed:
            raise PlanError("Save the plan first, so that the schedule is drawn for what it says.")
        make_schedule(self.folder, seed)
        self.refresh()

    def seal(self, at: datetime) -> Freeze:
        """Seal plan and schedule, and write the plan as one page to publish."""
        if self.changed:
            raise PlanError("Save the plan first, then draw the schedule, then seal both.")
        if self.trial is None or self.schedule is None or not self.drawn:
            raise PlanError("There is no schedule yet. Draw it, then seal plan and schedule.")
        sealed = freeze_trial(self.folder, at)
        words = f"Sealed {sealed.at}, seal {sealed.short}."
        scheme = randomisation_scheme(self.trial).words()
        page = plan_page(self.trial, self.schedule, scheme, words)
        write_atomically(self.folder / PLAN_PAGE, page)
        self.refresh()
        return sealed

    def seal_in_words(self) -> str:
        """The seal and its time; empty before sealing."""
        if not self.sealed:
            return ""
        try:
            found = read_freeze(self.folder)
        except KitError as error:
            return str(error)
        return f"{found.short} (sealed {found.at})"

    def certificate_summary(self) -> pd.DataFrame:
        """What the drawn schedule balances: columns Quantity, Value, Meaning."""
        if self.trial is None or self.schedule is None:
            return pd.DataFrame(columns=["Quantity", "Value", "Meaning"])
        summary = certificate(self.trial, self.schedule).summary
        return summary.rename(columns=str.capitalize)

    def virtual(self) -> VirtualPlan | None:
        """The plan of virtual trials of this schedule."""
        if self.trial is None or self.schedule is None:
            return None
        return virtual_plan(self.schedule, self.trial)

    def simulated(self, run: Run) -> tuple[pd.DataFrame, pd.DataFrame, str]:
        """Promised against simulated chances, headlines, and what was run, for the saved plan."""
        if self.trial is None or self.schedule is None:
            raise PlanError("There is no layout to simulate.")
        simulation = simulated_trial(self.trial, self.schedule, run)
        layout = LaidOut.of_schedule(self.schedule, self.trial)
        told = headlines(simulation, self.trial.primary.smallest_difference)
        return simulated_answers(self.trial, layout, simulation), told, simulation.words()

    def _read_layout(self) -> None:
        """The drawn schedule, or one drawn for a look ahead (seed 0, not written)."""
        if self.trial is None:
            return
        try:
            self.schedule = (
                read_schedule(self.folder) if self.drawn else draw_schedule(self.trial, 0)
            )
            self._rows = study_rows(self.schedule, self.trial)
        except KitError as error:
            self.schedule = self._rows = None
            self.layout_trouble = str(error)

    def _look_ahead(self) -> None:
        self.outlook: Outlook | None = None
        self.no_outlook = ""
        if self.trial is None or self._rows is None or self.problems():
            return
        try:
            self.outlook, self.no_outlook = outlook_or_reason(self._trial_as_typed(), self._rows)
        except KitError as error:
            self.no_outlook = str(error)

    def _trial_as_typed(self) -> Trial:
        if self.trial is None:
            raise PlanError(self.trouble)
        values = self.trial.model_dump(mode="json", exclude_none=True)
        self._put_into(values)
        try:
            return Trial.model_validate(values)
        except ValidationError:
            # The words for a person are made where files are read.
            return trial_from_toml(tomlkit.dumps(values))

    def _saved_entries(self) -> dict[str, str]:
        if self.trial is None:
            return {}
        saved = {
            "smallest_difference": self.trial.primary.smallest_difference,
            "shot_sd": self.trial.noise.shot_sd,
            "sessions": self.trial.layout.sessions,
            "blocks_per_session": self.trial.layout.blocks_per_session,
            "coffee_g": self.trial.budget.coffee_g,
            "minutes_per_session": self.trial.budget.minutes_per_session,
        }
        return {name: self.rules[name].written(value) for name, value in saved.items()}

    def _put_into(self, values: dict[str, Any]) -> None:
        read = {name: rule.read(self.entries[name]) for name, rule in self.rules.items()}
        values["question"] = self.question.strip()
        for outcome in values["outcomes"]:
            if outcome["role"] == "primary":
                outcome["smallest_difference"] = read["smallest_difference"]
        as_taken = self.entries["shot_sd"] == self.rules["shot_sd"].written(self.noise.shot_sd)
        typed = {"shot_sd": read["shot_sd"], "provenance": Noise().provenance}
        values["noise"] = self.noise.model_dump() | ({} if as_taken else typed)
        for name in ("sessions", "blocks_per_session"):
            values["layout"][name] = int(read[name] or 0)
        for name in ("coffee_g", "minutes_per_session"):
            values["budget"].pop(name, None)
            if read[name] is not None:
                values["budget"][name] = read[name]


def _rules(primary: Outcome) -> dict[str, NumberRule]:
    unit = _UNITS.get(primary.aspect) or _unit_of(primary.measure)
    spread_unit = _unit_of(primary.measure)
    return {
        "smallest_difference": NumberRule(
            "Smallest difference that matters", unit, 0.001, required=True, decimals=2
        ),
        "shot_sd": NumberRule(
            "Shot-to-shot SD", spread_unit, 0.001, 1000, required=True, decimals=2
        ),
        "sessions": NumberRule("Sessions", "", 1, 200, required=True, whole=True),
        "blocks_per_session": NumberRule(
            "Blocks in a session", "", 1, 200, required=True, whole=True
        ),
        "coffee_g": NumberRule("Coffee there is", "g", 1, 100_000, decimals=0),
        "minutes_per_session": NumberRule("Minutes a session", "min", 5, 1440, decimals=0),
    }


def _unit_of(measure: str) -> str:
    """The unit of a difference: percentages differ by points; a taste score has no unit."""
    try:
        unit = column(measure).unit
    except KeyError:
        return "points"
    return "points" if unit == "%" else unit
