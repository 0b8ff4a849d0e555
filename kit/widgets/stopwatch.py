"""The stopwatch of a shot: start, first drip, stop."""

from __future__ import annotations

from pathlib import Path

import anywidget
import traitlets


class Stopwatch(anywidget.AnyWidget):
    """A stopwatch that runs in the browser; the two times arrive here in seconds.

    A time that was not taken is None. ``observe`` the traits ``first_drip_s`` and
    ``shot_time_s`` for the moment a button is pressed (there, not taken is -1).
    """

    _esm = Path(__file__).with_name("stopwatch.js")
    started_ms = traitlets.Float(0).tag(sync=True)
    """When the running shot was started, in milliseconds of the browser's clock; 0 before."""
    first_drip_s = traitlets.Float(-1).tag(sync=True)
    shot_time_s = traitlets.Float(-1).tag(sync=True)

    @property
    def first_drip(self) -> float | None:
        """Seconds from start to the first drip."""
        return None if self.first_drip_s < 0 else self.first_drip_s

    @property
    def shot_time(self) -> float | None:
        """Seconds from start to stop."""
        return None if self.shot_time_s < 0 else self.shot_time_s

    def reset(self) -> None:
        """Back to zero, for the next shot."""
        with self.hold_sync():
            self.started_ms = 0.0
            self.first_drip_s = self.shot_time_s = -1.0
