"""Boxes that only this page has: a number in a running sentence, a word, a choice.

Each names what is wrong with it where it stands, an empty box that must be filled among them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import ipywidgets as widgets

from kit.widgets.entry import NumberRule
from kit.widgets.fields import NumberField, OnText, StepField, show_problem
from kit.widgets.theme import row

Problem = Callable[[], str]
NOBODY = -1
"""What a choice of methods means when none is chosen (a choice shows no text for None)."""
Pairs = Sequence[tuple[str, Any]]


class InlineNumber(NumberField):
    """A number box inside a sentence; its label is heard, not seen."""

    def __init__(self, rule: NumberRule, text: str, on_text: OnText) -> None:
        super().__init__(rule, text, on_text, hint="")
        make_inline(self.widget)

    def judge(self) -> None:
        """Show what is wrong, also with a box that is empty and must not be."""
        super().judge()
        if not self.text.strip():
            show_problem(self.widget, self._message, self.rule.problem(""))


class InlineStep(InlineNumber, StepField):
    """The same with a button for one less and one more."""


class WordBox:
    """A box for a word or a line of text; ``problem`` says what is wrong with it."""

    def __init__(self, label: str, text: str, on_text: OnText, problem: Problem) -> None:
        self._problem = problem
        self._on_text = on_text
        self.box = widgets.Text(value=text, description=label, continuous_update=True)
        self._message = widgets.HTML()
        self.widget = widgets.VBox([self.box, self._message])
        self.widget.add_class("kit-field")
        self.box.observe(lambda change: self._on_text(str(change["new"])), "value")
        self.judge()

    def put(self, text: str) -> None:
        """Put ``text`` into the box, if it is not there already."""
        if self.box.value != text:
            self.box.value = text

    def enable(self, enabled: bool) -> None:
        """Open or close the box."""
        self.box.disabled = not enabled

    def judge(self) -> None:
        """Show what is wrong with the text."""
        show_problem(self.widget, self._message, self._problem())


class Choice:
    """One of a few: what is read and what is meant by it."""

    def __init__(
        self, label: str, pairs: Pairs, value: Any, on_choice: Callable[[Any], None]
    ) -> None:
        self.box = widgets.Dropdown(description=label, options=list(pairs), value=value)
        self._putting = False
        self._on_choice = on_choice
        self.widget = self.box
        self.box.observe(self._chosen, "value")

    def put(self, pairs: Pairs, value: Any) -> None:
        """Show these options with ``value`` chosen; nobody is told."""
        if list(self.box.options) == list(pairs) and self.box.value == value:
            return
        self._putting = True
        try:
            if list(self.box.options) != list(pairs):
                self.box.options = list(pairs)
            self.box.value = value
        finally:
            self._putting = False

    def enable(self, enabled: bool) -> None:
        """Open or close the choice."""
        self.box.disabled = not enabled

    def _chosen(self, change: dict[str, Any]) -> None:
        if not self._putting:
            self._on_choice(change["new"])


class Remark:
    """What is wrong with a part as a whole, said where it stands."""

    def __init__(self, problem: Problem) -> None:
        self._problem = problem
        self._message = widgets.HTML()
        self.widget = widgets.VBox([self._message])
        self.widget.add_class("kit-remark")
        self.judge()

    def judge(self) -> None:
        """Show what is wrong, if anything is."""
        show_problem(self.widget, self._message, self._problem())


def beside(box: widgets.Widget, button: widgets.Button) -> widgets.Box:
    """A box with the button that uses what is in it."""
    made = row(box, button)
    made.add_class("kit-beside")
    return made


def make_inline(widget: widgets.Widget) -> None:
    """Let a field stand in a running sentence."""
    widget.add_class("kit-inline")
