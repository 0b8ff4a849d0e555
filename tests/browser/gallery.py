"""One panel with every shared control, and a button that fails: the source of a test notebook."""

import threading
import time

import ipywidgets as widgets
from matplotlib.figure import Figure

from kit.figures.picture import Picture
from kit.widgets.entry import NumberRule
from kit.widgets.fields import NumberField, choice
from kit.widgets.frame import PanelView, present
from kit.widgets.images import PictureWidget
from kit.widgets.panel_model import PanelModel
from kit.widgets.progress import LongWork
from kit.widgets.theme import plain_button, row


class GalleryView(PanelView):
    notebook = "1_plan"

    def body(self) -> list[widgets.Widget]:
        self.dose = NumberField(NumberRule("Dose", "g", 5, 30), "", lambda _: None)
        blocks = widgets.IntSlider(description="Blocks", value=4, min=1, max=20, readout=False)
        blocks.observe(self.guard(lambda change: self._draw(change["new"])), "value")
        self.image = PictureWidget()
        self._draw(blocks.value)
        fail, work = plain_button("Fail"), plain_button("Work")
        fail.on_click(self.guard(lambda _: 1 / 0))
        self.long = LongWork(self.status, self.guard)
        work.on_click(self.guard(lambda _: self.long.start("Counting", _count, self.status.say)))
        self.slow = NumberField(NumberRule("Slow", "s"), "", self.guard(lambda _: time.sleep(0.3)))
        keep = plain_button("Keep")
        self.kept: list[str] = []
        keep.on_click(self.guard(self._keep))
        stage = widgets.ToggleButtons(description="Stage", options=["first", "second"])
        grind = choice("Grind", ["untouched", "re-dialled"], "untouched", self.status.say)
        buttons = row(fail, work, keep, self.slow.widget)
        return [row(self.dose.widget, blocks, grind), stage, buttons, self.long.widget,
                self.image.widget]  # fmt: skip

    def _keep(self, _: widgets.Button) -> None:
        self.kept.append(self.slow.text)
        self.status.say(f"Kept {' then '.join(self.kept)}")

    def update(self) -> None:
        pass

    def _draw(self, blocks: int) -> None:
        figure = Figure(figsize=(4, 2))
        figure.add_subplot().plot(range(blocks + 1))
        self.image.show(Picture("line", f"A line over {blocks} blocks", lambda _: figure))


def _count(report) -> str:
    for step in range(1200):
        report(step / 1200)
        threading.Event().wait(0.05)
    return "Counted to the end"


present(GalleryView, PanelModel, None)
