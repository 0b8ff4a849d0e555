"""The desks for measuring, scoring and tasting: codes only, never a method."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import cast

import ipywidgets as widgets
import pandas as pd

from kit.widgets.fields import NumberField, StepField
from kit.widgets.guard import Guard
from kit.widgets.shoot import page
from kit.widgets.shoot.by_code import ByCodeModel, MeasureModel, ScoreModel
from kit.widgets.shoot.form import READINGS, RULES
from kit.widgets.shoot.measuring_check import STEPS, CheckModel
from kit.widgets.shoot.offer import show
from kit.widgets.status import StatusLine
from kit.widgets.tables import html_table
from kit.widgets.theme import main_button, plain_button, row, section

_WHO_FIRST = "Enter your code to see which clip is next."
MOST_LISTED = 12
"""Codes of waiting cups in one sentence."""


class Desk(ABC):
    """One desk: who sits there, what is waiting, the boxes, and Save."""

    title = ""
    who_label = "Your code"
    save_label = "Save"

    def __init__(self, model: ByCodeModel, status: StatusLine, guard: Guard) -> None:
        self.model = model
        self.status = status
        self.guard = guard
        self._who = widgets.Text(description=self.who_label, placeholder="not your name")
        self._who.observe(guard(lambda change: model.write_who(str(change["new"]))), "value")
        self._waiting, self._said = widgets.HTML(), widgets.HTML()
        self._save = main_button(self.save_label)
        self._save.on_click(guard(lambda _: self._saved()))
        self._who.add_class("kit-short")
        parts = self.parts()
        self.widget = section(
            self.title,
            row(self._who),
            *self.above(),
            self._waiting,
            *parts,
            self._said,
            row(self._save),
            *self.below(),
        )
        model.observe(guard(lambda _: self.update()), "version")
        self._who.value = model.who
        self.update()

    def look_again(self) -> None:
        """Another desk may have written in the meantime."""
        self.model.catch_up()

    @abstractmethod
    def parts(self) -> list[widgets.Widget]:
        """The boxes of this desk."""

    def above(self) -> list[widgets.Widget]:
        """What stands over the cup that is next; most desks have nothing there."""
        return []

    def below(self) -> list[widgets.Widget]:
        """What stands under the Save button; most desks have nothing there."""
        return []

    @abstractmethod
    def update(self) -> None:
        """Show the desk as the model has it."""

    def _saved(self) -> None:
        self.status.say(self.model.save())

    def _typing(self, name: str) -> Callable[[str], None]:
        return cast(Callable[[str], None], self.guard(partial(self.model.type_in, name)))


class MeasureDesk(Desk):
    """TDS readings by cup code."""

    title = "Measure by cup code"
    save_label = "Save readings"

    def __init__(self, folder: Path, status: StatusLine, guard: Guard) -> None:
        self.measure = MeasureModel(folder)
        super().__init__(self.measure, status, guard)

    def parts(self) -> list[widgets.Widget]:
        """The code, then up to three readings."""
        self._code = text_box("Cup code", "code", self)
        self._code.add_class("kit-short")
        self._fields = {
            name: NumberField(RULES[name], "", self._typing(name), "") for name in READINGS
        }
        self._check = CheckPart(self.measure.folder, self.status, self.guard)
        return [row(self._code), row(*(field.widget for field in self._fields.values()))]

    def below(self) -> list[widgets.Widget]:
        """How good the measuring is."""
        return [self._check.widget]

    def update(self) -> None:
        """Show which cups wait, and how far the readings are apart."""
        waiting = self.measure.waiting()
        listed = ", ".join(waiting[:MOST_LISTED]) if waiting else "none"
        more = f" and {len(waiting) - MOST_LISTED} more" if len(waiting) > MOST_LISTED else ""
        self._waiting.value = page.sentences_html([f"Cups without a reading: {listed}{more}."])
        self._said.value = page.sentences_html([self.measure.spread()], role="status")
        put_text(self._code, self.measure.texts["code"])
        for name, field in self._fields.items():
            field.put(self.measure.texts[name])


class CheckPart:
    """How readings repeat, and what would make results sharper; worked out when asked for."""

    def __init__(self, folder: Path, status: StatusLine, guard: Guard) -> None:
        self.model = CheckModel(folder)
        self._status = status
        fields = [
            NumberField(rule, self.model.texts[name], guard(partial(self.model.type_in, name)), "")
            for name, rule in STEPS.items()
        ]
        self._found = widgets.HTML()
        button = plain_button("How good is the measuring?")
        button.on_click(guard(lambda _: self._show()))
        self.widget = section(
            "Check of the measuring",
            row(*(field.widget for field in fields)),
            row(button),
            self._found,
        )

    def _show(self) -> None:
        self.model.catch_up()
        found = self.model.check()
        heads = {"source": "Source", "standard_uncertainty": "Uncertainty", "unit": "Unit",
                 "contribution_points": "Points of EY", "share": "Share (%)"}  # fmt: skip
        gains = {"change": "Change", "shot_sd": "SD of a shot", "standard_error": "Standard error",
                 "gain_pct": "Gain (%)", "worth_shots": "Worth shots"}  # fmt: skip
        self._found.value = (
            page.sentences_html(found.sentences, role="status")
            + html_table(
                _budget_shown(found.budget)[list(heads)].rename(columns=heads),
                "Where the uncertainty of one extraction yield comes from",
                {"Uncertainty": 3, "Points of EY": 3, "Share (%)": 0},
            )
            + html_table(
                found.improvements[list(gains)].rename(columns=gains),
                "What each change would bring to the mean of a method",
                {"SD of a shot": 3, "Standard error": 3, "Gain (%)": 1, "Worth shots": 1},
            )
        )


def _budget_shown(budget: pd.DataFrame) -> pd.DataFrame:
    """The budget to read: how large each part is (its sign says only which way it pulls)."""
    return budget.assign(
        contribution_points=budget["contribution_points"].abs(), share=100 * budget["share"]
    )


class ScoreDesk(Desk):
    """Flow faults from the video."""

    title = "Score flow faults from the video"
    who_label = "Scorer's code"
    save_label = "Save count"

    def __init__(self, folder: Path, status: StatusLine, guard: Guard) -> None:
        self.score = ScoreModel(folder)
        super().__init__(self.score, status, guard)

    def parts(self) -> list[widgets.Widget]:
        """The count, and a note."""
        definition = self.score.trial.rules.fault_definition if self.score.trial else ""
        self._faults = StepField(RULES["faults"], "", self._typing("faults"), definition)
        self._note = text_box("Note", "note", self)
        self._boxes = row(self._faults.widget, self._note)
        return [self._boxes]

    def update(self) -> None:
        """Show the clip that is next for this scorer."""
        score = self.score
        waiting = score.waiting() if score.who else []
        if waiting:
            left = "1 clip is" if len(waiting) == 1 else f"{len(waiting)} clips are"
            place = f"{left} left, in an order of your own"
            self._waiting.value = page.next_code_html(place, "Open clip", waiting[0])
        else:
            said = "No clip is waiting for you." if score.who else _WHO_FIRST
            self._waiting.value = page.sentences_html([said], role="status")
        for part in (self._boxes, self._save):
            show(part, bool(waiting))
        self._said.value = page.sentences_html([self.score.agreement()])
        self._faults.put(self.score.texts["faults"])
        put_text(self._note, self.score.texts["note"])


def text_box(label: str, name: str, desk: Desk) -> widgets.Text:
    """A box whose text is kept at every edit."""
    box = widgets.Text(description=label, continuous_update=True)
    typed = desk._typing(name)
    box.observe(lambda change: typed(str(change["new"])), "value")
    return box


def put_text(box: widgets.Text, text: str) -> None:
    """Put ``text`` into the box, if it is not there already."""
    if box.value != text:
        box.value = text
