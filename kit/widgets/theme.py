"""The style of all panels: one style sheet, scoped to the panel, taken along by the panel itself.

Because the sheet is part of the output, a panel looks the same in every program that shows
notebooks; where JupyterLab defines its theme colours, those are used.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import ipywidgets as widgets

PANEL_CLASS = "kit-panel"
_SHEET = Path(__file__).with_name("theme.css")


@cache
def _style_text() -> str:
    return _SHEET.read_text(encoding="utf-8")


def style_sheet() -> widgets.HTML:
    """The style sheet as an invisible widget; the frame puts it first in every panel."""
    sheet = widgets.HTML(f"<style>{_style_text()}</style>")
    sheet.add_class("kit-style")
    return sheet


def row(*children: widgets.Widget) -> widgets.Box:
    """Widgets side by side as far as they fit, below one another where they do not."""
    box = widgets.Box(list(children))
    box.add_class("kit-row")
    return box


def section(title: str, *children: widgets.Widget) -> widgets.VBox:
    """A part of a panel under a heading (plain text)."""
    box = widgets.VBox([heading(title), *children])
    box.add_class("kit-section")
    return box


def heading(title: str) -> widgets.HTML:
    """A heading of second rank (plain text)."""
    from markupsafe import escape

    return widgets.HTML(f"<h2>{escape(title)}</h2>")


def paragraph(text: str, style: str = "kit-text") -> widgets.HTML:
    """A paragraph of plain text; ``style`` is one of the text styles of the sheet."""
    from markupsafe import escape

    return widgets.HTML(f'<p class="{escape(style)}">{escape(text)}</p>')


def main_button(label: str) -> widgets.Button:
    """The one button of a panel that moves the work forward."""
    button = widgets.Button(description=label)
    button.add_class("kit-main")
    return button


def plain_button(label: str) -> widgets.Button:
    """Any other button."""
    return widgets.Button(description=label)
