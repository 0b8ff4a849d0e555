"""The question as a sentence with blanks to fill."""

from __future__ import annotations

import ipywidgets as widgets
from markupsafe import Markup

from kit.planning.words import label_of
from kit.widgets.guard import Guard
from kit.widgets.plan.blanks import SIZE
from kit.widgets.plan.boxes import InlineNumber, InlineStep
from kit.widgets.plan.model import PlanModel

_NO_LIMIT = "any"


class Sentence:
    """Boxes inside running text. It is built anew when another kind of outcome is primary."""

    def __init__(self, plan: PlanModel, guard: Guard) -> None:
        self._plan, self._guard = plan, guard
        self._built_for: tuple[str, ...] = ()
        self._fields: dict[str, InlineNumber | InlineStep] = {}
        self._methods = widgets.HTML()
        self._blocks = widgets.HTML()
        self.widget = widgets.Box()
        self.widget.add_class("kit-sentence")

    def update(self) -> None:
        """Bring the boxes in line with the model."""
        forms = self._plan.forms
        primary = forms.outcomes.primary
        kind = (primary.measure, primary.aspect, *(rule.unit for rule in forms.rules.values()))
        if kind != self._built_for:
            self._build()
            self._built_for = kind
        count = len(forms.methods.entries)
        self._methods.value = str(
            Markup("<span>I compare <strong>{} method{}</strong>. </span>").format(
                count, "" if count == 1 else "s"
            )
        )
        self._blocks.value = _spaced(f"blocks of {self._block_size(count)} shots.")
        for name, field in self._fields.items():
            field.put(forms.entries[name])
            field.enable(self._plan.editable)

    def _build(self) -> None:
        forms = self._plan.forms
        before, after = _size_words(forms.outcomes.primary.measure, forms.outcomes.primary.aspect)
        make = self._field
        self._fields = {name: make(name) for name in forms.rules}
        for name in ("coffee_g", "minutes_per_session"):
            self._fields[name].box.placeholder = _NO_LIMIT
        place = {name: field.widget for name, field in self._fields.items()}
        self.widget.children = (
            self._methods,
            _words(before), place[SIZE], _words(f"{after} would change my routine. I have"),
            place["coffee_g"], _words("of coffee,"),
            place["sessions"], _words("sessions of"),
            place["minutes_per_session"], _words("with"),
            place["blocks_per_session"], self._blocks,
            _words("Shots of one method vary by about"), place["shot_sd"],
            _words(f"in {_in_words(forms.outcomes.noise_measure)}."),
        )  # fmt: skip

    def _field(self, name: str) -> InlineNumber | InlineStep:
        kind = InlineStep if name == "blocks_per_session" else InlineNumber
        on_text = self._guard(lambda text: self._plan.type_in(name, text))
        return kind(self._plan.forms.rules[name], self._plan.forms.entries[name], on_text)

    def _block_size(self, methods: int) -> int:
        trial = self._plan.trial
        if trial is None:
            return methods
        layout = trial.layout
        return layout.shots_per_block or methods + layout.control_shots_per_block - 1


def _size_words(measure: str, aspect: str) -> tuple[str, str]:
    """What stands before and after the smallest difference that matters."""
    if aspect == "spread":
        return "One method", f"as uneven as another in {_in_words(measure)}"
    if aspect == "rate":
        return "A difference of", "in the share of shots with faults"
    return "A difference of", f"in {_in_words(measure)}"


def _in_words(measure: str) -> str:
    label = label_of(measure)
    return label if label.isupper() else label[:1].lower() + label[1:]


def _words(text: str) -> widgets.HTML:
    return widgets.HTML(_spaced(text))


def _spaced(text: str) -> str:
    return str(Markup("<span>{} </span>").format(text))
