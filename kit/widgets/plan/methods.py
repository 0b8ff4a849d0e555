"""The methods as a form: names, recipes, and which of them is the control.

No widgets here. A method keeps its number while it is renamed, so that whatever points to it (the
control, the pair of a taste test) goes along with it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from kit.errors import PlanError
from kit.planning.inputs import MOST_METHODS
from kit.trial import Trial

LONGEST_NAME = 120


@dataclass
class MethodEntry:
    """One method as typed."""

    number: int
    name: str = ""
    recipe: str = ""
    settings: dict[str, str] = field(default_factory=dict)


@dataclass
class MethodsForm:
    """All methods as typed; equal forms say the same."""

    entries: list[MethodEntry] = field(default_factory=list)
    control: int | None = None
    """Number of the control, None where there is none."""
    factors: tuple[str, ...] = ()
    """Names of the factors; each method is then one combination of their levels."""
    _next: int = field(default=0, compare=False)

    @classmethod
    def of(cls, trial: Trial | None) -> MethodsForm:
        """The form filled from a trial."""
        methods = () if trial is None else trial.methods
        entries = [
            MethodEntry(number, method.name, method.recipe, dict(method.settings))
            for number, method in enumerate(methods)
        ]
        control = next((n for n, method in enumerate(methods) if method.control), None)
        factors = () if trial is None else tuple(factor.name for factor in trial.factors)
        return cls(entries, control, factors, len(entries))

    @property
    def combined(self) -> bool:
        """Whether the methods are the cells of a factorial, which are neither added nor removed."""
        return bool(self.factors)

    @property
    def numbers(self) -> list[int]:
        """The numbers of the methods in their order."""
        return [entry.number for entry in self.entries]

    def entry(self, number: int) -> MethodEntry:
        """The method with this number."""
        return next(entry for entry in self.entries if entry.number == number)

    def name_of(self, number: int) -> str:
        """Its name, or its place where it has none yet."""
        entry = self.entry(number)
        return entry.name.strip() or f"method {self.numbers.index(number) + 1}"

    def number_of(self, name: str) -> int | None:
        """The number of a method by its name."""
        return next((entry.number for entry in self.entries if entry.name == name), None)

    def add(self) -> int:
        """One more method, still without a name; returns its number.

        Raises
        ------
        PlanError
            In a factorial, or when there are as many as a trial can compare.
        """
        self._refuse_in_a_factorial()
        if len(self.entries) >= MOST_METHODS:
            raise PlanError(
                f"One trial compares at most {MOST_METHODS} methods. Split them into several "
                "trials that share a control."
            )
        number, self._next = self._next, self._next + 1
        self.entries.append(MethodEntry(number))
        return number

    def remove(self, number: int) -> None:
        """Take a method out; a control that is taken out is no control any more."""
        self._refuse_in_a_factorial()
        self.entries = [entry for entry in self.entries if entry.number != number]
        if self.control == number:
            self.control = None

    def problem(self, number: int) -> str:
        """What is wrong with the name of a method; empty when nothing is."""
        name = self.entry(number).name.strip()
        if not name:
            return "This method has no name yet. Name it, or remove it."
        if len(name) > LONGEST_NAME:
            return f"A name has at most {LONGEST_NAME} characters; this one has {len(name)}."
        if any(entry.name.strip() == name for entry in self.entries if entry.number != number):
            return f"Another method is called “{name}” too. Give each its own name."
        return ""

    def problems(self) -> list[str]:
        """Everything that is wrong, a sentence each."""
        few = len(self.entries) < 2
        count = "no method" if not self.entries else "one method"
        return [
            *([f"There is {count}; a comparison needs two or more. Add a method."] if few else []),
            *(
                f"Method {place}: {problem}"
                for place, number in enumerate(self.numbers, start=1)
                if (problem := self.problem(number))
            ),
        ]

    def values(self) -> list[dict[str, Any]]:
        """The methods as they stand in ``trial.toml``."""
        return [
            {
                "name": entry.name.strip(),
                "recipe": entry.recipe.strip(),
                "control": entry.number == self.control,
                "settings": dict(entry.settings),
            }
            for entry in self.entries
        ]

    def _refuse_in_a_factorial(self) -> None:
        if self.combined:
            raise PlanError(
                "The methods of this trial are the combinations of its factors "
                f"({', '.join(self.factors)}). Change factors and levels in trial.toml."
            )
