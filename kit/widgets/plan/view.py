"""The plan on the screen: the question, its blanks, the answer; then luck, schedule and seal."""

from __future__ import annotations

import secrets
import time
from datetime import datetime
from pathlib import Path
from typing import Any, cast

import ipywidgets as widgets
import pandas as pd

from kit.figures.picture import Picture
from kit.planning.chunks import Progress, Run, timed
from kit.widgets.fields import text_area
from kit.widgets.frame import PanelView
from kit.widgets.plan.methods_view import MethodsView
from kit.widgets.plan.model import PLAN_PAGE, SIMULATED_TRIALS, PlanModel
from kit.widgets.plan.noise_view import NoiseView
from kit.widgets.plan.outcomes_view import OutcomesView
from kit.widgets.plan.outlook import Outlook
from kit.widgets.plan.pages import (
    answer_page,
    headline_frame,
    headline_page,
    list_page,
    reasons_page,
    simulated_frame,
    taste_page,
    values_page,
)
from kit.widgets.plan.painter import Painter
from kit.widgets.plan.sentence import Sentence
from kit.widgets.plan.tasting_view import TastingView
from kit.widgets.progress import LongWork, Reporter, StoppedError
from kit.widgets.tables import html_table
from kit.widgets.theme import main_button, paragraph, plain_button, row, section

_SHEET = Path(__file__).with_name("plan.css")


