"""The desk of a taster on the screen: the code of the next cup, never a method."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import ipywidgets as widgets

from kit.cautions import ALWAYS, TASTING_START
from kit.widgets.fields import NumberField
from kit.widgets.guard import Guard
from kit.widgets.shoot import page
from kit.widgets.shoot.by_code_view import Desk, put_text, text_box
from kit.widgets.shoot.offer import show
from kit.widgets.shoot.taste import TasteModel
from kit.widgets.shoot.tasting import TASKS
from kit.widgets.status import StatusLine
from kit.widgets.theme import row


class TasteDesk(Desk):
    """Scores by cup code."""

    title = "Taste by cup code"
    who_label = "Taster's code"
    save_label = "Save cup"

    def __init__(self, folder: Path, status: StatusLine, guard: Guard) -> None:
        self.taste = TasteModel(folder)
        super().__init__(self.taste, status, guard)

    def parts(self) -> list[widgets.Widget]:
        """The code or the drawn cup, one box an attribute, the answer to a set, a note."""
        self._code = text_box("Cup code", "code", self)
        self._sitting = text_box("Sitting", "sitting", self)
        self._fields = {
            attribute.name: NumberField(
                self.taste.rule(attribute), "", self._typing(attribute.name)
            )
            for attribute in self.taste.attributes
        }
        self._chosen = widgets.Dropdown(description="Which cup?", options=[])
        self._chosen.observe(self._choice_made, "value")
        cautions = widgets.HTML(page.cautions_html(TASTING_START, ALWAYS))
        self._note = text_box("Note", "note", self)
        boxes = [field.widget for field in self._fields.values()]
        self._by_code, self._scores = row(self._code, self._sitting), row(*boxes)
        self._answer = row(self._chosen)
        return [cautions, self._by_code, self._scores, self._answer, row(self._note)]

    def update(self) -> None:
        """Show what is next for this taster, and what they have had."""
        taste = self.taste
        asked = taste.set
        show(self._by_code, taste.plan is None)
        show(self._scores, taste.plan is None or taste.cup is not None)
        show(self._answer, asked is not None)
        # Without a choice made by the taster no answer is ever saved.
        choices = [("choose", ""), *((cup, cup) for cup in asked.choices)] if asked else []
        if list(self._chosen.options) != choices:
            self._chosen.options = choices
        if asked and self._chosen.value != taste.texts["code"]:
            known = taste.texts["code"] in asked.choices
            self._chosen.value = taste.texts["code"] if known else ""
        self._save.description = "Save answer" if asked else self.save_label
        self._waiting.value = page.sentences_html(self._next_words(), role="status")
        self._said.value = page.sentences_html(self._load_words(), role="status")
        for name, field in self._fields.items():
            field.put(taste.texts.get(name, ""))
        for name, box in (("code", self._code), ("sitting", self._sitting), ("note", self._note)):
            put_text(box, taste.texts[name])

    def _next_words(self) -> list[str]:
        taste = self.taste
        if taste.plan_trouble or not (taste.attributes or taste.plan):
            return [
                taste.plan_trouble
                or "This trial scores no taste. Attributes are written in "
                "trial.toml, under tasting."
            ]
        if taste.plan is None:
            return []
        cup, asked = taste.cup, taste.set
        if cup is not None:
            return [f"{cup.sitting}, cup {cup.place} of {cup.cups}: taste cup {cup.code}."]
        if asked is not None and taste.trial is not None:
            listed = ", ".join(asked.cups)
            task = TASKS[taste.trial.tasting.discrimination]
            return [f"Set {asked.number} of {asked.sets}, from left to right: {listed}.", task]
        if taste.trial is not None and taste.who in taste.trial.tasting.tasters:
            return ["You have tasted every cup that was planned for you. Thank you."]
        return ["Enter your code to see which cup is next."]

    def _load_words(self) -> list[str]:
        load = self.taste.load()
        if load is None:
            return []
        caution = load.caution()
        return [
            f"{load.taster}: {load.cups_sitting} cups in this sitting, {load.cups_day} today; "
            f"{load.mg_day:.0f} mg of caffeine today if every sip was swallowed.",
            caution.text if caution else "",
        ]

    def _choice_made(self, change: dict[str, Any]) -> None:
        if self.taste.set is not None:
            self._typing("code")(str(change["new"] or ""))
