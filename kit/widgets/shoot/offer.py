"""Things that come and go: a choice among them, and a part that is shown or not."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets


def offer(box: widgets.Dropdown, options: Sequence[object]) -> None:
    """Offer these options; what was chosen stays chosen, else the first one is."""
    if list(box.options) == list(options):
        return
    chosen = box.label
    box.options = list(options)
    labels = [each[0] if isinstance(each, tuple) else str(each) for each in options]
    box.index = labels.index(chosen) if chosen in labels else (0 if labels else None)


def show(widget: widgets.Widget, visible: bool) -> None:
    """Show a part, or take it off the screen."""
    widget.layout.display = None if visible else "none"
