"""Extraction arithmetic and its uncertainty against the GUM reference values.

Source of ``measurement/gum_ey.json``: first-order propagation by JCGM 100:2008, equations (10) and
(13), computed in R; the arithmetic of EY is common practice (10 % × 40 g / 20 g = 20.0).
"""

import json
import math
from pathlib import Path

import pytest

from kit.errors import DataError
from kit.extraction import Uncertainty, brew_ratio, extraction_yield_pct, yield_uncertainty

CASES = json.loads(
    (Path(__file__).parent / "reference/measurement/gum_ey.json").read_text(encoding="utf-8")
)["cases"]


@pytest.mark.parametrize(
    ("tds", "beverage", "dose", "ey"), [(10, 40, 20, 20.0), (9, 36, 18, 18.0), (9.5, 36, 18, 19.0)]
)
def test_yield_arithmetic(tds: float, beverage: float, dose: float, ey: float) -> None:
    assert extraction_yield_pct(tds, beverage, dose) == pytest.approx(ey, rel=1e-15)
    assert brew_ratio(dose, beverage) == beverage / dose


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['ey_percent']:.3f}")
def test_uncertainty_matches_gum(case: dict) -> None:
    u = Uncertainty(case["u_tds"], case["u_beverage"], case["u_dose"])
    got = yield_uncertainty(
        case["tds_percent"], case["beverage_g"], case["dose_g"], u, case["corr_beverage_dose"]
    )
    assert got.ey_pct == pytest.approx(case["ey_percent"], rel=1e-10)
    assert got.u_ey_pct == pytest.approx(case["u_ey"], rel=1e-10)


def test_resolution_is_a_rectangular_half_step() -> None:
    u = Uncertainty.from_resolutions(0.01, 0.1, 0.1)
    assert u.beverage_g == pytest.approx(0.1 / math.sqrt(12))


def test_impossible_inputs_are_refused() -> None:
    with pytest.raises(DataError, match="above zero"):
        yield_uncertainty(0.0, 36.0, 18.0, Uncertainty(0.01, 0.1, 0.1))
    with pytest.raises(DataError, match="cannot be negative"):
        yield_uncertainty(9.0, 36.0, 18.0, Uncertainty(-0.01, 0.1, 0.1))
