"""Pictures on the screen: an image with alternative text, drawn as SVG, with nothing to flicker."""

from __future__ import annotations

import base64

import ipywidgets as widgets
from markupsafe import Markup

from kit.figures.picture import Picture, to_svg


def svg_data_uri(picture: Picture) -> str:
    """``picture`` as an address that holds the whole SVG."""
    svg = to_svg(picture.figure, picture.name)
    return "data:image/svg+xml;base64," + base64.b64encode(svg).decode("ascii")


class PictureWidget:
    """A place for a picture; ``show`` puts a new one there without a blank in between."""

    def __init__(self) -> None:
        self.widget = widgets.HTML()

    def show(self, picture: Picture) -> None:
        """Show ``picture`` with its words as alternative text."""
        self.widget.value = str(
            Markup('<figure class="kit-figure"><img alt="{}" src="{}"></figure>').format(
                picture.alt, svg_data_uri(picture)
            )
        )
