"""The status line: the one place of a panel that says what happened, also to screen readers."""

from __future__ import annotations

from pathlib import Path

import anywidget
import traitlets


class StatusLine(anywidget.AnyWidget):
    """A line of text that is read out when it changes; an alert is read out at once."""

    _esm = Path(__file__).with_name("status.js")
    message = traitlets.Unicode().tag(sync=True)
    urgent = traitlets.Bool(False).tag(sync=True)

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
        with self.hold_sync():  # both in one message, so that nothing is read out twice
            self.message = sentence
            self.urgent = urgent
