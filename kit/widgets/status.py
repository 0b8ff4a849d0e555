"""The status line: the one place of a panel that says what happened, also to screen readers."""

from __future__ import annotations

import ipywidgets as widgets
import traitlets
from markupsafe import Markup


class StatusLine(widgets.HTML):
    """A line of plain text that is read out when it changes; an alert is read out at once.

    It is a plain HTML widget on purpose: what goes wrong must be said even where a widget that
    brings its own script fails to load.
    """

    message = traitlets.Unicode()
    urgent = traitlets.Bool(False)

    def __init__(self) -> None:
        super().__init__()
        self.add_class("kit-status")

    def say(self, sentence: str) -> None:
        """Something that went as wished."""
        self._show(sentence, urgent=False)

    def alert(self, sentence: str) -> None:
        """Something that did not, and what to do about it."""
        self._show(sentence, urgent=True)

    def clear(self) -> None:
        """Nothing to say any more."""
        self._show("", urgent=False)

    def _show(self, sentence: str, urgent: bool) -> None:
        self.message, self.urgent = sentence, urgent
        role = "alert" if urgent else "status"
        said = Markup('<div role="{}">{}</div>').format(role, sentence) if sentence else ""
        self.value = str(said)
