"""Publishing on the screen: the question and the files there are to hand over."""

from __future__ import annotations

from typing import cast

import ipywidgets as widgets
from markupsafe import Markup

from kit.widgets.frame import PanelView
from kit.widgets.publish.model import PublishModel
from kit.widgets.theme import paragraph


class PublishView(PanelView):
    """The page of what goes out."""

    notebook = "4_publish"

    @property
    def publication(self) -> PublishModel:
        """The model, by its own type."""
        return cast(PublishModel, self.model)

    def body(self) -> list[widgets.Widget]:
        """The question and the list of files."""
        trial = self.publication.trial
        self._question = paragraph(trial.question if trial is not None else "", "kit-question")
        self._files = widgets.HTML()
        return [self._question, self._files]

    def update(self) -> None:
        """Show the files as the model finds them."""
        names = self.publication.files()
        entries = Markup("").join(Markup("<li><code>{}</code></li>").format(name) for name in names)
        shown = Markup("<h2>Files</h2><ul>{}</ul>").format(entries) if names else Markup("")
        self._files.value = str(shown)
