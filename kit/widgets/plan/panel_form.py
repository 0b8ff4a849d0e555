"""Who tastes, and the test that asks whether two methods can be told apart, as a form.

No widgets here. Tasters have codes, never names; the form asks only how many there are.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from kit.trial import Tasting, Trial
from kit.widgets.entry import NumberRule
from kit.widgets.plan.methods import MethodsForm

TESTS = {
    "": "no such test",
    "triangle": "triangle: which of three is the odd one",
    "duo-trio": "duo-trio: which of two is like the first",
    "paired": "paired: which of two has more of it",
}
RULES = {
    "tasters": NumberRule("Tasters", "", 0, 200, whole=True),
    "sittings": NumberRule("Sittings of each taster", "", 1, 40, required=True, whole=True),
    "cups_per_sitting": NumberRule("Cups in a sitting", "", 1, 12, required=True, whole=True),
    "portions_per_shot": NumberRule(
        "Tasters one shot serves", "", 1, 20, required=True, whole=True
    ),
    "sets_per_taster": NumberRule("Sets of each taster", "", 0, 20, required=True, whole=True),
}


@dataclass
class PanelForm:
    """The panel as typed; equal forms say the same."""

    entries: dict[str, str] = field(default_factory=dict)
    """Text of each blank of ``RULES``."""
    test: str = ""
    pair: tuple[int | None, int | None] = (None, None)
    """Numbers of the two methods to tell apart."""
    codes: tuple[str, ...] = ()
    """The codes on file, kept as far as there are tasters."""

    @classmethod
    def of(cls, trial: Trial | None, methods: MethodsForm) -> PanelForm:
        """The form filled from a trial."""
        tasting = Tasting() if trial is None else trial.tasting
        entries = {name: str(getattr(tasting, name)) for name in RULES if name != "tasters"}
        pair = tasting.pair or ("", "")
        return cls(
            {"tasters": str(len(tasting.tasters)), **entries},
            tasting.discrimination,
            (methods.number_of(pair[0]), methods.number_of(pair[1])),
            tasting.tasters,
        )

    def numbers(self) -> dict[str, int]:
        """The blanks as numbers."""
        return {name: int(rule.read(self.entries[name]) or 0) for name, rule in RULES.items()}

    def pair_problem(self, methods: MethodsForm) -> str:
        """What is wrong with the pair to tell apart; empty when nothing is."""
        if not self.test:
            return ""
        if any(number not in methods.numbers for number in self.pair):
            return f"A {self.test} test needs two methods to tell apart. Choose both."
        if self.pair[0] == self.pair[1]:
            return "The two methods to tell apart are the same one. Choose two."
        return ""

    def problems(self, methods: MethodsForm, tasted: bool) -> list[str]:
        """Everything that is wrong, a sentence each; ``tasted``: whether a score is judged."""
        found = []
        for name, rule in RULES.items():
            if problem := rule.problem(self.entries[name]):
                found.append(
                    problem if problem.startswith(rule.label) else f"{rule.label}: {problem}"
                )
        if found:
            return found
        if pair := self.pair_problem(methods):
            found.append(pair)
        if problem := self.panel_problem(tasted):
            found.append(problem)
        return found

    def panel_problem(self, tasted: bool) -> str:
        """What is wrong with the number of tasters; empty when nothing is."""
        if any(rule.problem(self.entries[name]) for name, rule in RULES.items()):
            return ""  # said at the blank itself
        tasters = self.numbers()["tasters"]
        if tasted and tasters < 2:
            who = "nobody tastes" if tasters == 0 else "one taster cannot speak for others"
            return f"A taste score is judged, but {who}. Say two tasters or more."
        if self.test and tasters < 1:
            return f"A {self.test} test is planned, but nobody tastes. Say how many tasters."
        if self.test and self.numbers()["sets_per_taster"] < 1:
            return f"A {self.test} test is planned without a set of cups. Say how many sets."
        return ""

    def values(self, methods: MethodsForm) -> dict[str, Any]:
        """The part of ``[tasting]`` that this form decides."""
        numbers = self.numbers()
        named = [methods.entry(n).name.strip() for n in self.pair if n in methods.numbers]
        pair = {"pair": named} if self.test and len(named) == 2 else {}
        return {
            "tasters": self._codes(numbers.pop("tasters")),
            **numbers,
            "discrimination": self.test,
            **pair,
        }

    def _codes(self, count: int) -> list[str]:
        codes = list(self.codes[:count])
        number = 0
        while len(codes) < count:
            number += 1
            if f"T{number}" not in codes:
                codes.append(f"T{number}")
        return codes
