"""The plan as a form: what is asked, what there is to answer it with, and what that will tell.

No widgets here. The blanks are kept as typed; whenever they make a trial, the outlook is that of
the trial as typed, saved or not.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pandas as pd

from kit.errors import KitError, PlanError
from kit.files import write_atomically
from kit.planning.chunks import Run
from kit.planning.laid_out import LaidOut
from kit.planning.plan_page import plan_page
from kit.planning.questions import outcome_of_means
from kit.planning.refined import simulated_answers, simulated_trial
from kit.planning.simulated_power import headlines
from kit.planning.variance import (
    NoiseEstimate,
    noise_assumed,
    noise_from_past_trials,
    past_trials,
)
from kit.planning.virtual import VirtualPlan
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
from kit.trial import Trial, write_trial
from kit.widgets.panel_model import SCHEDULE_FILE, PanelModel
from kit.widgets.plan.forms import PlanForms
from kit.widgets.plan.largest import drawable_plan, fitted_words, size_words
from kit.widgets.plan.lookahead import LookAhead
from kit.widgets.plan.outlook import Outlook, outlook_or_reason

PLAN_PAGE = "plan.md"
SIMULATED_TRIALS = 4000


class PlanModel(PanelModel):
    """The blanks of the plan, as typed, what they will tell, the schedule and the seal."""

    def read_folder(self) -> None:
        """Fill the blanks from the trial, and take its layout from the schedule."""
        self.forms = PlanForms.of(self.trial)
        self.schedule: pd.DataFrame | None = None
        self.layout_trouble = ""
        self.stale = False
        """Whether the drawn schedule is not the one that the saved plan gives."""
        self._read_layout()
        self._look_ahead()

    @property
    def editable(self) -> bool:
        """Whether the plan may still be changed."""
        return self.trial is not None and not self.sealed

    @property
    def changed(self) -> bool:
        """Whether something was typed that is not in the file yet."""
        return self.trial is not None and self.forms != PlanForms.of(self.trial)

    @property
    def drawn(self) -> bool:
        """Whether the folder holds a schedule."""
        return self.has(SCHEDULE_FILE)

    # -- what is typed ---------------------------------------------------------------------------

    def write_question(self, text: str) -> None:
        """Take the question as typed."""
        self.forms.question = text
        self.touch()

    def type_in(self, name: str, text: str) -> None:
        """Take the text of one blank of the sentence as typed; nothing is saved yet."""
        if self.forms.entries[name] != text:
            self.forms.type_in(name, text)
            self.reconsider()

    def take_noise(self, estimate: NoiseEstimate) -> str:
        """Plan with a noise that was measured; returns it in words."""
        self.forms.take_noise(estimate.as_noise())
        self.reconsider()
        return estimate.sentence()

    def take_noise_from(self, folder: Path) -> str:
        """Plan with the noise of the finished trials in ``folder``; returns it in words.

        Raises
        ------
        PlanError
            If there is none to learn from.
        """
        measure = self.forms.outcomes.noise_measure
        return self.take_noise(noise_from_past_trials(past_trials(folder, measure)))

    def take_largest(self) -> str:
        """Plan as many blocks as fit the budget and can be laid out; returns them in words.

        Raises
        ------
        PlanError
            If none do, or what is typed makes no plan.
        """
        fitted = drawable_plan(self.trial_as_typed())
        layout = fitted.trial.layout
        self.forms.blanks["sessions"] = str(layout.sessions)
        self.forms.blanks["blocks_per_session"] = str(layout.blocks_per_session)
        self.reconsider()
        return size_words(fitted)

    def reconsider(self) -> None:
        """After any change of a form: look ahead again and tell the views."""
        self._look_ahead()
        self.touch()

    # -- what is wrong or missing ----------------------------------------------------------------

    def problems(self) -> list[str]:
        """What is wrong with what is typed, a sentence each."""
        return self.forms.problems() if self.trial is not None else []

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
        elif self.stale:
            unmet.append("The schedule was drawn for another plan than this one. Draw it again.")
        if not self.sealed:
            unmet.append("Plan and schedule are not sealed yet; no shot counts before they are.")
        return unmet

    # -- what is pressed -------------------------------------------------------------------------

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
        write_trial(self.trial_as_typed(), self.folder)
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

    # -- what is shown ---------------------------------------------------------------------------

    def seal_in_words(self) -> str:
        """The seal and its time; empty before sealing."""
        if not self.sealed:
            return ""
        try:
            found = read_freeze(self.folder)
        except KitError as error:
            return str(error)
        return f"{found.short} (sealed {found.at})"

    def noise_in_words(self) -> str:
        """The noise the plan rests on: its range and where it comes from."""
        if self.outlook is None:
            return ""
        return noise_assumed(self.outlook.trial.noise).sentence()

    def largest_in_words(self) -> str:
        """The largest plan that fits the budget as typed, or why there is none."""
        return "" if self.outlook is None else fitted_words(self.outlook.trial)

    def certificate_summary(self) -> pd.DataFrame:
        """What the drawn schedule balances: columns Quantity, Value, Meaning."""
        if self.trial is None or self.schedule is None:
            return pd.DataFrame(columns=["Quantity", "Value", "Meaning"])
        summary = certificate(self.trial, self.schedule).summary
        return summary.rename(columns=str.capitalize)

    def virtual_of(self, trial: Trial) -> VirtualPlan:
        """The plan of virtual trials of a trial as typed.

        Raises
        ------
        PlanError
            If it cannot be laid out.
        """
        return (self._ahead or LookAhead(trial, None)).virtual(trial)

    def simulated(self, run: Run) -> tuple[pd.DataFrame, pd.DataFrame, str]:
        """Promised against simulated chances, headlines, and what was run, for the saved plan."""
        if self.trial is None or self.schedule is None:
            raise PlanError("There is no layout to simulate.")
        simulation = simulated_trial(self.trial, self.schedule, run)
        layout = LaidOut.of_schedule(self.schedule, self.trial)
        outcome = outcome_of_means(self.trial)
        if outcome is None:
            raise PlanError("No average is judged in this trial, so there is nothing to simulate.")
        told = headlines(simulation, outcome.smallest_difference)
        return simulated_answers(self.trial, layout, simulation), told, simulation.words()

    # -- inside ----------------------------------------------------------------------------------

    def _read_layout(self) -> None:
        """The drawn schedule, or one drawn for a look ahead (seed 0, not written)."""
        self._ahead: LookAhead | None = None
        if self.trial is None:
            return
        seed = self.trial.layout.seed
        try:
            wanted = draw_schedule(self.trial, seed or 0)
            drawn = read_schedule(self.folder) if self.drawn else wanted
            self.stale = self.drawn and seed is not None and not wanted.equals(drawn)
            self.schedule = wanted if self.stale else drawn
            self._ahead = LookAhead(self.trial, self.schedule)
        except KitError as error:
            self.layout_trouble = str(error)
            self._ahead = LookAhead(self.trial, None)

    def _look_ahead(self) -> None:
        self.outlook: Outlook | None = None
        self.no_outlook = ""
        if self._ahead is None or self.problems():
            return
        try:
            trial = self.trial_as_typed()
            self.outlook, self.no_outlook = outlook_or_reason(trial, self._ahead.layout(trial))
        except KitError as error:
            self.no_outlook = str(error)

    def trial_as_typed(self) -> Trial:
        """The trial that the forms make.

        Raises
        ------
        PlanError
            If they make none.
        """
        if self.trial is None:
            raise PlanError(self.trouble)
        return self.forms.trial(self.trial)
