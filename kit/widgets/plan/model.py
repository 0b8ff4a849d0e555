"""The plan as a form: what is asked and what there is to answer it with. No widgets here."""

from __future__ import annotations

from typing import Any

import tomlkit

from kit.codebook import column
from kit.errors import PlanError
from kit.trial import Outcome, trial_from_toml, write_trial
from kit.widgets.entry import NumberRule
from kit.widgets.panel_model import SCHEDULE_FILE, PanelModel

_UNITS = {"spread": "times", "rate": "share"}


class PlanModel(PanelModel):
    """The blanks of the plan, as typed, and what they make of the trial once saved."""

    def read_folder(self) -> None:
        """Fill the blanks from the trial."""
        self.question = self.trial.question if self.trial is not None else ""
        self.rules = _rules(self.trial.primary) if self.trial is not None else {}
        self.entries = self._saved_entries()

    @property
    def editable(self) -> bool:
        """Whether the plan may still be changed."""
        return self.trial is not None and not self.sealed

    @property
    def changed(self) -> bool:
        """Whether something was typed that is not in the file yet."""
        if self.trial is None:
            return False
        return self.entries != self._saved_entries() or self.question != self.trial.question

    def write_question(self, text: str) -> None:
        """Take the question as typed."""
        self.question = text
        self.touch()

    def type_in(self, name: str, text: str) -> None:
        """Take the text of one blank as typed; nothing is saved yet."""
        self.entries[name] = text
        self.touch()

    def problems(self) -> list[str]:
        """What is wrong with the blanks, a sentence each."""
        found = [
            (rule.label, rule.problem(self.entries[name])) for name, rule in self.rules.items()
        ]
        said = [
            problem if problem.startswith(label) else f"{label}: {problem}"
            for label, problem in found
            if problem
        ]
        return [*([] if self.question.strip() else ["The question is empty."]), *said]

    def unmet(self) -> list[str]:
        """What is still missing before the first shot may be pulled."""
        if self.trial is None:
            return super().unmet()
        unmet = self.problems()
        if self.changed:
            unmet.append("What you changed is not saved yet.")
        if not self.has(SCHEDULE_FILE):
            unmet.append("The schedule is not drawn yet.")
        if not self.sealed:
            unmet.append("Plan and schedule are not sealed yet; no shot counts before they are.")
        return unmet

    def save(self) -> None:
        """Write the blanks into ``trial.toml``; comments in it are kept.

        Raises
        ------
        PlanError
            If the plan is sealed, or the blanks do not make a trial; the file is then untouched.
        """
        if self.trial is None or not self.editable:
            raise PlanError("The plan is sealed. A change from here on is a deviation: log it.")
        if problems := self.problems():
            raise PlanError("\n".join(problems))
        values = self.trial.model_dump(mode="json", exclude_none=True)
        self._put_into(values)
        write_trial(trial_from_toml(tomlkit.dumps(values)), self.folder)
        self.refresh()

    def size(self) -> dict[str, float]:
        """The size of the plan as saved: study shots in all, and for each method."""
        if self.trial is None:
            return {}
        each = self.trial.shots_per_method_planned
        return {"all": each * len(self.trial.methods), "each": each}

    def _saved_entries(self) -> dict[str, str]:
        if self.trial is None:
            return {}
        saved = {
            "smallest_difference": self.trial.primary.smallest_difference,
            "sessions": self.trial.layout.sessions,
            "blocks_per_session": self.trial.layout.blocks_per_session,
            "coffee_g": self.trial.budget.coffee_g,
        }
        return {name: self.rules[name].written(value) for name, value in saved.items()}

    def _put_into(self, values: dict[str, Any]) -> None:
        read = {name: rule.read(self.entries[name]) for name, rule in self.rules.items()}
        values["question"] = self.question.strip()
        for outcome in values["outcomes"]:
            if outcome["role"] == "primary":
                outcome["smallest_difference"] = read["smallest_difference"]
        for name in ("sessions", "blocks_per_session"):
            values["layout"][name] = int(read[name] or 0)
        values["budget"].pop("coffee_g", None)
        if read["coffee_g"] is not None:
            values["budget"]["coffee_g"] = read["coffee_g"]


def _rules(primary: Outcome) -> dict[str, NumberRule]:
    unit = _UNITS.get(primary.aspect) or _unit_of(primary.measure)
    return {
        "smallest_difference": NumberRule(
            "Smallest difference that matters", unit, 0.001, required=True, decimals=2
        ),
        "sessions": NumberRule("Sessions", "", 1, 200, required=True, whole=True),
        "blocks_per_session": NumberRule(
            "Blocks in a session", "", 1, 200, required=True, whole=True
        ),
        "coffee_g": NumberRule("Coffee there is", "g", 1, 100_000, decimals=0),
    }


def _unit_of(measure: str) -> str:
    """The unit of a difference: percentages differ by points; a taste score has no unit."""
    try:
        unit = column(measure).unit
    except KeyError:
        return "points"
    return "points" if unit == "%" else unit
