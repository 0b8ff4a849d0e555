"""Boxes to type into: label above, unit beside, message below.

A number box is a text box with our own reading of numbers. The browser's own number box would
turn a typed ``18,5`` into 185 without a word, and cut 185 off at its maximum.
"""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets
from markupsafe import Markup, escape

from kit.errors import DataError
from kit.widgets.entry import NumberRule

OnText = Callable[[str], None]
NO_HINT = Markup("")


class NumberField:
    """A box for one number, kept as the text that was typed.

    ``on_text`` is called with the whole text after every keystroke. Under the box stands ``hint``
    (by default the allowed range) or, once the person has left it, what is wrong with the number.
    """

    def __init__(
        self, rule: NumberRule, text: str, on_text: OnText, hint: str | None = None
    ) -> None:
        self.rule = rule
        self._on_text = on_text
        self._hint = rule.allowed() if hint is None else hint
        self.box = _labelled_text(rule.label, rule.unit, text)
        self._message = widgets.HTML()
        line = widgets.Box([self.box, *_unit_beside(rule.unit), *self._after()])
        line.add_class("kit-box")
        self.widget = widgets.VBox([line, self._message])
        self.widget.add_class("kit-field")
        self.widget.add_class("kit-number")
        self.box.observe(self._typed, "value")
        self.judge()

    @property
    def text(self) -> str:
        """The text as it stands in the box."""
        return str(self.box.value)

    def put(self, text: str) -> None:
        """Put ``text`` into the box, if it is not there already."""
        if self.box.value != text:
            self.box.value = text

    def enable(self, enabled: bool) -> None:
        """Open or close the box."""
        self.box.disabled = not enabled

    def judge(self) -> None:
        """Show what is wrong with the text, or the hint when nothing is."""
        problem = self.rule.problem(self.text) if self.text.strip() else ""
        hint = Markup('<span class="kit-hint">{}</span>').format(self._hint)
        show_problem(self.widget, self._message, problem, hint)

    def _after(self) -> list[widgets.Widget]:
        return []

    def _typed(self, change: dict[str, object]) -> None:
        self.judge()
        self._on_text(str(change["new"]))


class StepField(NumberField):
    """A number box with a button for one less and one more: quicker and surer than a slider."""

    def __init__(
        self,
        rule: NumberRule,
        text: str,
        on_text: OnText,
        hint: str | None = None,
        step: float = 1,
    ) -> None:
        self._step = step
        self._less = _step_button("−", f"Less: {rule.name}", lambda _: self._move(-1))
        self._more = _step_button("+", f"More: {rule.name}", lambda _: self._move(1))
        super().__init__(rule, text, on_text, hint)

    def enable(self, enabled: bool) -> None:
        """Open or close the box and its buttons."""
        super().enable(enabled)
        self._less.disabled = self._more.disabled = not enabled

    def _after(self) -> list[widgets.Widget]:
        return [self._less, self._more]

    def _move(self, direction: int) -> None:
        try:
            value = self.rule.read(self.text)
        except DataError:
            return  # what is wrong already stands under the box
        start = self.rule.minimum or 0.0 if value is None else value + direction * self._step
        moved = self.rule.written(round(start, 9))
        if not self.rule.problem(moved):
            self.put(moved)


def text_area(label: str, text: str, on_text: OnText, rows: int = 3) -> widgets.Textarea:
    """A box for free text; ``on_text`` is called after every keystroke."""
    area = widgets.Textarea(value=text, description=label, rows=rows)
    area.observe(lambda change: on_text(str(change["new"])), "value")
    return area


def choice(label: str, options: list[str], value: str, on_choice: OnText) -> widgets.Dropdown:
    """One of a few; the options are what the person reads."""
    box = widgets.Dropdown(description=label, options=options, value=value)
    box.observe(lambda change: on_choice(str(change["new"])), "value")
    return box


def _labelled_text(label: str, unit: str, text: str) -> widgets.Text:
    # The unit stands beside the box for the eye and in the label for the ear.
    unit_for_ear = f' <span class="kit-hidden">({escape(unit)})</span>' if unit else ""
    return widgets.Text(
        value=text,
        description=f"{escape(label)}{unit_for_ear}",
        description_allow_html=True,
        continuous_update=True,
    )


def _unit_beside(unit: str) -> list[widgets.Widget]:
    if not unit:
        return []
    return [widgets.HTML(f'<span class="kit-unit" aria-hidden="true">{escape(unit)}</span>')]


def _step_button(sign: str, name: str, pressed: Callable[[widgets.Button], None]) -> widgets.Button:
    button = widgets.Button(description=sign, tooltip=name)
    button.add_class("kit-step")
    button.on_click(pressed)
    return button


def show_problem(
    field: widgets.Widget, message: widgets.HTML, problem: str, hint: Markup = NO_HINT
) -> None:
    """Put what is wrong under a field, before its hint, and mark it; nothing when nothing is."""
    (field.add_class if problem else field.remove_class)("kit-wrong")
    said = Markup('<span class="kit-problem">{}</span>').format(problem) if problem else NO_HINT
    message.value = str(Markup('<div class="kit-message">{}{}</div>').format(said, hint))
