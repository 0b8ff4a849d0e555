"""The desk of a taster on the screen: the code of the next cup, never a method."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import ipywidgets as widgets

from kit.cautions import ALWAYS, TASTING_START, TasterLoad
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
        self._note = text_box("Note", "note", self)
        boxes = [field.widget for field in self._fields.values()]
        self._by_code, self._scores = row(self._code, self._sitting), row(*boxes)
        self._answer, self._remark = row(self._chosen), row(self._note)
        return [self._by_code, self._scores, self._answer, self._remark]

    def above(self) -> list[widgets.Widget]:
        """The cautions, until the taster's first cup of the day."""
        self._cautions = widgets.HTML(page.cautions_html(TASTING_START, ALWAYS))
        return [self._cautions]

    def update(self) -> None:
        """Show what is next for this taster, and what they have had."""
        taste = self.taste
        asked = taste.set
        load = taste.load()
        show(self._cautions, load is None or load.cups_day == 0)
        show(self._by_code, taste.is_asked and taste.plan is None)
        show(self._scores, taste.is_asked and asked is None)
        show(self._answer, asked is not None)
        show(self._remark, taste.is_asked)
        show(self._save, taste.is_asked)
        # Without a choice made by the taster no answer is ever saved.
        choices = [("choose", ""), *((cup, cup) for cup in asked.choices)] if asked else []
        if list(self._chosen.options) != choices:
            self._chosen.options = choices
        if asked and self._chosen.value != taste.texts["code"]:
            known = taste.texts["code"] in asked.choices
            self._chosen.value = taste.texts["code"] if known else ""
        self._save.description = "Save answer" if asked else self.save_label
        self._waiting.value = self._next_html()
        self._said.value = page.sentences_html(_load_words(load), role="status")
        for name, field in self._fields.items():
            field.put(taste.texts.get(name, ""))
        for name, box in (("code", self._code), ("sitting", self._sitting), ("note", self._note)):
            put_text(box, taste.texts[name])

    def _next_html(self) -> str:
        taste = self.taste
        cup, asked = taste.cup, taste.set
        if cup is not None:
            place = f"{cup.sitting}, cup {cup.place} of {cup.cups}"
            return page.next_code_html(place, "Taste cup", cup.code)
        if asked is not None and taste.trial is not None:
            place = f"Set {asked.number} of {asked.sets}, from left to right"
            task = TASKS[taste.trial.tasting.discrimination]
            return page.next_code_html(place, "", " · ".join(asked.cups), task)
        return page.sentences_html([self._instead()], role="status")

    def _instead(self) -> str:
        """What to say where no cup and no set is next."""
        taste = self.taste
        if taste.plan_trouble:
            return taste.plan_trouble
        if not (taste.attributes or taste.plan):
            return (
                "This trial scores no taste. Attributes are written in trial.toml, under tasting."
            )
        if taste.plan is None:
            return ""
        if taste.trial is not None and taste.who in taste.trial.tasting.tasters:
            return "You have tasted every cup that was planned for you. Thank you."
        return "Enter your code to see which cup is next."

    def _choice_made(self, change: dict[str, Any]) -> None:
        if self.taste.set is not None:
            self._typing("code")(str(change["new"] or ""))


def _load_words(load: TasterLoad | None) -> list[str]:
    if load is None:
        return []
    caution = load.caution()
    return [load.words(), caution.text if caution else ""]
