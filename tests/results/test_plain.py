"""A stranger's plain table: analysed as far as it goes, and its limits said."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from kit.analysis.sensitivity import OWN_SDS
from kit.errors import KitError
from kit.results.compute import Results
from kit.results.plain import analyse_plain_table

NOW = datetime(2026, 5, 7, tzinfo=UTC)


def analysed(folder: Path, *lines: str) -> Results:
    path = folder / "theirs.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return analyse_plain_table(path, NOW)


@pytest.fixture
def two_methods() -> list[str]:
    rng = np.random.default_rng(1)
    return [
        f"{method};{19 + gain + 0.4 * rng.normal():.2f}".replace(".", ",")
        for method, gain in (("Plain", 0.0), ("Paper", 0.8))
        for _ in range(10)
    ]


def test_method_and_yield_are_enough_and_everything_unknown_is_said(two_methods, tmp_path):
    results = analysed(tmp_path, "method;EY (%)", *two_methods)
    findings = results.findings
    assert findings.headline == "Extraction: Paper comes out highest; Plain is behind."
    limits = " ".join(findings.limits)
    for unknown in ("not drawn at random", "order in which the shots were pulled is not known",
                    "not grouped into blocks", "same session", "Who knew"):  # fmt: skip
        assert unknown in limits


def test_nothing_is_said_of_an_order_nobody_wrote_down(two_methods, tmp_path):
    analysis = analysed(tmp_path, "method;EY (%)", *two_methods).analysis
    assert not {"order_effects", "carry_over", "residual_order", "redrawn_schedules"} & set(
        analysis.extra_notes
    )
    variants = set(analysis.extras["sensitivity"]["variant"])
    assert variants == {"as declared", OWN_SDS, "robust against odd shots"}


def test_an_order_that_was_written_down_is_used(two_methods, tmp_path):
    numbered = [f"{number};{line}" for number, line in enumerate(two_methods, start=1)]
    analysis = analysed(tmp_path, "shot;method;EY (%)", *numbered).analysis
    assert "order_effects" in analysis.extra_notes


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (("method,EY", "A,19", "A,20"), "names 1 method"),
        (("recipe? no", "A,19"), "no column headed “method”"),
        (("method,EY", "A,inf", "A,19", "B,20", "B,21"), "not a number"),
    ],
)
def test_a_table_that_cannot_be_compared_is_refused_in_words(lines, words, tmp_path):
    with pytest.raises(KitError, match=words):
        analysed(tmp_path, *lines)


def test_shots_that_are_all_equal_are_answered_in_words(tmp_path):
    rows = ["A,19"] * 5 + ["B,19"] * 5
    findings = analysed(tmp_path, "method,EY", *rows).findings
    assert findings.headline.startswith("The main question cannot be answered")
