"""What will be judged, on the screen: one card an outcome, and which one carries the claim."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import ipywidgets as widgets
from markupsafe import escape

from kit.planning.words import label_of
from kit.widgets.fields import NumberField
from kit.widgets.guard import Guard
from kit.widgets.plan.boxes import Choice, Remark, WordBox, beside
from kit.widgets.plan.model import PlanModel
from kit.widgets.plan.outcomes import ASPECT_WORDS, BETTER, FAMILIES, NEW_TASTE, OutcomeEntry
from kit.widgets.theme import plain_button, row, section

_STEPS = [("whole only", True), ("any number", False)]
_ROLES = [("secondary", "secondary"), ("exploratory", "exploratory")]


class OutcomesView:
    """Choose the primary outcome; add, change and remove the others."""

    def __init__(self, plan: PlanModel, guard: Guard) -> None:
        self._plan, self._guard = plan, guard
        self._cards: dict[int, _OutcomeCard] = {}
        self._list = widgets.VBox()
        self._list.add_class("kit-entries")
        self._primary = Choice("The claim rests on", [("", -1)], -1, guard(self._chosen))
        self._what = Choice("Something else to judge", [("", NEW_TASTE)], NEW_TASTE, lambda _: None)
        self._add = plain_button("Judge this too")
        self._add.on_click(guard(lambda _: self._added()))
        self.widget = section(
            "What is judged", row(self._primary.widget), self._list,
            beside(self._what.widget, self._add),
        )  # fmt: skip

    def update(self) -> None:
        """Bring the cards in line with the model."""
        form, editable = self._plan.forms.outcomes, self._plan.editable
        if list(self._cards) != form.numbers:
            self._cards = {n: self._cards.get(n) or self._card(n) for n in form.numbers}
            self._list.children = tuple(card.widget for card in self._cards.values())
        for number, card in self._cards.items():
            card.update(form.entry(number))
            card.enable(editable)
        named = [(entry.words, entry.number) for entry in form.entries]
        self._primary.put(named, form.primary.number)
        self._primary.enable(editable)
        left = [(_to_add_words(*key), key) for key in form.to_add()]
        chosen = self._what.box.value
        self._what.put(left, chosen if chosen in form.to_add() else form.to_add()[0])
        self._what.enable(editable)
        self._add.disabled = not editable

    def _card(self, number: int) -> _OutcomeCard:
        combined = bool(self._plan.forms.methods.factors)
        entry = self._plan.forms.outcomes.entry(number)
        return _OutcomeCard(
            entry, combined, self._guard,
            lambda what, value: self._write(number, what, value),
            lambda: self._removed(number),
            lambda: self._problem(number),
        )  # fmt: skip

    def _problem(self, number: int) -> str:
        forms = self._plan.forms
        if number not in forms.outcomes.numbers:
            return ""
        return forms.outcomes.problem(number, forms.methods.control is not None)

    def _write(self, number: int, what: str, value: Any) -> None:
        entry = self._plan.forms.outcomes.entry(number)
        if getattr(entry, what) != value:
            setattr(entry, what, value)
            self._plan.reconsider()

    def _chosen(self, number: int) -> None:
        self._plan.forms.make_primary(number)
        self._plan.reconsider()

    def _added(self) -> None:
        measure, aspect = self._what.box.value
        self._plan.forms.outcomes.add(measure, aspect)
        self._plan.reconsider()

    def _removed(self, number: int) -> None:
        self._plan.forms.outcomes.remove(number)
        self._plan.reconsider()


class _OutcomeCard:
    """One outcome. The size of the primary one stands in the sentence above, not here."""

    def __init__(
        self,
        entry: OutcomeEntry,
        combined: bool,
        guard: Guard,
        write: Callable[[str, Any], None],
        remove: Callable[[], None],
        problem: Callable[[], str],
    ) -> None:
        self._head = widgets.HTML()
        self.size = NumberField(
            entry.rule, entry.size, guard(lambda text: write("size", text)), hint=""
        )
        families = [(words, key) for key, words in FAMILIES.items()
                    if (key == "factorial") <= (combined and entry.aspect == "mean")]  # fmt: skip
        self._family = Choice("Compare", families, _one_of(entry.family, families),
                              guard(lambda value: write("family", value)))  # fmt: skip
        self._role = Choice("Counts as", _ROLES, _ROLES[0][1],
                            guard(lambda value: write("role", value)))  # fmt: skip
        better = [(word, word) for word in BETTER]
        self._better = Choice("Better is", better, entry.better,
                              guard(lambda value: write("better", value)))  # fmt: skip
        self._remove = plain_button("Remove")
        self._remove.on_click(guard(lambda _: remove()))
        self._remark = Remark(problem)
        self._taste = _TasteScale(entry, guard, write) if entry.aspect == "score" else None
        own = [self._taste.widget] if self._taste is not None else []
        # SDs and fault rates are always compared in all pairs, and less of them is better.
        asked = [self._family, self._better] if entry.aspect in ("mean", "score") else []
        self._asked = tuple(choice.widget for choice in asked)
        self._line = row(self.size.widget, self._role.widget, *self._asked)
        head = row(self._head, self._remove)
        head.add_class("kit-entry-head")
        self.widget = widgets.VBox([head, *own, self._line, self._remark.widget])
        self.widget.add_class("kit-entry")

    def update(self, entry: OutcomeEntry) -> None:
        """Show what the form has."""
        primary = entry.role == "primary"
        self._head.value = (
            f"<h3>{escape(entry.words)}{' (the claim rests on it)' if primary else ''}</h3>"
        )
        self.size.put(entry.size)
        shown = self._asked if primary else (self.size.widget, self._role.widget, *self._asked)
        if self._line.children != shown:
            self._line.children = shown
        if not primary:
            self._role.put(_ROLES, entry.role)
        self._family.put(list(self._family.box.options), entry.family)
        self._better.put(list(self._better.box.options), entry.better)
        self._remove.layout.display = "none" if primary else None
        for box, label in [(self.size.box, "Smallest difference that matters"),
                           (self._role.box, "Counts as"), (self._family.box, "Compare"),
                           (self._better.box, "Better is")]:  # fmt: skip
            _name(box, label, entry)
        self._remove.tooltip = f"Remove {entry.words}"
        if self._taste is not None:
            self._taste.update(entry)
        self._remark.judge()

    def enable(self, editable: bool) -> None:
        """Open or close everything."""
        for part in (self.size, self._family, self._role, self._better):
            part.enable(editable)
        self._remove.disabled = not editable
        if self._taste is not None:
            self._taste.enable(editable)


class _TasteScale:
    """Name and scale of a taste attribute."""

    def __init__(
        self, entry: OutcomeEntry, guard: Guard, write: Callable[[str, Any], None]
    ) -> None:
        self._name = WordBox("What is tasted", entry.measure,
                             guard(lambda text: write("measure", text)), lambda: "")  # fmt: skip
        self._low = WordBox("Scale from", entry.low, guard(lambda text: write("low", text)),
                            lambda: "")  # fmt: skip
        self._high = WordBox("to", entry.high, guard(lambda text: write("high", text)),
                             lambda: "")  # fmt: skip
        self._whole = Choice("Points are", _STEPS, entry.whole,
                             guard(lambda value: write("whole", value)))  # fmt: skip
        self.widget = row(
            self._name.widget, self._low.widget, self._high.widget, self._whole.widget
        )

    def update(self, entry: OutcomeEntry) -> None:
        self._name.put(entry.measure)
        self._low.put(entry.low)
        self._high.put(entry.high)
        self._whole.put(_STEPS, entry.whole)

    def enable(self, editable: bool) -> None:
        for box in (self._name, self._low, self._high, self._whole):
            box.enable(editable)


def _to_add_words(measure: str, aspect: str) -> str:
    if (measure, aspect) == NEW_TASTE:
        return "a taste attribute, scored by tasters"
    return f"{label_of(measure)}, {ASPECT_WORDS[aspect]}"


def _one_of(value: Any, pairs: list[tuple[str, Any]]) -> Any:
    values = [meant for _, meant in pairs]
    return value if value in values else values[0]


def _name(box: widgets.DOMWidget, label: str, entry: OutcomeEntry) -> None:
    """The label for the eye; the outcome it belongs to, and the unit, for the ear."""
    unit = f" ({entry.rule.unit})" if label.startswith("Smallest") else ""
    about = escape(entry.words + unit)
    box.description_allow_html = True
    box.description = f'{label}<span class="kit-hidden">: {about}</span>'
