"""The bench on the screen: the next shot first, then the boxes, then the state of the session."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import cast

import ipywidgets as widgets

from kit.cautions import ALWAYS, CHOKED, SESSION_START
from kit.widgets.fields import NumberField, StepField, choice
from kit.widgets.frame import PanelView
from kit.widgets.guard import Guard
from kit.widgets.images import PictureWidget
from kit.widgets.shoot import page, words
from kit.widgets.shoot.bringing_view import BringDesk
from kit.widgets.shoot.by_code_view import Desk, MeasureDesk, ScoreDesk
from kit.widgets.shoot.drift import drift_picture, reference_values
from kit.widgets.shoot.form import NOTHING, RULES, accidents
from kit.widgets.shoot.model import ShootModel
from kit.widgets.shoot.offer import show
from kit.widgets.shoot.otherwise import OtherwisePart
from kit.widgets.shoot.taste_view import TasteDesk
from kit.widgets.shoot.turn import TurnMarker
from kit.widgets.status import StatusLine
from kit.widgets.stopwatch import Stopwatch
from kit.widgets.theme import main_button, paragraph, plain_button, row, section

PULL, MEASURE, SCORE, TASTE = "Pull", "Measure", "Score faults", "Taste"
BRING = "Bring a table"
_WEIGHED = ("dose_before_g", "dose_g", "beverage_g")
_TIMED = ("first_drip_s", "shot_time_s")
_READ = ("tds_pct", "tds_2", "tds_3")
_SHEET = Path(__file__).with_name("shoot.css")


class ShootView(PanelView):
    """The form of the bench, and the desks for measuring, scoring and tasting by code."""

    notebook = "2_shoot"

    @property
    def bench(self) -> ShootModel:
        """The model, by its own type."""
        return cast(ShootModel, self.model)

    def body(self) -> list[widgets.Widget]:
        """The desks; each but the first is made when it is first asked for."""
        self._drawn: object = None
        self._charted: object = None
        self._made_desks: dict[str, Desk | BringDesk] = {}
        self._desk = widgets.ToggleButtons(
            description="What are you doing?", options=[PULL, MEASURE, SCORE, TASTE, BRING]
        )
        self._desk.observe(self.guard(self._desk_changed), "value")
        self._pull_desk = widgets.VBox(self._pull_parts())
        self._pull_desk.add_class("kit-body")
        self._other_desk = widgets.VBox()
        return [_style(), self._desk, self._pull_desk, self._other_desk]

    def update(self) -> None:
        """Show the bench as the model has it."""
        bench = self.bench
        for name, field in self._fields.items():
            field.put(bench.entries[name])
        for name, box in self._texts.items():
            if box.value != bench.entries[name]:
                box.value = bench.entries[name]
        if self._operator.value != bench.operator:
            self._operator.value = bench.operator
        self._computed.value = page.values_html(bench.computed(), large=True)
        form = bench.form
        said = [] if bench.trial is None else form.masses_words(bench.trial)
        self._masses.value = page.sentences_html([*said, form.loss_words(), form.spread_words()])
        self._verdict.value = page.sentences_html([bench.tolerance_verdict()], role="status")
        self._show_parts()
        if self._drawn is not bench.log:
            first = self._drawn is None
            self._drawn = bench.log
            self._draw_log()
            if first:
                self._draw_drift()

    # -- parts ---------------------------------------------------------------------------------

    def _pull_parts(self) -> list[widgets.Widget]:
        self._card, self._ribbon = widgets.HTML(), widgets.HTML()
        self._start_part = self._start_section()
        self._form_part = widgets.VBox(self._form_parts())
        self._form_part.add_class("kit-body")
        self._totals, self._rest, self._tasters = (widgets.HTML() for _ in range(3))
        self._tasters_part = section("Tasters today", self._tasters)
        self._otherwise = OtherwisePart(
            self.bench, self.status, self.guard, self._turned, self._draw_drift
        )
        self._drift = PictureWidget()
        self._drift_words = widgets.HTML()
        self._log_part = widgets.VBox(
            [
                section("This session", self._totals, self._rest),
                self._tasters_part,
                section("Drift of the reference shots", self._drift.widget, self._drift_words),
                self._otherwise.widget,
            ]
        )
        self._log_part.add_class("kit-body")
        self._turn = TurnMarker()
        return [
            self._turn,
            self._card,
            self._ribbon,
            self._start_part,
            self._form_part,
            self._log_part,
        ]

    def _start_section(self) -> widgets.VBox:
        self._operator = widgets.Text(description="Your code", placeholder="not your name")
        self._operator.observe(
            self.guard(lambda change: self.bench.write_operator(change["new"])), "value"
        )
        self._start = main_button("Start the session")
        self._start.on_click(self.guard(lambda _: self.status.say(self.bench.start_session())))
        cautions = widgets.HTML(page.cautions_html(SESSION_START, ALWAYS))
        starting = row(self._operator, self._start)
        starting.add_class("kit-bottom")
        self._operator.add_class("kit-short")
        return section("Before the first pull", cautions, starting)

    def _form_parts(self) -> list[widgets.Widget]:
        self._stopwatch = Stopwatch()
        self._stopwatch.observe(self.guard(self._times_taken), ["first_drip_s", "shot_time_s"])
        self._fields = {name: self._field(name) for name in RULES}
        self._computed, self._masses, self._verdict = (widgets.HTML() for _ in range(3))
        reasons = [NOTHING, *(accidents(self.bench.trial) if self.bench.trial else ())]
        self._texts: dict[str, widgets.Widget] = {
            "reason": choice("What went wrong?", reasons, NOTHING, self._typing("reason")),
            "note": self._text("Note", "note"),
            "video_time": self._text("Time in the video", "video_time"),
            "why": self._text("Why is it corrected?", "why"),
        }
        self._save, self._leave = main_button("Save shot"), plain_button("Do not correct")
        self._save.on_click(self.guard(self._save_clicked))
        self._leave.on_click(self.guard(lambda _: self.status.say(self.bench.leave_correction())))
        choked = paragraph(f"{CHOKED.topic}: {CHOKED.text}", "kit-quiet")
        return [
            section("Time", self._stopwatch, choked),
            section("Weigh", self._fields_row(_WEIGHED), self._fields_row(_TIMED)),
            section("Read", self._fields_row(_READ)),
            self._judged(),
            section(
                "Look",
                row(self._fields["faults"].widget, self._texts["reason"]),
                row(self._texts["note"], self._texts["video_time"]),
            ),
            row(self._texts["why"]),
            row(self._save, self._leave),
        ]

    def _judged(self) -> widgets.VBox:
        """What follows from the numbers typed."""
        box = widgets.VBox([self._computed, self._masses, self._verdict])
        box.add_class("kit-judged")
        return box

    # -- drawing -------------------------------------------------------------------------------

    def _show_parts(self) -> None:
        """What can be done now is shown, nothing else."""
        bench = self.bench
        state = bench.session_state
        waits = bool(bench.next_pull) and state != "running" and bench.correcting is None
        blocked = bool(bench.unmet())
        show(self._start_part, waits and not blocked)
        # Before the plan is sealed the boxes may be tried out; nothing can be saved.
        show(self._form_part, blocked or state == "running" or bench.correcting is not None)
        show(self._log_part, not blocked)
        self._start.description = "Go on" if state == "paused" else "Start the session"
        self._save.disabled = not bench.can_log
        correcting = bench.correcting is not None
        self._save.description = "Save the correction" if correcting else "Save shot"
        show(self._leave, correcting)
        show(self._texts["why"], correcting)

    def _draw_log(self) -> None:
        bench = self.bench
        if bench.schedule is None:
            return
        self._card.value = page.card_html(words.card_of(bench))
        self._ribbon.value = page.ribbon_html(words.ribbon_of(bench))
        self._totals.value = page.values_html(words.totals_of(bench), large=False)
        rest = words.rest_caution(bench)
        self._rest.value = page.sentences_html([rest.text] if rest else [], role="status")
        loads, said = words.tasters_of(bench), words.caffeine_words(bench)
        self._tasters.value = page.values_html(loads, large=False) + page.sentences_html(said)
        show(self._tasters_part, bool(said))
        self._otherwise.draw()

    def _draw_drift(self) -> None:
        values = reference_values(self.bench)
        if values == self._charted:
            return
        self._charted = values
        picture = drift_picture(self.bench)
        if picture is None:
            text = "The chart begins with the second reference shot of a session that was measured."
            self._drift_words.value = page.sentences_html([text])
            return
        self._drift_words.value = ""
        self._drift.show(picture)

    # -- callbacks -----------------------------------------------------------------------------

    def _save_clicked(self, _: object) -> None:
        said = self.bench.save()
        # The boxes are empty before it is said: what is typed next must never be wiped.
        self._stopwatch.reset()
        self.status.say(f"{said} {words.next_words(self.bench)}")
        self._turn.turn += 1
        self.bench.settle()
        self._draw_drift()

    def _times_taken(self, _: object) -> None:
        self.bench.take_times(self._stopwatch.first_drip, self._stopwatch.shot_time)

    def _turned(self) -> None:
        """The form is another one: the page goes up to it."""
        self._turn.turn += 1

    def _desk_changed(self, change: dict[str, str]) -> None:
        desk = change["new"]
        self.status.clear()
        show(self._pull_desk, desk == PULL)
        if desk == PULL:
            self._other_desk.children = ()
            self.bench.catch_up()
            return
        if desk not in self._made_desks:
            self._made_desks[desk] = self._new_desk(desk)
        self._made_desks[desk].look_again()
        self._other_desk.children = (self._made_desks[desk].widget,)

    def _new_desk(self, name: str) -> Desk | BringDesk:
        makers: dict[str, Callable[[Path, StatusLine, Guard], Desk | BringDesk]] = {
            MEASURE: MeasureDesk,
            SCORE: ScoreDesk,
            TASTE: TasteDesk,
            BRING: BringDesk,
        }
        return makers[name](self.bench.folder, self.status, self.guard)

    # -- small makers --------------------------------------------------------------------------

    def _typing(self, name: str) -> Callable[[str], None]:
        return cast(Callable[[str], None], self.guard(lambda text: self.bench.type_in(name, text)))

    def _text(self, label: str, name: str) -> widgets.Text:
        box = widgets.Text(description=label, continuous_update=True)
        typed = self._typing(name)
        box.observe(lambda change: typed(str(change["new"])), "value")
        return box

    def _fields_row(self, names: tuple[str, ...]) -> widgets.Box:
        return row(*(self._fields[name].widget for name in names))

    def _field(self, name: str) -> NumberField:
        kind = StepField if name == "faults" else NumberField
        text = self.bench.entries[name]
        return kind(RULES[name], text, self._typing(name), self._hint(name))

    def _hint(self, name: str) -> str:
        trial = self.bench.trial
        if trial is None:
            return ""
        recipe = trial.recipe
        hints = {
            "dose_g": f"Wanted: {recipe.dose_g:g} ± {recipe.dose_tolerance_g:g} g.",
            "beverage_g": f"Wanted: {recipe.beverage_g:g} ± {recipe.beverage_tolerance_g:g} g.",
            "tds_pct": "May wait: measure later by cup code.",
            "faults": trial.rules.fault_definition,
        }
        return hints.get(name, "")


def _style() -> widgets.HTML:
    sheet = widgets.HTML(f"<style>{_SHEET.read_text(encoding='utf-8')}</style>")
    sheet.add_class("kit-style")
    return sheet
