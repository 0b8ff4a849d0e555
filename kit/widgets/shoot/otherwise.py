"""When it goes otherwise: skip, pause, take back, correct, and what to do when something broke."""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets

from kit.widgets.guard import Guard
from kit.widgets.shoot import page, words
from kit.widgets.shoot.broken import BrokenBench, Replanned
from kit.widgets.shoot.model import ShootModel
from kit.widgets.status import StatusLine
from kit.widgets.theme import plain_button, row, section

OPEN, CLOSE = "Something broke", "Close “Something broke”"


class OtherwisePart:
    """The buttons for what was not planned.

    ``turned`` is called when the form is another one, ``acted`` after anything was done.
    """

    def __init__(
        self,
        bench: ShootModel,
        status: StatusLine,
        guard: Guard,
        turned: Callable[[], None],
        acted: Callable[[], None],
    ) -> None:
        self._bench, self._status, self._guard = bench, status, guard
        self._turned, self._after = turned, acted
        self._why = widgets.Text(description="Why (skip, pause, end, take back)")
        self._correctable = widgets.Dropdown(description="Logged shot", options=[])
        actions: list[tuple[str, Callable[[], str]]] = [
            ("Skip this pull", lambda: bench.skip(self._why.value)),
            ("Pause", lambda: bench.pause(self._why.value)),
            ("End the session", lambda: bench.end_session(self._why.value)),
            ("Take back the last shot", lambda: bench.take_back(self._why.value)),
        ]
        correcting = row(self._correctable, self._action("Correct it", self._begin_correction))
        correcting.add_class("kit-bottom")
        self.widget = section(
            "When it goes otherwise",
            row(self._why),
            row(*(self._action(*action) for action in actions)),
            correcting,
            row(self._action("How do the methods compare?", bench.ask_for_comparison)),
            BrokenPart(bench, status, guard).widget,
        )

    def draw(self) -> None:
        """Offer the shots logged last for correction."""
        numbered = list(enumerate(self._bench.log.shots, start=1))[-12:]
        entered = [(words.entered_words(shot, number), number) for number, shot in numbered]
        self._correctable.options = entered[::-1]
        self._correctable.index = 0 if entered else None  # the latest is the likeliest

    def _begin_correction(self) -> str:
        number = self._correctable.value
        self._turned()
        return self._bench.begin_correction(0 if number is None else int(number))

    def _action(self, label: str, act: Callable[[], str]) -> widgets.Button:
        button = plain_button(label)
        button.on_click(self._guard(lambda _: self._acted(act)))
        return button

    def _acted(self, act: Callable[[], str]) -> None:
        self._status.say(act())
        self._after()


class BrokenPart:
    """What unfolds when something broke: the reason, three ways out, and what each one costs."""

    def __init__(self, bench: ShootModel, status: StatusLine, guard: Guard) -> None:
        self._status, self._guard = status, guard
        self._broken = BrokenBench(bench)
        self._unfold = plain_button(OPEN)
        self._unfold.on_click(guard(lambda _: self._turn()))
        self._reason = widgets.Text(description="What happened?")
        self._sessions = widgets.Dropdown(
            description="Further sessions that can be held", options=[0, 1, 2, 3], value=1
        )
        self._cost = widgets.HTML()
        said = page.sentences_html([
            "What is left is planned again without a look at any result. The sealed schedule "
            "stays as it is; the change and its reason stand in the report."
        ])  # fmt: skip
        broken = self._broken
        ending = row(self._sessions, self._action("End this session early", self._end_early))
        ending.add_class("kit-bottom")
        self._inside = widgets.VBox([
            widgets.HTML(said),
            row(self._reason),
            row(
                self._action("The bag is empty", lambda: broken.empty_bag(self._reason.value)),
                self._action("Pull lost shots again", lambda: broken.lost(self._reason.value)),
            ),
            ending,
            self._cost,
        ])  # fmt: skip
        self._inside.add_class("kit-body")
        self._inside.layout.display = "none"
        self.widget = widgets.VBox([row(self._unfold), self._inside])
        self.widget.add_class("kit-body")

    def _turn(self) -> None:
        opens = self._inside.layout.display == "none"
        self._inside.layout.display = None if opens else "none"
        self._unfold.description = CLOSE if opens else OPEN

    def _end_early(self) -> Replanned:
        return self._broken.end_early(self._reason.value, int(self._sessions.value))

    def _action(self, label: str, act: Callable[[], Replanned]) -> widgets.Button:
        button = plain_button(label)
        button.on_click(self._guard(lambda _: self._acted(act)))
        return button

    def _acted(self, act: Callable[[], Replanned]) -> None:
        found = act()
        self._cost.value = page.sentences_html(found.changes)
        self._reason.value = ""
        # The cost is said where it is seen on every screen: in the line at the foot of the page.
        self._status.say(" ".join(["What is left is planned anew.", *found.cost]))
