"""The frame of every panel: style, title and way to the other steps, status line, what is missing.

A panel's view derives from :class:`PanelView`, fills in ``body`` and ``update``, and is put on the
page by :func:`present`.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from pathlib import Path
from typing import ClassVar

import ipywidgets as widgets
from IPython.display import display
from markupsafe import Markup

from kit.widgets.guard import Guard, failure_sentence
from kit.widgets.panel_model import PanelModel
from kit.widgets.status import StatusLine
from kit.widgets.tables import list_items
from kit.widgets.theme import PANEL_CLASS, style_sheet

STEPS = {"1_plan": "Plan", "2_shoot": "Shoot", "3_analyse": "Analyse", "4_publish": "Publish"}
_shown: list[widgets.Widget] = []
_views: list[PanelView] = []


class PanelView(ABC):
    """The widgets of one panel, linked to its model. It decides nothing; the model does."""

    notebook: ClassVar[str]
    """The notebook the panel belongs to: a key of ``STEPS``."""

    def __init__(self, model: PanelModel) -> None:
        self.model = model
        self.status = StatusLine()
        self.guard = Guard(self.status, model.folder)
        self._head = widgets.HTML()
        self._unmet = widgets.HTML()
        self._body = widgets.VBox(self.body())
        self._body.add_class("kit-body")
        self.widget = widgets.VBox(
            [style_sheet(), self._head, self._body, self.status, self._unmet]
        )
        self.widget.add_class(PANEL_CLASS)
        model.observe(self.guard(lambda _: self._redraw()), "version")
        self._redraw()

    @abstractmethod
    def body(self) -> list[widgets.Widget]:
        """Make the widgets of the panel, once. Wrap every callback in ``self.guard``."""

    @abstractmethod
    def update(self) -> None:
        """Bring the widgets in line with the model; called whenever the model has changed."""

    def _redraw(self) -> None:
        self._head.value = _head(self.model, self.notebook)
        self._unmet.value = _unmet(self.model.unmet())
        # Without a trial there is nothing to work on: the reason stands alone.
        self._body.layout.display = "none" if self.model.trial is None else None
        if self.model.trial is not None:
            self.update()


def present(view: type[PanelView], model: type[PanelModel], folder: Path | None) -> None:
    """Put a panel on the page; ``folder`` is the trial, by default the folder of the notebook.

    A panel that is shown already, in this window or in a second one on the same kernel, is shown
    once more and read again from the folder: both windows then hold the same form. Any other panel
    of this kernel is closed, so that cells can be run again and again. A failure is shown as a
    sentence, never as a traceback.
    """
    place = (Path.cwd() if folder is None else Path(folder)).resolve()
    try:
        panel = _panel_again(view, place) or _new_panel(view, model(place))
    except Exception as error:
        _close_all()
        panel = _failed(failure_sentence(error, place))
        _shown.append(panel)
    display(panel)


def _panel_again(view: type[PanelView], place: Path) -> widgets.Widget | None:
    """The panel of this view on this folder, if it is on the page and whole."""
    for shown in _views:
        if type(shown) is view and shown.model.folder == place:
            shown.model.refresh()
            return shown.widget
    return None


def _new_panel(view: type[PanelView], model: PanelModel) -> widgets.Widget:
    _close_all()
    made = view(model)
    _views.append(made)
    _shown.append(made.widget)
    return made.widget


def _close_all() -> None:
    _views.clear()
    while _shown:
        _close(_shown.pop())


def _close(widget: widgets.Widget) -> None:
    """Close a widget and all it holds, so that running a cell again and again costs no memory."""
    for child in getattr(widget, "children", ()):
        _close(child)
    widget.close()


def _failed(sentence: str) -> widgets.Widget:
    status = StatusLine()
    status.alert(sentence)
    panel = widgets.VBox([style_sheet(), status])
    panel.add_class(PANEL_CLASS)
    return panel


def _head(model: PanelModel, notebook: str) -> str:
    title = model.trial.title if model.trial is not None else "fairpull"
    made_up = model.trial is not None and model.trial.invented
    mark = Markup(' <span class="kit-mark">invented example</span>') if made_up else Markup("")
    links = Markup("").join(
        Markup('<a href="{}.ipynb"{}>{}</a>').format(
            name, Markup(' aria-current="page"') if name == notebook else Markup(""), label
        )
        for name, label in STEPS.items()
    )
    return str(
        Markup(
            '<header class="kit-head"><h1>{}{}</h1><nav aria-label="Steps">{}</nav></header>'
        ).format(title, mark, links)
    )


def _unmet(sentences: list[str]) -> str:
    if not sentences:
        return ""
    entries = list_items(sentences)
    return str(
        Markup(
            '<section class="kit-unmet"><h2>Still missing here</h2><ul>{}</ul></section>'
        ).format(entries)
    )
