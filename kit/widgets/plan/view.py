"""The plan on the screen: the question first, then its blanks, then the methods."""

from __future__ import annotations

from typing import cast

import ipywidgets as widgets
import pandas as pd

from kit.numerals import say_number
from kit.widgets.fields import NumberField, StepField, text_area
from kit.widgets.frame import PanelView
from kit.widgets.plan.model import PlanModel
from kit.widgets.tables import html_table
from kit.widgets.theme import main_button, row

WHOLE_NUMBERS = ("sessions", "blocks_per_session")
HINTS = {
    "smallest_difference": "Would change your routine.",
    "sessions": "Sittings at the machine.",
    "blocks_per_session": "Each block holds every method.",
    "coffee_g": "Empty if it is no limit.",
}


class PlanView(PanelView):
    """The plan form."""

    notebook = "1_plan"

    @property
    def plan(self) -> PlanModel:
        """The model, by its own type."""
        return cast(PlanModel, self.model)

    def body(self) -> list[widgets.Widget]:
        """The question, the blanks, the Save button, the methods."""
        self._question = text_area(
            "The question", self.plan.question, self.guard(self.plan.write_question)
        )
        self._question.add_class("kit-question-box")
        self._fields = {name: self._field(name) for name in self.plan.rules}
        self._save = main_button("Save the plan")
        self._save.on_click(self.guard(self._save_clicked))
        self._size = widgets.HTML()
        self._methods = widgets.HTML()
        return [
            self._question,
            row(*(field.widget for field in self._fields.values())),
            row(self._save, self._size),
            self._methods,
        ]

    def update(self) -> None:
        """Show the blanks as the model has them."""
        plan = self.plan
        if self._question.value != plan.question:
            self._question.value = plan.question
        self._question.disabled = not plan.editable
        for name, field in self._fields.items():
            field.put(plan.entries[name])
            field.enable(plan.editable)
        self._save.disabled = not (plan.editable and plan.changed)
        size = plan.size()
        self._size.value = (
            f'<p class="kit-quiet">As saved: {say_number(size["all"], 0)} study shots, '
            f"{_shots_each(size['each'])} of each method.</p>"
        )
        if plan.trial is not None:
            methods = pd.DataFrame(
                [
                    (method.name + (" (control)" if method.control else ""), method.recipe)
                    for method in plan.trial.methods
                ],
                columns=["Method", "How it is done"],
            )
            self._methods.value = html_table(methods, "What is compared")

    def _field(self, name: str) -> NumberField:
        kind = StepField if name in WHOLE_NUMBERS else NumberField
        on_text = self.guard(lambda text: self.plan.type_in(name, text))
        return kind(self.plan.rules[name], self.plan.entries[name], on_text, HINTS[name])

    def _save_clicked(self, _: widgets.Button) -> None:
        self.plan.save()
        self.status.say("The plan is saved in trial.toml.")


def _shots_each(each: float) -> str:
    return say_number(each, 0) if each == round(each) else f"about {say_number(each, 1)}"
