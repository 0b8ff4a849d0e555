"""Everything of a plan that can be typed, and the trial it makes.

No widgets here. Texts are kept as typed; what is wrong with them is said in sentences.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import tomlkit
from pydantic import ValidationError

from kit.trial import Noise, Trial, trial_from_toml
from kit.widgets.entry import NumberRule
from kit.widgets.plan.blanks import SIZE, put_blanks, rules_of, saved_blanks
from kit.widgets.plan.methods import MethodsForm
from kit.widgets.plan.outcomes import OutcomesForm
from kit.widgets.plan.panel_form import PanelForm


@dataclass
class PlanForms:
    """The parts of the plan as typed; equal forms say the same."""

    question: str = ""
    noise: Noise = field(default_factory=Noise)
    """The noise as it was last measured or guessed; the blank may say another SD."""
    blanks: dict[str, str] = field(default_factory=dict)
    methods: MethodsForm = field(default_factory=MethodsForm)
    outcomes: OutcomesForm = field(default_factory=OutcomesForm)
    panel: PanelForm = field(default_factory=PanelForm)

    @classmethod
    def of(cls, trial: Trial | None) -> PlanForms:
        """The forms filled from a trial; empty without one."""
        if trial is None:
            return cls()
        methods = MethodsForm.of(trial)
        return cls(
            trial.question,
            trial.noise,
            saved_blanks(trial),
            methods,
            OutcomesForm.of(trial),
            PanelForm.of(trial, methods),
        )

    @property
    def rules(self) -> dict[str, NumberRule]:
        """What each blank of the sentence is for."""
        return rules_of(self.outcomes)

    @property
    def entries(self) -> dict[str, str]:
        """The blanks of the sentence as typed."""
        return {SIZE: self.outcomes.primary.size, **self.blanks}

    @property
    def tasted(self) -> bool:
        """Whether a taste score is judged."""
        return any(entry.aspect == "score" for entry in self.outcomes.entries)

    def type_in(self, name: str, text: str) -> None:
        """Take the text of one blank of the sentence."""
        if name == SIZE:
            self.outcomes.primary.size = text
        else:
            self.blanks[name] = text

    def make_primary(self, number: int) -> None:
        """Let the claim rest on another outcome; another measure needs a noise of its own."""
        before = self.outcomes.noise_measure
        self.outcomes.make_primary(number)
        if self.outcomes.noise_measure != before:
            self.blanks["shot_sd"] = ""

    def take_noise(self, noise: Noise) -> None:
        """Take a noise that was measured."""
        self.noise = noise
        self.blanks["shot_sd"] = f"{noise.shot_sd:g}"

    def problems(self) -> list[str]:
        """What is wrong or missing, a sentence each."""
        blanks = [
            problem if problem.startswith(rule.label) else f"{rule.label}: {problem}"
            for name, rule in self.rules.items()
            if name != SIZE and (problem := rule.problem(self.blanks[name]))
        ]
        return [
            *([] if self.question.strip() else ["The question is empty."]),
            *self.methods.problems(),
            *self.outcomes.problems(self.methods.control is not None),
            *blanks,
            *self.panel.problems(self.methods, self.tasted),
        ]

    def trial(self, saved: Trial) -> Trial:
        """The trial that the forms make; all they do not ask for is as in ``saved``.

        Raises
        ------
        PlanError
            If they make none.
        """
        values = saved.model_dump(mode="json", exclude_none=True)
        values["question"] = self.question.strip()
        values["methods"] = self.methods.values()
        values["outcomes"] = self.outcomes.values()
        values["noise"] = self._noise()
        self._put_tasting(values["tasting"], saved)
        put_blanks(
            values, {name: self.rules[name].read(text) for name, text in self.blanks.items()}
        )
        try:
            return Trial.model_validate(values)
        except ValidationError:
            # The words for a person are made where files are read.
            return trial_from_toml(tomlkit.dumps(values))

    def _noise(self) -> dict[str, Any]:
        if self.blanks["shot_sd"] == f"{self.noise.shot_sd:g}":
            return self.noise.model_dump(exclude_none=True)
        return {
            "shot_sd": self.rules["shot_sd"].read(self.blanks["shot_sd"]),
            "session_sd": self.noise.session_sd,
            "block_sd": self.noise.block_sd,
            "provenance": Noise().provenance,
        }

    def _put_tasting(self, tasting: dict[str, Any], saved: Trial) -> None:
        """Panel, test and scales; attributes that no outcome judges stay as they are."""
        judged = {outcome.measure for outcome in saved.outcomes}
        judged |= {entry.measure.strip() for entry in self.outcomes.entries}
        unjudged = [one for one in tasting["attributes"] if one["name"] not in judged]
        tasting["attributes"] = [*self.outcomes.attributes(), *unjudged]
        tasting.pop("pair", None)
        tasting |= self.panel.values(self.methods)
