"""What is drawn: the name of an outcome, its unit, the unit of a difference, and its rounding."""

from __future__ import annotations

from dataclasses import dataclass

from kit import codebook


@dataclass(frozen=True)
class Measure:
    """One outcome as it is named on an axis."""

    column: str
    label: str
    unit: str = ""
    difference_unit: str = ""
    decimals: int = 1

    @property
    def axis(self) -> str:
        """Label of an axis that carries the value: name and unit."""
        return f"{self.label} ({self.unit})" if self.unit else self.label

    @property
    def in_text(self) -> str:
        """The name as it stands inside a sentence; abbreviations keep their capitals."""
        return self.label if self.label.isupper() else self.label[:1].lower() + self.label[1:]

    @property
    def difference_axis(self) -> str:
        """Label of an axis that carries a difference: name and unit."""
        unit = f" ({self.difference_unit})" if self.difference_unit else ""
        return f"Difference in {self.in_text}{unit}"


# A difference of two percentages is in points, never in per cent of anything.
_DECIMALS = {"ey_pct": 2, "tds_pct": 2, "brew_ratio": 2, "dose_g": 2}


def measure_of(column: str) -> Measure:
    """The measure kept in ``column``: from the codebook, or a taste attribute by its own name."""
    try:
        entry = codebook.column(column)
    except KeyError:
        return Measure(column, column[:1].upper() + column[1:], "score", "score points", 1)
    difference_unit = "points" if entry.unit == "%" else entry.unit
    label = "TDS" if column == "tds_pct" else entry.label or column
    return Measure(column, label, entry.unit, difference_unit, _DECIMALS.get(column, 1))
