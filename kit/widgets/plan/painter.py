"""Draw pictures beside the page: of several asked for in a row, only the latest is drawn.

A picture takes a tenth of a second; numbers and sentences must not wait for it.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from kit.figures.picture import Picture
from kit.widgets.guard import Guard
from kit.widgets.images import PictureWidget

PAUSE_S = 0.2
Make = Callable[[], Picture]


class Painter:
    """One place for a picture, drawn in a thread that ends when nothing is left to draw."""

    def __init__(self, guard: Guard) -> None:
        self._place = PictureWidget()
        self.widget = self._place.widget
        self._draw = guard(self._draw_waiting)
        self._lock = threading.Lock()
        self._waiting: Make | None = None
        self._thread: threading.Thread | None = None

    def ask(self, make: Make) -> None:
        """Draw what ``make`` gives, soon; a picture asked for earlier and not begun is dropped."""
        with self._lock:
            self._waiting = make
            if self._thread is None:
                self._thread = threading.Thread(target=self._draw, daemon=True)
                self._thread.start()

    def join(self) -> None:
        """Wait until nothing is left to draw."""
        thread = self._thread
        if thread is not None:
            thread.join()

    def _draw_waiting(self) -> None:
        try:
            while self._settled() and (make := self._take()) is not None:
                self._place.show(make())
        except Exception:
            with self._lock:
                self._thread = None  # the next picture asked for gets a new thread
            raise

    def _settled(self) -> bool:
        """Wait for a pause in what is asked: drawing must not slow down who is still typing."""
        while True:
            asked = self._waiting
            time.sleep(PAUSE_S)
            if asked is self._waiting:
                return True

    def _take(self) -> Make | None:
        with self._lock:
            make, self._waiting = self._waiting, None
            if make is None:
                self._thread = None
            return make
