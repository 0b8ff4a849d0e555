"""The plan on the screen: the question, its blanks, the answer; then luck, schedule and seal."""

from __future__ import annotations

import secrets
from datetime import datetime
from pathlib import Path
from typing import Any, cast

import ipywidgets as widgets
import pandas as pd

from kit.planning.chunks import Run
from kit.widgets.fields import NumberField, StepField, text_area
from kit.widgets.frame import PanelView
from kit.widgets.plan.model import PLAN_PAGE, SIMULATED_TRIALS, PlanModel
from kit.widgets.plan.outlook import Outlook
from kit.widgets.plan.pages import (
    answer_page,
    headline_frame,
    headline_page,
    list_page,
    simulated_frame,
    values_page,
)
from kit.widgets.plan.painter import Painter
from kit.widgets.progress import LongWork, Reporter, StoppedError
from kit.widgets.tables import html_table
from kit.widgets.theme import main_button, paragraph, plain_button, row, section

BLANKS = (
    ("smallest_difference", "sessions", "blocks_per_session"),
    ("shot_sd", "coffee_g", "minutes_per_session"),
)
WHOLE_NUMBERS = ("sessions", "blocks_per_session")
HINTS = {
    "smallest_difference": "What would change your routine.",
    "shot_sd": "How much shots of one method vary.",
    "sessions": "Sittings at the machine.",
    "blocks_per_session": "Runs in which methods are compared.",
    "coffee_g": "Empty if it is no limit.",
    "minutes_per_session": "Empty if it is no limit.",
}
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
        self._headline, self._answers = widgets.HTML(), widgets.HTML()
        return [
            style,
            *self._question_part(),
            self._headline,
            self._answers,
            self._curve_part(),
            self._luck_part(),
            self._simulation_part(),
            self._schedule_part(),
            section("Methods", self._methods_table()),
        ]

    def update(self) -> None:
        """Show the blanks as the model has them, and what they promise."""
        plan = self.plan
        if self._question.value != plan.question:
            self._question.value = plan.question
        self._question.disabled = not plan.editable
        for name, field in self._fields.items():
            field.put(plan.entries[name])
            field.enable(plan.editable)
        self._past.disabled = not plan.editable
        self._save.disabled = not (plan.editable and plan.changed)
        self._draw.disabled = not plan.editable or plan.changed
        self._seal.disabled = not plan.editable or plan.changed or not plan.drawn
        self._show_outlook()
        self._show_schedule()

    # -- the parts, in the order of the page --------------------------------------------------

    def _question_part(self) -> list[widgets.Widget]:
        self._question = text_area(
            "The question", self.plan.question, self.guard(self.plan.write_question)
        )
        self._question.add_class("kit-question-box")
        self._fields = {name: self._field(name) for name in self.plan.rules}
        self._save = main_button("Save the plan")
        self._save.on_click(self.guard(self._save_clicked))
        self._past = plain_button("Take the SD from my past trials")
        self._past.on_click(self.guard(self._past_clicked))
        return [
            self._question,
            *(row(*(self._fields[name].widget for name in names)) for names in BLANKS),
            row(self._save, self._past),
        ]

    def _curve_part(self) -> widgets.Widget:
        self._curve = Painter(self.guard)
        self._budget, self._more = widgets.HTML(), widgets.HTML()
        return section("How the chances grow, and what it takes", self._budget,
                       self._curve.widget, self._more)  # fmt: skip

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

    def _methods_table(self) -> widgets.HTML:
        trial = self.plan.trial
        methods = pd.DataFrame(
            [
                (method.name + (" (control)" if method.control else ""), method.recipe)
                for method in (trial.methods if trial is not None else ())
            ],
            columns=["Method", "How it is done"],
        )
        return widgets.HTML(html_table(methods, "What is compared"))

    def _field(self, name: str) -> NumberField:
        kind = StepField if name in WHOLE_NUMBERS else NumberField
        on_text = self.guard(lambda text: self.plan.type_in(name, text))
        return kind(self.plan.rules[name], self.plan.entries[name], on_text, HINTS[name])

    # -- what follows from the blanks ------------------------------------------------------------

    def _show_outlook(self) -> None:
        outlook = self.plan.outlook
        if outlook is None:
            self._headline.value = list_page([self.plan.no_outlook]) if self.plan.no_outlook else ""
            return
        self._headline.value = headline_page(
            outlook.sentences, outlook.question_sentence, outlook.too_much
        )
        self._answers.value = answer_page(outlook.answers)
        self._budget.value = values_page(outlook.budget_rows())
        self._more.value = list_page(outlook.sentences[1:])
        if outlook is not self._pictured:
            self._pictured = outlook
            self._curve.ask(outlook.curves)
            self._show_luck()

    def _show_luck(self) -> None:
        outlook, virtual = self.plan.outlook, self.plan.virtual()
        if outlook is not None and virtual is not None:
            seed = self._seed
            self._luck_words.value = list_page(outlook.luck_sentences(virtual, seed))
            self._luck.ask(lambda: outlook.luck(virtual, seed))

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
        self.status.say("The plan is saved in trial.toml.")

    def _past_clicked(self, _: widgets.Button) -> None:
        # Past trials stand beside this one.
        self.status.say(self.plan.take_noise_from(self.plan.folder.resolve().parent))

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

            def watch(done: int, total: int) -> None:
                nonlocal stopped
                try:
                    report(done / total)
                except StoppedError:
                    stopped = True  # what is done is kept and shown

            run = Run(SIMULATED_TRIALS, seed, watch=watch, stop=lambda: stopped)
            return self.plan.simulated(run)

        self._work.start("Simulating the trial", work, self._show_simulated)

    def _show_simulated(self, found: tuple[pd.DataFrame, pd.DataFrame, str]) -> None:
        answers, told, words = found
        self._simulated.value = html_table(simulated_frame(answers), words) + html_table(
            headline_frame(told), "If no method differs at all: how often each headline is wrong"
        )
        self.status.say(f"Checked by simulation: {words}.")
