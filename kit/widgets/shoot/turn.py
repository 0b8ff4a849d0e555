"""The place of the next-shot card: the page comes back to it when the turn goes on."""

from __future__ import annotations

from pathlib import Path

import anywidget
import traitlets


class TurnMarker(anywidget.AnyWidget):
    """An invisible mark; raising ``turn`` brings it to the top of the page."""

    _esm = Path(__file__).with_name("turn.js")
    turn = traitlets.Int(0).tag(sync=True)
