"""The analysis on the screen: the question and what it will be judged by."""

from __future__ import annotations

from typing import cast

import ipywidgets as widgets

from kit.widgets.analyse.model import AnalyseModel
from kit.widgets.frame import PanelView
from kit.widgets.tables import html_table
from kit.widgets.theme import paragraph


class AnalyseView(PanelView):
    """The page of the answer."""

    notebook = "3_analyse"

    @property
    def analysis(self) -> AnalyseModel:
        """The model, by its own type."""
        return cast(AnalyseModel, self.model)

    def body(self) -> list[widgets.Widget]:
        """The question and the table of outcomes."""
        question = self.analysis.trial.question if self.analysis.trial is not None else ""
        self._question = paragraph(question, "kit-question")
        self._outcomes = widgets.HTML()
        return [self._question, self._outcomes]

    def update(self) -> None:
        """Show the outcomes as the model has them."""
        self._outcomes.value = html_table(
            self.analysis.outcomes(), "What is judged, decided before the first shot"
        )
