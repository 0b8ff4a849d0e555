"""The methods on the screen: one line each, and which of them is the control."""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets

from kit.widgets.fields import text_area
from kit.widgets.guard import Guard
from kit.widgets.plan.boxes import NOBODY, Choice, Remark, WordBox, beside
from kit.widgets.plan.methods import MethodEntry
from kit.widgets.plan.model import PlanModel
from kit.widgets.theme import paragraph, plain_button, row, section

NO_CONTROL = ("none of them", NOBODY)


class MethodsView:
    """Rename, add, remove; recipes; the control."""

    def __init__(self, plan: PlanModel, guard: Guard) -> None:
        self._plan, self._guard = plan, guard
        self._lines: dict[int, _MethodLine] = {}
        self._list = widgets.VBox()
        self._list.add_class("kit-entries")
        self._control = Choice("Which is the control", [NO_CONTROL], NOBODY,
                               guard(self._mark_control))  # fmt: skip
        self._add = plain_button("Add a method")
        self._add.on_click(guard(lambda _: self._added()))
        self._few = Remark(self._too_few)
        self._combined = paragraph("", "kit-quiet")
        self.widget = section(
            "Methods", self._combined, self._list, self._few.widget,
            beside(self._control.widget, self._add),
        )  # fmt: skip

    def update(self) -> None:
        """Bring the lines in line with the model."""
        form, editable = self._plan.forms.methods, self._plan.editable
        if list(self._lines) != form.numbers:
            self._lines = {n: self._lines.get(n) or self._line(n) for n in form.numbers}
            self._list.children = tuple(line.widget for line in self._lines.values())
        for place, (number, line) in enumerate(self._lines.items(), start=1):
            line.update(place, form.entry(number).name, form.entry(number).recipe)
            line.enable(editable, editable and not form.combined)
        named = [(form.name_of(number), number) for number in form.numbers]
        self._control.put([NO_CONTROL, *named], NOBODY if form.control is None else form.control)
        self._control.enable(editable)
        self._add.disabled = not editable or form.combined
        self._few.judge()
        self._combined.value = (
            "" if not form.combined else f'<p class="kit-quiet">{_combined_words(form.factors)}</p>'
        )

    def _line(self, number: int) -> _MethodLine:
        return _MethodLine(
            self._plan.forms.methods.entry(number),
            self._guard,
            lambda what, text: self._write(number, what, text),
            lambda: self._removed(number),
            lambda: self._problem(number),
        )

    def _problem(self, number: int) -> str:
        form = self._plan.forms.methods
        return form.problem(number) if number in form.numbers else ""

    def _write(self, number: int, what: str, text: str) -> None:
        entry = self._plan.forms.methods.entry(number)
        if getattr(entry, what) != text:
            setattr(entry, what, text)
            self._plan.reconsider()

    def _added(self) -> None:
        number = self._plan.forms.methods.add()
        self._plan.reconsider()
        self._lines[number].name.box.focus()

    def _removed(self, number: int) -> None:
        self._plan.forms.methods.remove(number)
        self._plan.reconsider()

    def _mark_control(self, number: int) -> None:
        self._plan.forms.methods.control = None if number == NOBODY else number
        self._plan.reconsider()

    def _too_few(self) -> str:
        problems = self._plan.forms.methods.problems()
        return problems[0] if problems and problems[0].startswith("There is") else ""


class _MethodLine:
    """Name, recipe, and the button that takes the method out."""

    def __init__(
        self,
        entry: MethodEntry,
        guard: Guard,
        write: Callable[[str, str], None],
        remove: Callable[[], None],
        problem: Callable[[], str],
    ) -> None:
        self.name = WordBox("Method", entry.name, guard(lambda text: write("name", text)), problem)
        self.recipe = text_area(
            "How it is done", entry.recipe, guard(lambda text: write("recipe", text)), rows=1
        )
        self._remove = plain_button("Remove")
        self._remove.on_click(guard(lambda _: remove()))
        self.widget = row(self.name.widget, self.recipe, self._remove)
        self.widget.add_class("kit-entry")

    def update(self, place: int, name: str, recipe: str) -> None:
        self.name.box.description = f"Method {place}"
        self.recipe.description = f"How method {place} is done"
        self._remove.description = f"Remove method {place}"
        self.name.put(name)
        self.name.judge()
        if self.recipe.value != recipe:
            self.recipe.value = recipe

    def enable(self, editable: bool, removable: bool) -> None:
        self.name.enable(editable)
        self.recipe.disabled = not editable
        self._remove.disabled = not removable


def _combined_words(factors: tuple[str, ...]) -> str:
    from markupsafe import escape

    return (
        f"Each method is one combination of the factors {escape(', '.join(factors))}. Names and "
        "recipes can be changed here; factors, their levels and which combinations there are stand "
        "in trial.toml (under [[factors]] and in the settings of each [[methods]])."
    )
