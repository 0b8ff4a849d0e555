"""A button that copies a text to the clipboard of whoever sits before the browser."""

from __future__ import annotations

from pathlib import Path

import anywidget
import traitlets


class CopyButton(anywidget.AnyWidget):
    """Copies ``text`` when it is pressed; the copying is the browser's, no kernel is asked."""

    _esm = Path(__file__).with_name("copying.js")
    label = traitlets.Unicode().tag(sync=True)
    text = traitlets.Unicode().tag(sync=True)
