"""Publishing on the screen: what may be said, the pictures as they will be seen, what goes out."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import cast

import ipywidgets as widgets
from markupsafe import Markup

from kit.figures import FORMATS, to_png
from kit.results import Results
from kit.widgets.fields import choice
from kit.widgets.frame import PanelView
from kit.widgets.progress import LongWork, Reporter
from kit.widgets.publish.copying import CopyButton
from kit.widgets.publish.model import GROUNDS, LICENCE_NAMES, SHAPES, PublishModel
from kit.widgets.theme import main_button, paragraph, plain_button, row, section

PREVIEW_DPI = 80


class PublishView(PanelView):
    """The page of what goes out."""

    notebook = "4_publish"

    @property
    def publication(self) -> PublishModel:
        """The model, by its own type."""
        return cast(PublishModel, self.model)

    def body(self) -> list[widgets.Widget]:
        """Sentences to copy, a picture at its size, and the button that writes everything."""
        model = self.publication
        self._work = LongWork(self.status, self.guard)
        self._say = widgets.Textarea(description="What may be said, to copy", rows=7)
        self._methods = widgets.Textarea(description="How it was done, to copy", rows=7)
        self._copy_say = CopyButton(label="Copy what may be said")
        self._copy_methods = CopyButton(label="Copy how it was done")
        for area, copy in ((self._say, self._copy_say), (self._methods, self._copy_methods)):
            # What was changed in the box is what is copied.
            widgets.dlink((area, "value"), (copy, "text"))
        self._preview = widgets.HTML()
        self._files = widgets.HTML()
        self._which = choice("Picture", ["–"], "–", self.guard(self._picked))
        self._shape = choice("Format", list(SHAPES.values()), SHAPES[model.shape], self._formatted)
        self._ground = choice("Ground", list(GROUNDS.values()), GROUNDS[""], self._formatted)
        licences = list(LICENCE_NAMES.values())
        self._licence = choice(
            "Licence of the data", licences, licences[0], self.guard(self._licensed)
        )
        this = plain_button("Write this picture")
        this.on_click(self.guard(self._picture_clicked))
        pictures = plain_button("Write all pictures in this format")
        pictures.on_click(self.guard(self._pictures_clicked))
        film = plain_button("Write the averages shot by shot")
        film.on_click(self.guard(self._film_clicked))
        everything = main_button("Write report and bundle")
        everything.on_click(self.guard(self._everything_clicked))
        self._parts = widgets.VBox(
            [
                section("Say", self._say, self._copy_say, self._methods, self._copy_methods),
                section(
                    "Show",
                    row(self._which, self._shape, self._ground),
                    self._preview,
                    row(this, pictures, film),
                ),
                section("Hand over", row(self._licence), row(everything), self._files),
            ]
        )
        self._parts.add_class("kit-body")
        question = model.trial.question if model.trial is not None else ""
        return [paragraph(question, "kit-question"), self._work.widget, self._parts]

    def update(self) -> None:
        """Show what the model has; start the analysis when it may start."""
        model = self.publication
        self._parts.layout.display = None if model.results is not None else "none"
        if model.results is None:
            if model.ready and not self._work.inside:
                self._start()
            return
        self._say.value = model.sentences()
        self._methods.value = model.methods_text()
        names = model.picture_titles()
        if tuple(names) != tuple(self._which.options):
            self._which.options = names
        self._preview.value = self._drawn()
        self._files.value = _list_of_files(model.files())

    def _start(self) -> None:
        def work(report: Reporter) -> Results:
            return self.publication.compute(lambda _: report(0.5))

        self._work.start("Analysing the shots", work, self.publication.keep)

    def _drawn(self) -> str:
        """The chosen picture in the chosen format, as it will be seen."""
        picture = self.publication.picture
        if picture is None:
            return ""
        form = FORMATS[self.publication.format_name]
        png = base64.b64encode(to_png(picture.draw(form.canvas), PREVIEW_DPI)).decode("ascii")
        dark = " kit-on-dark" if self.publication.ground == "-dark-clear" else ""
        return str(
            Markup(
                '<figure class="kit-figure kit-preview{}"><img alt="{}" '
                'src="data:image/png;base64,{}"></figure>'
            ).format(dark, picture.alt, png)
        )

    def _picked(self, name: str) -> None:
        names = list(self._which.options)
        if name in names and self.publication.results is not None:
            self.publication.pick(names.index(name))

    def _formatted(self, _: str) -> None:
        shape = _key(SHAPES, str(self._shape.value))
        self.guard(self.publication.choose)(shape, _key(GROUNDS, str(self._ground.value)))

    def _licensed(self, name: str) -> None:
        self.publication.licence = _key(LICENCE_NAMES, name)

    def _picture_clicked(self, _: object) -> None:
        written = self.publication.write_picture()
        self.status.say(f"Written: {' '.join(map(str, written))}")
        self.publication.touch()

    def _pictures_clicked(self, _: object) -> None:
        def done(written: list[Path]) -> None:
            self.status.say(f"{len(written)} files written into {written[0].parent}.")
            self.publication.touch()

        self._work.start("Writing the pictures", self.publication.write_pictures, done)

    def _film_clicked(self, _: object) -> None:
        def done(written: list[Path]) -> None:
            self.status.say(f"{len(written) - 1} stills in shooting order. Film: {written[-1]}")
            self.publication.touch()

        self._work.start("Writing the averages shot by shot", self.publication.write_film, done)

    def _everything_clicked(self, _: object) -> None:
        def done(paths: tuple[Path, Path]) -> None:
            self.status.say(f"Report: {paths[0]} Bundle: {paths[1]}")
            self.publication.touch()

        self._work.start("Writing report and bundle", self.publication.write_all, done)


def _key(named: dict[str, str], label: str) -> str:
    return next(key for key, name in named.items() if name == label)


def _list_of_files(names: list[str]) -> str:
    if not names:
        return ""
    entries = Markup("").join(
        Markup('<li><a href="/files/{0}" target="_blank">{0}</a></li>').format(name)
        if name.endswith((".html", ".zip"))
        else Markup("<li>{}</li>").format(name)
        for name in names
    )
    return str(
        Markup(
            "<details><summary>{} files in the trial folder</summary>"
            '<ul class="kit-list">{}</ul></details>'
        ).format(len(names), entries)
    )
