"""What each figure says and refuses: alternative texts, marks of what was set aside, errors."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from matplotlib.text import Text

from kit import figures
from kit.errors import DataError
from kit.figures import Setting, measure_of, to_svg
from kit.figures.style import DARK, PAGE, PHONE, STILL_TALL
from kit.trial import Recipe
from tests.figures import invented
from tests.figures.gallery import EY, MARK, NAMES, gallery

RECIPE = Recipe(dose_g=17.5, beverage_g=36)
SETTING = Setting(invented.methods(4), mark=MARK)


def words_on(figure) -> str:
    return " ".join(text.get_text() for text in figure.findobj(Text))


@pytest.mark.parametrize("name", NAMES)
def test_every_figure_carries_its_mark_unit_and_words(name: str):
    picture = gallery(4)[name]()
    assert len(picture.alt) > 40
    assert "nan" not in picture.alt.lower()
    shown = words_on(picture.draw(PAGE)).replace("\n", " ")
    assert "Invented example" in shown


def test_the_alternative_text_of_means_holds_every_number():
    table = invented.shots(4)
    means = invented.means(table)
    alt = figures.adjusted_means(means, invented.kept(table), EY, SETTING).alt
    for row in means.itertuples():
        said = f"{row.method}: {row.estimate:.2f} % (95 % interval {row.lower:.2f} to "
        assert f"{said}{row.upper:.2f}; {row.n} shots)" in alt


def test_the_alternative_text_of_differences_holds_every_number_and_verdict():
    pairs = invented.pairs(invented.shots(4))
    alt = figures.differences(pairs, EY, 0.5, SETTING).alt
    for row in pairs.itertuples():
        estimate = f"{row.estimate:+.2f}".replace("-", "−")
        assert f"{row.a} minus {row.b}: {estimate} points" in alt
    assert alt.count("cannot tell") == (pairs["verdict"] == "cannot tell").sum()


def test_the_alternative_text_of_fault_rates_counts_shots():
    rates = invented.rates(invented.shots(4))
    alt = figures.fault_rates(rates, SETTING).alt
    for row in rates.itertuples():
        assert f"{row.method}: {row.faulty} of {row.n} shots, {100 * row.rate:.0f} %" in alt


def test_taste_between_methods_says_both_means_of_each():
    table = invented.shots(4)
    cups = invented.tastings(table)
    scores, means = invented.scores(cups[cups["attribute"] == "liking"]), invented.means(table)
    alt = figures.taste_between_methods(scores, means, EY, "liking", SETTING).alt
    for row in means.itertuples():
        score = scores.loc[scores["method"] == row.method, "estimate"].item()
        assert f"{row.method}: extraction yield {row.estimate:.2f} (interval " in alt
        assert f"liking {score:.1f} (interval" in alt
    with pytest.raises(DataError, match="nothing to draw yet"):
        figures.taste_between_methods(scores.iloc[:0], means, EY, "liking", SETTING)


def test_shots_set_aside_and_out_of_tolerance_are_named():
    table = invented.shots(4)
    picture = figures.shots_in_order(table, EY, RECIPE, SETTING)
    replaced = table.loc[table["status"] == "replaced", "shot"].tolist()
    study = table["role"] == "study"
    missed = table.loc[study & ((table["beverage_g"] - 36).abs() > 1), "shot"].tolist()
    assert f"Replaced or lost: shot {', '.join(map(str, replaced))}." in picture.alt
    assert f"Mass out of tolerance: shot {', '.join(map(str, missed))}." in picture.alt
    assert "mass out of tolerance" in words_on(picture.figure)


def test_shots_without_a_reading_are_counted_not_hidden():
    table = invented.shots(4)
    table.loc[[3, 8], "ey_pct"] = np.nan
    shown = words_on(figures.shots_in_order(table, EY, RECIPE, SETTING).figure)
    assert "2 pulled without a reading" in shown


def test_raw_values_are_all_drawn():
    """Every kept shot is a mark of its own: none is hidden by a summary."""
    table = invented.shots(4)
    kept = invented.kept(table)
    figure = figures.adjusted_means(invented.means(table), kept, EY, SETTING).figure
    drawn = [
        float(x)
        for line in figure.axes[0].lines
        if line.get_linestyle() == "None" and line.get_zorder() == 3
        for x in np.atleast_1d(line.get_xdata())
    ]
    assert sorted(drawn) == pytest.approx(sorted(kept["ey_pct"]))


def test_a_missing_column_and_an_empty_table_are_said_in_words():
    table = invented.shots(4)
    with pytest.raises(DataError, match="means figure needs the columns lower, upper"):
        figures.adjusted_means(
            invented.means(table).drop(columns=["lower", "upper"]), table, EY, SETTING
        )
    with pytest.raises(DataError, match="nothing to draw yet"):
        figures.differences(invented.pairs(table).iloc[:0], EY, 0.5, SETTING)
    with pytest.raises(DataError, match="names the method “Thaw”"):
        figures.fault_rates(invented.rates(table), Setting(("Harbour", "Fjord", "Cellar")))


def test_one_shot_a_method_and_endless_intervals_are_drawn():
    """With one shot there is no interval; a ratio may be open at one end."""
    means = pd.DataFrame(
        {"method": ["Harbour", "Fjord"], "n": 1, "estimate": [19.0, 20.0], "lower": np.nan,
         "upper": np.nan}
    )  # fmt: skip
    shots = pd.DataFrame({"method": ["Harbour", "Fjord"], "ey_pct": [19.0, 20.0]})
    picture = figures.adjusted_means(means, shots, EY, SETTING)
    assert "interval – to –" in picture.alt
    to_svg(picture.figure, "one")
    ratios = pd.DataFrame(
        {"a": ["Harbour"], "b": ["Fjord"], "ratio": [2.0], "lower": [0.0], "upper": [np.inf],
         "verdict": ["cannot tell"]}
    )  # fmt: skip
    to_svg(figures.spread_ratios(ratios, EY, 1.5, SETTING).figure, "ratio")


HOSTILE = ("$\\frac{1}{0}$", "a_b^c & <svg>", "日本語 🫘", "x\ny\tz", "W" * 120)


@pytest.mark.parametrize("canvas", [PAGE, PHONE, STILL_TALL], ids=["page", "phone", "tall"])
def test_names_with_any_signs_are_drawn_as_text(canvas):
    table = invented.shots(5)
    table["method"] = table["method"].replace(dict(zip(invented.methods(5), HOSTILE, strict=True)))
    setting = Setting(HOSTILE, headline="$x_$ <b>bold</b>", mark="100 % $invented$")
    for picture in (
        figures.shots_in_order(table, EY, RECIPE, setting),
        figures.adjusted_means(invented.means(table), invented.kept(table), EY, setting),
        figures.differences(invented.pairs(table), EY, 0.5, setting),
    ):
        figure = picture.draw(canvas)
        assert b"<b>" not in to_svg(figure, picture.name)
    assert "$x_$ <b>bold</b>" in words_on(figure)


def test_the_dark_theme_leaves_no_colour_of_the_light_one():
    from dataclasses import replace

    from kit.figures.style import LIGHT

    for make in gallery(4).values():
        picture = make()
        svg = to_svg(picture.draw(replace(PAGE, theme=DARK)), picture.name).decode().lower()
        only_light = {LIGHT.card, LIGHT.ink, LIGHT.muted, LIGHT.shade, LIGHT.accent, LIGHT.alert}
        assert not [color for color in only_light if color.lower() in svg], picture.name


def test_measures_are_named_from_the_codebook():
    assert measure_of("ey_pct").axis == "Extraction yield (%)"
    assert measure_of("ey_pct").difference_axis == "Difference in extraction yield (points)"
    assert measure_of("shot_time_s").difference_unit == "s"
    assert measure_of("liking").axis == "Liking (score)"


def test_pairs_of_factor_levels_are_drawn_as_rows():
    """A factorial compares levels, which are no methods."""
    pairs = pd.DataFrame(
        {"a": ["one"], "b": ["none"], "estimate": [0.5], "lower": [0.1], "upper": [0.9],
         "verdict": ["different"]}
    )  # fmt: skip
    picture = figures.differences(pairs, EY, 0.4, SETTING)
    assert "one − none" in words_on(picture.draw(STILL_TALL))


def test_a_contrast_without_a_second_side_stands_alone():
    """An interaction of a factorial is one contrast, not a pair."""
    pairs = pd.DataFrame(
        {"variant": "as planned", "a": ["disc with soak"], "b": [""], "estimate": [0.1],
         "lower": [-0.3], "upper": [0.5], "verdict": ["cannot tell"]}
    )  # fmt: skip
    picture = figures.differences(pairs, EY, 0.4, SETTING)
    grid = figures.sensitivity_grid(pairs, EY, SETTING)
    for one in (picture, grid):
        shown = words_on(one.figure)
        assert "disc with soak" in shown
        assert "soak −" not in shown
    assert "disc with soak: +0.10 points" in picture.alt


def test_verdict_grids_name_pairs_whose_verdict_moves():
    checks = invented.sensitivity(invented.shots(4))
    alt = figures.sensitivity_grid(checks, EY, SETTING).alt
    planned = checks[checks["variant"] == "as planned"].set_index(["a", "b"])["verdict"]
    moved = {
        (row.a, row.b) for row in checks.itertuples() if row.verdict != planned[(row.a, row.b)]
    }
    assert {(a, b) for a, b in moved if f"{a} against {b} moves in" in alt} == moved
    assert f"{len(planned) - len(moved)} keep their verdict in all" in alt
