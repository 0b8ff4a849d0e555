"""Who tastes, and the test that asks whether two methods can be told apart, on the screen."""

from __future__ import annotations

from kit.widgets.fields import NumberField, StepField
from kit.widgets.guard import Guard
from kit.widgets.plan.boxes import NOBODY, Choice, Remark
from kit.widgets.plan.model import PlanModel
from kit.widgets.plan.panel_form import RULES, TESTS
from kit.widgets.theme import row, section

NOT_CHOSEN = ("choose one", NOBODY)
_PANEL = ("tasters", "sittings", "cups_per_sitting", "portions_per_shot")


class TastingView:
    """The panel and the discrimination test."""

    def __init__(self, plan: PlanModel, guard: Guard) -> None:
        self._plan, self._guard = plan, guard
        self._fields = {name: self._field(name) for name in RULES}
        self._test = Choice("Can two methods be told apart?",
                            [(words, key) for key, words in TESTS.items()], "",
                            guard(self._choose_test))  # fmt: skip
        self._one = self._of_pair(0, "This method")
        self._other = self._of_pair(1, "and this one")
        self._pair_remark = Remark(lambda: plan.forms.panel.pair_problem(plan.forms.methods))
        self._panel_remark = Remark(lambda: plan.forms.panel.panel_problem(plan.forms.tasted))
        self._pair = row(self._one.widget, self._other.widget,
                         self._fields["sets_per_taster"].widget)  # fmt: skip
        self.widget = section(
            "Tasters",
            row(*(self._fields[name].widget for name in _PANEL)),
            self._panel_remark.widget,
            row(self._test.widget),
            self._pair,
            self._pair_remark.widget,
        )

    def update(self) -> None:
        """Bring the boxes in line with the model."""
        forms, editable = self._plan.forms, self._plan.editable
        panel, methods = forms.panel, forms.methods
        for name, field in self._fields.items():
            field.put(panel.entries[name])
            field.enable(editable)
        self._test.put([(words, key) for key, words in TESTS.items()], panel.test)
        self._test.enable(editable)
        named = [NOT_CHOSEN, *((methods.name_of(n), n) for n in methods.numbers)]
        for box, number in zip((self._one, self._other), panel.pair, strict=True):
            box.put(named, number if number in methods.numbers else NOBODY)
            box.enable(editable)
        self._pair.layout.display = None if panel.test else "none"
        self._panel_remark.judge()
        self._pair_remark.judge()

    def _field(self, name: str) -> NumberField:
        kind = StepField if name in ("tasters", "sittings") else NumberField
        text = self._plan.forms.panel.entries[name]
        return kind(RULES[name], text, self._guard(lambda new: self._write(name, new)), "")

    def _of_pair(self, place: int, label: str) -> Choice:
        return Choice(label, [NOT_CHOSEN], NOBODY,
                      self._guard(lambda number: self._choose(place, number)))  # fmt: skip

    def _write(self, name: str, text: str) -> None:
        panel = self._plan.forms.panel
        if panel.entries[name] != text:
            panel.entries[name] = text
            self._plan.reconsider()

    def _choose_test(self, test: str) -> None:
        panel = self._plan.forms.panel
        panel.test = test
        if test and panel.entries["sets_per_taster"].strip() in ("", "0"):
            panel.entries["sets_per_taster"] = "1"
        self._plan.reconsider()

    def _choose(self, place: int, number: int) -> None:
        panel = self._plan.forms.panel
        pair = [*panel.pair]
        pair[place] = None if number == NOBODY else number
        panel.pair = (pair[0], pair[1])
        self._plan.reconsider()
