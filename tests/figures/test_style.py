"""Colours that stay apart: to every kind of eye, in grey, on both grounds."""

from itertools import combinations

import numpy as np
import pytest

from kit.figures.style import DARK, LIGHT, Theme, method_marks
from tests.figures.color_science import MACHADO_2009, ciede2000, contrast, seen_by

THEMES = pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda theme: theme.name)


@pytest.mark.parametrize(
    ("first", "second", "difference"),
    [
        # Sharma, Wu and Dalal (2005), table 1, pairs 1, 17 (from memory), 20 (from memory)
        ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
        ((50, 2.5, 0), (73, 25, -18), 27.1492),
        ((50, 2.5, 0), (50, 3.2592, 0.3350), 1.0000),
    ],
)
def test_the_colour_difference_is_ciede2000(first, second, difference):
    found = ciede2000(np.array(first, float), np.array(second, float))
    assert found == pytest.approx(difference, abs=5e-5)


def test_contrast_is_that_of_wcag():
    """Black on white is 21:1 by definition; #767676 on white is the usual 4.54:1 example."""
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)


@THEMES
def test_every_text_colour_reaches_4_5_on_card_and_shade(theme: Theme):
    """WCAG 2.2, 1.4.3 (AA): 4.5:1 for text."""
    for color in (theme.ink, theme.muted, theme.accent, theme.alert):
        assert contrast(color, theme.card) >= 4.5
        assert contrast(color, theme.shade) >= 4.5


@THEMES
def test_every_mark_reaches_3_on_card_and_shade(theme: Theme):
    """WCAG 2.2, 1.4.11 (AA): 3:1 for graphics."""
    for color in theme.methods:
        assert contrast(color, theme.card) >= 3.0
        assert contrast(color, theme.shade) >= 3.0


# The first so many method colours differ by at least so much (CIEDE2000) to each kind of eye.
APART = {2: 50.0, 4: 23.0, 7: 12.5, 12: 11.0}


@THEMES
@pytest.mark.parametrize("vision", sorted(MACHADO_2009))
@pytest.mark.parametrize(("count", "least"), APART.items())
def test_method_colours_stay_apart_to_every_eye(theme: Theme, vision: str, count: int, least):
    seen = [seen_by(color, vision) for color in theme.methods[:count]]
    assert min(ciede2000(a, b) for a, b in combinations(seen, 2)) >= least


@THEMES
def test_lightness_orders_the_first_four_in_grey(theme: Theme):
    """Any two of the first four colours differ by 4 or more in CIELAB lightness; beyond that grey
    rests on marker and line style, which are all different."""
    lightness = sorted(seen_by(color, "normal")[0] for color in theme.methods[:4])
    assert np.diff(lightness).min() >= 4.0


@THEMES
def test_no_two_of_forty_methods_share_all_their_signs(theme: Theme):
    marks = method_marks([f"m{place}" for place in range(40)], theme)
    assert len({(mark.marker, mark.color, mark.hollow) for mark in marks.values()}) == 40
    first = list(marks.values())[:12]
    assert len({mark.marker for mark in first}) == 12
    assert len({mark.dashes for mark in first}) == 12


def test_signs_depend_on_the_place_of_a_method_alone():
    assert method_marks(("a", "b"), LIGHT)["a"] == method_marks(("a", "c", "d"), LIGHT)["a"]
