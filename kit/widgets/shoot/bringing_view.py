"""The desk for bringing a table: choose, check what was understood, take in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import ipywidgets as widgets

from kit.widgets.guard import Guard
from kit.widgets.shoot import page
from kit.widgets.shoot.bringing import BringModel, targets
from kit.widgets.shoot.offer import offer
from kit.widgets.status import StatusLine
from kit.widgets.tables import html_table
from kit.widgets.theme import main_button, plain_button, row, section


class BringDesk:
    """One file at a time; nothing is written before “Take the shots in”."""

    def __init__(self, folder: Path, status: StatusLine, guard: Guard) -> None:
        self.model = BringModel(folder)
        self.status = status
        self._files = widgets.Dropdown(description="File in the trial folder", options=[])
        self._upload = widgets.FileUpload(
            description="Bring a file", icon="", accept=".csv,.tsv,.txt,.xlsx,.xlsm", multiple=False
        )
        self._upload.observe(guard(self._uploaded), "value")
        self._column = widgets.Dropdown(description="Column", options=[])
        self._target = widgets.Dropdown(description="is read as", options=targets())
        self._understood, self._outlook = widgets.HTML(), widgets.HTML()
        self._look, self._change = plain_button("Look at it"), plain_button("Change")
        self._take = main_button("Take the shots in")
        self._look.on_click(guard(lambda _: self._looked()))
        self._change.on_click(guard(lambda _: self._changed()))
        self._take.on_click(guard(lambda _: status.say(self.model.take_in())))
        self._column.observe(guard(lambda _: self._column_chosen()), "value")
        choosing = row(self._column, self._target, self._change)
        bringing = row(self._files, self._look, self._upload)
        for line in (choosing, bringing):
            line.add_class("kit-bottom")
        self._mapping_part = widgets.VBox(
            [self._understood, choosing, self._outlook, row(self._take)]
        )
        self._mapping_part.add_class("kit-body")
        self.widget = section(
            "Bring a table",
            widgets.HTML(page.sentences_html([
                "A log sheet, or whatever table you have: CSV or XLSX. It is read as meant, or you "
                "are told row and column of what cannot be."
            ])),
            bringing,
            self._mapping_part,
        )  # fmt: skip
        self.model.observe(guard(lambda _: self.update()), "version")
        self.update()

    def look_again(self) -> None:
        """Another desk may have written in the meantime."""
        self.model.catch_up()
        self.update()

    def update(self) -> None:
        """Show the files there are and what was understood of the chosen one."""
        files = self.model.files()
        offer(self._files, files)
        self._look.disabled = not files
        shown = self.model.mapping is not None
        self._mapping_part.layout.display = None if shown else "none"
        offer(self._column, self.model.columns())
        if not shown:
            return
        self._column_chosen()
        table = self.model.understood()
        self._understood.value = html_table(table, "As understood; nothing is written yet")
        said = page.sentences_html(self.model.outlook.splitlines(), role="status")
        self._outlook.value = said + page.complaints_html(self.model.complaints)

    def _column_chosen(self) -> None:
        """The second box says what the chosen column is read as now."""
        if self._column.value is not None:
            self._target.value = self.model.target_of(self._column.value)

    def _looked(self) -> None:
        if self._files.value:
            self.status.say(self.model.choose(self._files.value))

    def _changed(self) -> None:
        self.status.say(self.model.change(self._column.value, self._target.value))

    def _uploaded(self, change: dict[str, Any]) -> None:
        for file in change["new"]:
            self.status.say(self.model.keep(file["name"], bytes(file["content"])))
