"""The bench on the screen: the stopwatch, the boxes, and what follows from the numbers."""

from __future__ import annotations

from typing import cast

import ipywidgets as widgets
from markupsafe import Markup

from kit.widgets.fields import NumberField
from kit.widgets.frame import PanelView
from kit.widgets.shoot.model import RULES, ShootModel
from kit.widgets.stopwatch import Stopwatch
from kit.widgets.theme import row, section


class ShootView(PanelView):
    """The form of the bench."""

    notebook = "2_shoot"

    @property
    def bench(self) -> ShootModel:
        """The model, by its own type."""
        return cast(ShootModel, self.model)

    def body(self) -> list[widgets.Widget]:
        """The stopwatch, the boxes, the computed values."""
        self.stopwatch = Stopwatch()
        self._fields = {name: self._field(name) for name in RULES}
        self._computed = widgets.HTML()
        self._verdict = widgets.HTML()
        return [
            section("Time", self.stopwatch),
            section("Weigh and measure", row(*(field.widget for field in self._fields.values()))),
            self._computed,
            self._verdict,
        ]

    def update(self) -> None:
        """Show the boxes as the model has them, and what follows from them."""
        for name, field in self._fields.items():
            field.put(self.bench.entries[name])
        pairs = Markup("").join(
            Markup('<div><dt>{}</dt><dd class="kit-figure-number">{}</dd></div>').format(*pair)
            for pair in self.bench.computed().items()
        )
        self._computed.value = str(Markup('<dl class="kit-values">{}</dl>').format(pairs))
        verdict = self.bench.tolerance_verdict()
        self._verdict.value = str(Markup('<p role="status">{}</p>').format(verdict))

    def _field(self, name: str) -> NumberField:
        on_text = self.guard(lambda text: self.bench.type_in(name, text))
        return NumberField(RULES[name], self.bench.entries[name], on_text, self.bench.hint(name))
