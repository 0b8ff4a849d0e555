"""Brew ratio, extraction yield, and how well scale and meter let us know them.

Extraction yield in percent is EY = TDS % × beverage mass / dose. The beverage is always the
weighed one: a nominal mass would inject about half a point of EY for each gram it is off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

from kit.errors import DataError

Numbers = TypeVar("Numbers", bound=object)


def brew_ratio(dose_g: Numbers, beverage_g: Numbers) -> Numbers:
    """Beverage mass over dose (floats, arrays or Series alike)."""
    return beverage_g / dose_g  # type: ignore[operator]


def extraction_yield_pct(tds_pct: Numbers, beverage_g: Numbers, dose_g: Numbers) -> Numbers:
    """Extraction yield in percent of the dose (floats, arrays or Series alike).

    ``extraction_yield_pct(9.0, 36.0, 18.0)`` is 18.0.
    """
    return tds_pct * beverage_g / dose_g  # type: ignore[operator]


@dataclass(frozen=True)
class Uncertainty:
    """Standard uncertainties (k = 1) of the three inputs, in their own units."""

    tds_pct: float
    beverage_g: float
    dose_g: float

    @classmethod
    def from_resolutions(cls, tds_pct: float, beverage_g: float, dose_g: float) -> Uncertainty:
        """From display steps: a step d has standard uncertainty d/√12 (JCGM 100:2008, F.2.2.1)."""
        return cls(*(step / math.sqrt(12.0) for step in (tds_pct, beverage_g, dose_g)))


@dataclass(frozen=True)
class YieldUncertainty:
    """Combined standard uncertainty of one extraction yield and where it comes from."""

    ey_pct: float
    u_ey_pct: float
    share_tds: float
    share_beverage: float
    share_dose: float


def yield_uncertainty(
    tds_pct: float,
    beverage_g: float,
    dose_g: float,
    u: Uncertainty,
    corr_beverage_dose: float = 0.0,
) -> YieldUncertainty:
    """Propagate input uncertainties to EY by the first-order law.

    ``corr_beverage_dose`` is the correlation of the two weighings (one scale for both: > 0).

    Source: JCGM 100:2008, equations (10) and (13).

    Raises
    ------
    DataError
        If a mass or reading is not positive, or an uncertainty is negative.
    """
    if min(tds_pct, beverage_g, dose_g) <= 0:
        raise DataError("TDS, beverage and dose must be above zero to compute an extraction yield.")
    if min(u.tds_pct, u.beverage_g, u.dose_g) < 0 or abs(corr_beverage_dose) > 1:
        raise DataError("An uncertainty cannot be negative, nor a correlation beyond ±1.")
    ey = extraction_yield_pct(tds_pct, beverage_g, dose_g)
    from_tds = ey / tds_pct * u.tds_pct
    from_beverage = ey / beverage_g * u.beverage_g
    from_dose = -ey / dose_g * u.dose_g
    variance = (
        from_tds**2
        + from_beverage**2
        + from_dose**2
        + 2.0 * corr_beverage_dose * from_beverage * from_dose
    )
    total = math.sqrt(max(variance, 0.0))
    shares = [
        part**2 / variance if variance > 0 else 0.0 for part in (from_tds, from_beverage, from_dose)
    ]
    return YieldUncertainty(ey, total, *shares)
