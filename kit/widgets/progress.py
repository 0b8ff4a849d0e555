"""Long work beside the page: a bar, a sentence, and a button that stops it.

The work runs in a thread and touches widgets only by setting their values; printing or displaying
from a thread would end up in another cell or nowhere.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any

import ipywidgets as widgets
from markupsafe import Markup

from kit.widgets.guard import Guard
from kit.widgets.status import StatusLine
from kit.widgets.theme import plain_button

SECONDS_BETWEEN_UPDATES = 0.15


class StoppedError(Exception):
    """Raised inside the work when the person pressed Stop."""


class Reporter:
    """What the work is given: a function to call with the share done, which also ends it."""

    def __init__(self, show: Callable[[float], None], stop: threading.Event) -> None:
        self._show = show
        self._stop = stop
        self._last = 0.0

    def __call__(self, share: float) -> None:
        """Report ``share`` (0 to 1) as done.

        Raises
        ------
        StoppedError
            If the person pressed Stop; let it pass through.
        """
        if self._stop.is_set():
            raise StoppedError
        now = time.monotonic()
        if now - self._last >= SECONDS_BETWEEN_UPDATES or share >= 1:
            self._last = now
            self._show(share)


Work = Callable[[Reporter], Any]


class LongWork:
    """A bar with its Stop button; hidden while nothing runs. One work at a time."""

    def __init__(self, status: StatusLine, guard: Guard) -> None:
        self._status = status
        self._guard = guard
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._bar = widgets.HTML()
        self._stop_button = plain_button("Stop")
        self._stop_button.on_click(lambda _: self.stop())
        self.widget = widgets.Box([self._bar, self._stop_button])
        self.widget.add_class("kit-progress")
        self._set_visible(False)

    @property
    def running(self) -> bool:
        """Whether work is going on."""
        return self._thread is not None and self._thread.is_alive()

    @property
    def inside(self) -> bool:
        """Whether this is asked by the work itself (which cannot wait for its own end)."""
        return threading.current_thread() is self._thread

    def start(self, label: str, work: Work, done: Callable[[Any], None]) -> None:
        """Run ``work(report)`` in a thread, then ``done(result)``; both are guarded.

        Work that is still going on is stopped first.
        """
        self.stop()
        self.join()
        self._stop = threading.Event()
        reporter = Reporter(lambda share: self._draw(label, share), self._stop)

        @self._guard
        def run() -> None:
            try:
                done(work(reporter))
            except StoppedError:
                self._status.say(f"Stopped: {label}")
            finally:
                self._set_visible(False)

        self._draw(label, 0.0)
        self._set_visible(True)
        self._thread = threading.Thread(target=run, name=f"fairpull: {label}", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ask the work to end; it does at its next report."""
        self._stop.set()

    def join(self) -> None:
        """Wait until no work is going on."""
        if self._thread is not None:
            self._thread.join()

    def _draw(self, label: str, share: float) -> None:
        self._bar.value = str(
            Markup('<label>{0} <progress max="1" value="{1:.3f}">{2} %</progress></label>').format(
                label, share, round(100 * share)
            )
        )

    def _set_visible(self, visible: bool) -> None:
        self.widget.layout.display = None if visible else "none"
