"""The analysis on the screen: the answer first, everything else unfolds."""

from __future__ import annotations

import secrets
from datetime import datetime
from typing import cast

import ipywidgets as widgets

from kit.results import Results
from kit.widgets.analyse.model import AnalyseModel
from kit.widgets.analyse.page import details_page, verdict_page
from kit.widgets.frame import PanelView
from kit.widgets.progress import LongWork, Reporter
from kit.widgets.theme import main_button, paragraph, plain_button, row

REHEARSAL_NOTE = (
    "Rehearsal: these shots are invented, with the noise the plan assumes and no difference "
    "between methods. Whatever shows here is luck. Press again for other luck; nothing is written."
)
LETTERS_NOTE = (
    "Methods are shown as letters. Look at the checks, decide that nothing needs to change, then "
    "settle the analysis: it is recorded, and the names appear."
)


class AnalyseView(PanelView):
    """The page of the answer."""

    notebook = "3_analyse"

    @property
    def analysis(self) -> AnalyseModel:
        """The model, by its own type."""
        return cast(AnalyseModel, self.model)

    def body(self) -> list[widgets.Widget]:
        """Question, answer, the settling of a blind analysis, and the details."""
        question = self.analysis.trial.question if self.analysis.trial is not None else ""
        self._answer = widgets.HTML()
        self._details = widgets.HTML()
        self._letters = paragraph(LETTERS_NOTE)
        self._settle = main_button("Settle the analysis and show the names")
        self._settle.on_click(self.guard(self._settle_clicked))
        self._early = plain_button("Show a comparison now")
        self._early.on_click(self.guard(self._early_clicked))
        self._rehearse = plain_button("Rehearse on invented shots")
        self._rehearse.on_click(self.guard(self._rehearse_clicked))
        self._rehearsal = paragraph(REHEARSAL_NOTE, "kit-over")
        self._work = LongWork(self.status, self.guard)
        self._blind = widgets.VBox([self._letters, row(self._settle)])
        self._blind.add_class("kit-section")
        return [
            paragraph(question, "kit-question"),
            self._work.widget,
            self._rehearsal,
            self._answer,
            self._blind,
            row(self._early, self._rehearse),
            self._details,
        ]

    def update(self) -> None:
        """Show the answer as far as the model has it; start the analysis when it may start."""
        model = self.analysis
        _show(self._early, model.to_pull > 0)
        _show(self._rehearse, model.can_rehearse())
        _show(self._rehearsal, model.results is not None and not model.ready)
        _show(self._blind, model.results is not None and model.ready and model.hidden)
        if model.results is None:
            self._answer.value = self._details.value = ""
            if model.ready and not self._work.inside:
                self._start()
            return
        self._answer.value = verdict_page(model)
        self._details.value = details_page(model)

    def _start(self) -> None:
        trial = self.analysis.trial
        steps = len(trial.outcomes) + 1 if trial is not None else 1

        def work(report: Reporter) -> Results:
            done = 0

            def progress(_: str) -> None:
                nonlocal done
                report(done / steps)
                done += 1

            return self.analysis.compute(progress)

        self._work.start("Analysing the shots", work, self.analysis.keep)

    def _rehearse_clicked(self, _: object) -> None:
        seed = secrets.randbelow(2**31)

        def work(report: Reporter) -> Results:
            return self.analysis.rehearse(seed, lambda _: report(0.5))

        self._work.start("Rehearsing", work, self.analysis.keep)

    def _settle_clicked(self, _: object) -> None:
        self.analysis.settle(datetime.now().astimezone(), by="analyst")
        self.status.say("The analysis is settled and recorded. The names are shown.")

    def _early_clicked(self, _: object) -> None:
        self.status.say(self.analysis.ask_early(datetime.now().astimezone(), by="analyst"))


def _show(widget: widgets.Widget, visible: bool) -> None:
    widget.layout.display = None if visible else "none"