class PlanView(PanelView):
    """The plan form and what it promises."""

    notebook = "1_plan"

    @property
    def plan(self) -> PlanModel:
        """The model, by its own type."""
        return cast(PlanModel, self.model)

    def body(self) -> list[widgets.Widget]:
        """Question, blanks, answer table, curve and budget, luck, simulation, schedule, seal."""
        style = widgets.HTML(f"<style>{_SHEET.read_text(encoding='utf-8')}</style>")
        style.add_class("kit-style")
        self._seed = 1
        self._pictured: Outlook | None = None
        self._work = LongWork(self.status, self.guard)
        self._headline, self._answers, self._taste = (widgets.HTML() for _ in range(3))
        self._sentence = Sentence(self.plan, self.guard)
        self._forms = (
            MethodsView(self.plan, self.guard),
            OutcomesView(self.plan, self.guard),
            TastingView(self.plan, self.guard),
            NoiseView(self.plan, self.guard, self.status),
        )
        self._growth, self._chance = self._curve_part(), self._luck_part()
        return [
            style,
            self._sentence.widget,
            self._headline,
            self._answers,
            self._taste,
            self._growth,
            *(form.widget for form in self._forms),
            self._question_part(),
            self._save_part(),
            self._chance,
            self._simulation_part(),
            self._schedule_part(),
        ]

    def update(self) -> None:
        """Show the blanks as the model has them, and what they promise."""
        plan = self.plan
        if self._question.value != plan.forms.question:
            self._question.value = plan.forms.question
        self._question.disabled = not plan.editable
        self._sentence.update()
        for form in self._forms:
            form.update()
        unsaved = plan.editable and plan.changed
        self._save.disabled = not unsaved
        (self._saving.add_class if unsaved else self._saving.remove_class)("kit-unsaved")
        if unsaved and not self.status.urgent:
            self.status.clear()  # what was said before no longer holds
        self._draw.disabled = not plan.editable or plan.changed
        self._seal.disabled = self._draw.disabled or not plan.drawn or plan.stale
        self._show_outlook()
        self._show_schedule()

    # -- the parts, in the order of the page --------------------------------------------------

    def _question_part(self) -> widgets.Widget:
        self._question = text_area(
            "The question, in your own words",
            self.plan.forms.question,
            self.guard(self.plan.write_question),
        )
        return section("What it is about", self._question)

    def _save_part(self) -> widgets.Widget:
        self._save = main_button("Save the plan")
        self._save.on_click(self.guard(self._save_clicked))
        self._saving = row(self._save)
        self._saving.add_class("kit-saving")
        return self._saving

    def _curve_part(self) -> widgets.Widget:
        self._curve = Painter(self.guard)
        self._budget, self._more, self._fits = (widgets.HTML() for _ in range(3))
        self._fit = plain_button("Take the largest plan that fits")
        self._fit.on_click(self.guard(self._fit_clicked))
        return section("How the chances grow, and what it takes", self._budget, self._fits,
                       row(self._fit), self._curve.widget, self._more)  # fmt: skip

    def _luck_part(self) -> widgets.Widget:
        self._luck = Painter(self.guard)
        self._luck_words = widgets.HTML()
        again = plain_button("Eight others")
        again.on_click(self.guard(self._luck_clicked))
        return section("What luck looks like", self._luck_words, self._luck.widget, row(again))

    def _simulation_part(self) -> widgets.Widget:
        self._simulated = widgets.HTML()
        check = plain_button("Check by simulation")
        check.on_click(self.guard(self._simulate_clicked))
        words = paragraph(
            f"{SIMULATED_TRIALS:,} virtual trials of the saved plan, analysed like the real one.",
            "kit-quiet",
        )
        return section("Checked by simulation", words, row(check), self._work.widget,
                       self._simulated)  # fmt: skip

    def _schedule_part(self) -> widgets.Widget:
        self._schedule, self._sealed = widgets.HTML(), widgets.HTML()
        self._draw = plain_button("Draw the schedule")
        self._draw.on_click(self.guard(self._draw_clicked))
        self._seal = plain_button("Seal plan and schedule")
        self._seal.on_click(self.guard(self._seal_clicked))
        return section("Schedule and seal", row(self._draw, self._seal), self._sealed,
                       self._schedule)  # fmt: skip

    # -- what follows from the blanks ------------------------------------------------------------

    def _show_outlook(self) -> None:
        outlook = self.plan.outlook
        for part in (self._answers, self._taste, self._growth, self._chance):
            # Answers to what was typed before are no answers to what is typed now.
            part.layout.display = "none" if outlook is None else None
        self._show_fit()
        if outlook is None:
            reasons = self.plan.problems() or [self.plan.no_outlook]
            self._headline.value = reasons_page([text for text in reasons if text])
            return
        self._headline.value = headline_page(
            outlook.sentences, outlook.question_sentence, outlook.too_much
        )
        self._answers.value = answer_page(outlook.answers)
        self._taste.value = taste_page(outlook.taste)
        self._budget.value = values_page(outlook.budget_rows())
        self._more.value = list_page([*outlook.interval_sentences(), *outlook.sentences[1:]])
        if outlook is not self._pictured:
            self._pictured = outlook
            self._curve.ask(outlook.curves)
            self._show_luck()

    def _show_fit(self) -> None:
        words = self.plan.largest_in_words()
        self._fits.value = list_page([words]) if words else ""
        self._fit.disabled = not (self.plan.editable and words.startswith("The largest"))

    def _show_luck(self) -> None:
        outlook, seed = self.plan.outlook, self._seed
        if outlook is None:
            return

        def draw() -> Picture:
            virtual = self.plan.virtual_of(outlook.trial)
            self._luck_words.value = list_page(outlook.luck_sentences(virtual, seed))
            return outlook.luck(virtual, seed)

        self._luck.ask(draw)

    def _show_schedule(self) -> None:
        plan = self.plan
        self._draw.description = "Draw it again" if plan.drawn else "Draw the schedule"
        if plan.drawn:
            self._schedule.value = html_table(
                plan.certificate_summary(), "What the schedule balances"
            )
        seal = plan.seal_in_words()
        self._sealed.value = values_page([("Seal", seal)]) if seal else ""

    # -- what is pressed ---------------------------------------------------------------------------

    def _save_clicked(self, _: widgets.Button) -> None:
        self.plan.save()
        again = (
            " Draw the schedule again: it was drawn for another plan." if self.plan.stale else ""
        )
        self.status.say(f"The plan is saved in trial.toml.{again}")

    def _fit_clicked(self, _: widgets.Button) -> None:
        taken = self.plan.take_largest()
        self.status.say(f"{taken} Save the plan to keep it.")

    def _luck_clicked(self, _: widgets.Button) -> None:
        self._seed += 1
        self._show_luck()

    def _draw_clicked(self, _: widgets.Button) -> None:
        seed = secrets.randbelow(2**31)
        self.plan.draw(seed)
        self.status.say(f"The schedule is drawn from seed {seed} and saved in schedule.csv.")

    def _seal_clicked(self, _: widgets.Button) -> None:
        sealed = self.plan.seal(datetime.now().astimezone())
        self.status.say(
            f"Plan and schedule are sealed: {sealed.short}. The plan as one page to publish is "
            f"{PLAN_PAGE}."
        )

    def _simulate_clicked(self, _: widgets.Button) -> None:
        seed = secrets.randbelow(2**31)

        def work(report: Reporter) -> Any:
            stopped = False

            def show(progress: Progress) -> None:
                nonlocal stopped
                left = f"{progress.done:,} virtual trials, about {progress.seconds_left:.0f} s left"
                self._simulated.value = list_page([left])
                try:
                    report(progress.done / progress.total)
                except StoppedError:
                    stopped = True  # what is done is kept and shown

            watch = timed(show, time.monotonic)
            run = Run(SIMULATED_TRIALS, seed, watch=watch, stop=lambda: stopped)
            return self.plan.simulated(run)

        self._work.start("Simulating the trial", work, self._show_simulated)

    def _show_simulated(self, found: tuple[pd.DataFrame, pd.DataFrame, str]) -> None:
        answers, told, words = found
        self._simulated.value = html_table(simulated_frame(answers), words) + html_table(
            headline_frame(told), "If no method differs at all: how often each headline is wrong"
        )
        self.status.say(f"Checked by simulation: {words}.")
