"""Numbers as they are typed into a form: the text is kept as it stands, the value is read from it.

What cannot be read or cannot be true is never corrected and never cut off at a limit; it is said
in words beside the box.
"""

from __future__ import annotations

from dataclasses import dataclass

from kit.codebook import Column
from kit.errors import DataError
from kit.numerals import parse_number, say_number


@dataclass(frozen=True)
class NumberRule:
    """What a number box is for, and which values can be true."""

    label: str
    unit: str = ""
    minimum: float | None = None
    maximum: float | None = None
    required: bool = False
    whole: bool = False
    decimals: int = 1
    """Decimals in which limits and stepped values are written."""

    @classmethod
    def of_column(cls, column: Column, decimals: int = 1) -> NumberRule:
        """The rule for a column of the codebook."""
        return cls(
            column.label or column.name,
            column.unit,
            column.minimum,
            column.maximum,
            column.required,
            column.kind == "integer",
            decimals,
        )

    @property
    def name(self) -> str:
        """Label and unit as a screen reader says them: ``Dose (g)``."""
        return f"{self.label} ({self.unit})" if self.unit else self.label

    def read(self, text: str) -> float | None:
        """The number meant by ``text``; None when the box is empty.

        Raises
        ------
        DataError
            If the text is no number, or the number cannot be true here.
        """
        value = parse_number(text, self.unit)
        if value is None:
            if self.required:
                raise DataError(f"{self.label} is empty. Fill it in.")
            return None
        if self.whole and value != round(value):
            raise DataError(f"“{text.strip()}” is not a whole number.")
        below = self.minimum is not None and value < self.minimum
        above = self.maximum is not None and value > self.maximum
        if below or above:
            raise DataError(f"{self._say(value)} cannot be right here. {self.allowed()}")
        return value

    def problem(self, text: str) -> str:
        """What is wrong with ``text``, as a sentence; empty when nothing is."""
        try:
            self.read(text)
        except DataError as error:
            return str(error)
        return ""

    def allowed(self) -> str:
        """The allowed range as a sentence; empty when there is none."""
        low = None if self.minimum is None else self._say(self.minimum)
        high = None if self.maximum is None else self._say(self.maximum)
        if low and high:
            return f"Between {low} and {high}."
        if low:
            return f"At least {low}."
        return f"At most {high}." if high else ""

    def written(self, value: float | None) -> str:
        """A value as it is put into the box, without its unit."""
        if value is None:
            return ""
        return f"{value:.0f}" if self.whole else f"{value:g}"

    def _say(self, value: float) -> str:
        # More decimals than the rule has are shown, never rounded away: 30.04 is not 30.0.
        shown = max(self.decimals, _decimals_of(value)) if not self.whole else _decimals_of(value)
        number = say_number(value, shown)
        return f"{number} {self.unit}" if self.unit else number


def _decimals_of(value: float) -> int:
    """How many decimals a number needs to be written in full (at most 6)."""
    text = f"{value:.6f}".rstrip("0")
    return len(text.partition(".")[2])
