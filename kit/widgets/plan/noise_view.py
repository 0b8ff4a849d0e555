"""Where the shot-to-shot SD comes from: past trials, a logged pilot, or readings written down."""

from __future__ import annotations

from datetime import date
from typing import Any

import ipywidgets as widgets
from markupsafe import Markup

from kit.errors import PlanError
from kit.planning.pilot import Pilot, noise_of_pilot, noise_of_readings, pilots_near
from kit.widgets.guard import Guard
from kit.widgets.plan.boxes import NOBODY, Choice
from kit.widgets.plan.model import PlanModel
from kit.widgets.status import StatusLine
from kit.widgets.theme import plain_button, row, section

_BY_HAND = ("readings written down", NOBODY)


class NoiseView:
    """What the plan takes for noise, and the ways to measure it."""

    def __init__(self, plan: PlanModel, guard: Guard, status: StatusLine) -> None:
        self._plan, self._status = plan, status
        self._pilots: list[Pilot] = []
        self._looked_for: tuple[Any, ...] = ()
        self._words = widgets.HTML()
        self._which = Choice("Pilot session", [_BY_HAND], NOBODY, lambda _: self._show_box())
        self._readings = widgets.Textarea(description="Readings of the pilot, one a shot", rows=2)
        self._pilot = plain_button("Take the SD from a pilot session")
        self._pilot.on_click(guard(lambda _: self._pilot_clicked()))
        self._past = plain_button("Take the SD from my past trials")
        self._past.on_click(guard(lambda _: self._past_clicked()))
        self.widget = section(
            "How much shots vary", self._words,
            row(self._which.widget, self._readings), row(self._pilot, self._past),
        )  # fmt: skip

    def update(self) -> None:
        """Show what the plan takes for noise; look for pilots where another measure is asked."""
        sentence, editable = self._plan.noise_in_words(), self._plan.editable
        self._words.value = str(Markup("<p>{}</p>").format(sentence)) if sentence else ""
        measure = self._plan.forms.outcomes.noise_measure
        if self._looked_for != (measure, self._plan.trial):
            self._looked_for = (measure, self._plan.trial)
            self._pilots = pilots_near(self._plan.folder.resolve(), measure)
            found = [(pilot.words, number) for number, pilot in enumerate(self._pilots)]
            self._which.put([*found, _BY_HAND], found[0][1] if found else NOBODY)
            self._show_box()
        self._which.enable(editable)
        self._readings.disabled = self._pilot.disabled = self._past.disabled = not editable

    def _show_box(self) -> None:
        self._readings.layout.display = None if self._which.box.value == NOBODY else "none"

    def _pilot_clicked(self) -> None:
        plan, number = self._plan, self._which.box.value
        measure, assumed = plan.forms.outcomes.noise_measure, plan.forms.noise
        if number == NOBODY:
            if not str(self._readings.value).strip():
                raise PlanError(
                    "Write the readings of the pilot into the box first, one a shot: 19,4 19,8 …"
                )
            day = date.today().isoformat()
            found = noise_of_readings(str(self._readings.value), assumed, day, measure)
        else:
            found = noise_of_pilot(self._pilots[number], assumed, measure)
        self._status.say(plan.take_noise(found))

    def _past_clicked(self) -> None:
        # Past trials stand beside this one.
        self._status.say(self._plan.take_noise_from(self._plan.folder.resolve().parent))
