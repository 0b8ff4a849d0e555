"""Figures on the screen: an image with alternative text, drawn as SVG, with nothing to flicker."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING

import ipywidgets as widgets
from markupsafe import Markup

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def svg_data_uri(figure: Figure) -> str:
    """``figure`` as an address that holds the whole SVG; the same figure gives the same bytes."""
    stream = io.BytesIO()
    figure.savefig(stream, format="svg", metadata={"Date": None})
    return "data:image/svg+xml;base64," + base64.b64encode(stream.getvalue()).decode("ascii")


class FigureImage:
    """A place for a figure; ``show`` puts a new one there without a blank in between.

    Figures are to be made by ``matplotlib.figure.Figure``, never by pyplot, which keeps them all.
    """

    def __init__(self) -> None:
        self.widget = widgets.HTML()

    def show(self, figure: Figure, alt: str) -> None:
        """Show ``figure``; ``alt`` says in words what it shows, with its numbers."""
        self.widget.value = str(
            Markup('<figure class="kit-figure"><img alt="{}" src="{}"></figure>').format(
                alt, svg_data_uri(figure)
            )
        )
