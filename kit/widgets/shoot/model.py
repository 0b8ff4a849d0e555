"""One shot as it is typed in: its masses and reading, and what follows from them. No widgets."""

from __future__ import annotations

from kit.codebook import column
from kit.errors import DataError
from kit.extraction import brew_ratio, extraction_yield_pct
from kit.numerals import say_number
from kit.widgets.entry import NumberRule
from kit.widgets.panel_model import SCHEDULE_FILE, PanelModel

_DECIMALS = {"dose_g": 2, "beverage_g": 1, "tds_pct": 2}
RULES = {name: NumberRule.of_column(column(name), places) for name, places in _DECIMALS.items()}


class ShootModel(PanelModel):
    """The numbers of a shot, as typed."""

    def read_folder(self) -> None:
        """Start with empty boxes."""
        self.entries = dict.fromkeys(RULES, "")

    def type_in(self, name: str, text: str) -> None:
        """Take the text of one box as typed."""
        self.entries[name] = text
        self.touch()

    def value(self, name: str) -> float | None:
        """The number in a box; None while it is empty or cannot be right."""
        try:
            return RULES[name].read(self.entries[name])
        except DataError:
            return None

    def hint(self, name: str) -> str:
        """What the recipe wants of a box, in words."""
        if self.trial is None:
            return ""
        recipe = self.trial.recipe
        targets = {
            "dose_g": (recipe.dose_g, recipe.dose_tolerance_g),
            "beverage_g": (recipe.beverage_g, recipe.beverage_tolerance_g),
        }
        if name not in targets:
            return ""
        target, tolerance = targets[name]
        return f"Wanted: {target:g} ± {tolerance:g} {RULES[name].unit}."

    def computed(self) -> dict[str, str]:
        """Brew ratio and extraction yield in words for as much as is known."""
        dose, beverage, tds = (self.value(name) for name in RULES)
        said = {"Brew ratio": "–", "Extraction yield": "–"}
        if dose is not None and beverage is not None:
            said["Brew ratio"] = f"1 : {say_number(float(brew_ratio(dose, beverage)), 2)}"
            if tds is not None:
                ey = float(extraction_yield_pct(tds, beverage, dose))
                said["Extraction yield"] = f"{say_number(ey, 2)} %"
        return said

    def tolerance_verdict(self) -> str:
        """Whether both masses are as the recipe wants them; empty until both are known."""
        dose, beverage = self.value("dose_g"), self.value("beverage_g")
        if self.trial is None or dose is None or beverage is None:
            return ""
        if self.trial.recipe.in_tolerance(dose, beverage):
            return "Dose and beverage are within tolerance."
        return "Out of tolerance: by the declared rule this shot is replaced, and both are kept."

    def unmet(self) -> list[str]:
        """What is still missing before shots can be logged."""
        if self.trial is None:
            return super().unmet()
        unmet = []
        if not self.has(SCHEDULE_FILE):
            unmet.append("The schedule is not drawn yet. Draw it in 1_plan.")
        if not self.sealed:
            unmet.append("Plan and schedule are not sealed yet. Seal them in 1_plan.")
        return unmet
