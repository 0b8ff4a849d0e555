"""What a plan can tell and what it takes: all that the page shows, from a trial and its layout."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from kit.errors import KitError
from kit.figures import luck_gallery, measure_of, power_curves
from kit.figures.picture import Picture, Setting
from kit.planning.answers import AnswerTable, answer_table, intervals_shown, sentences_of
from kit.planning.budget import Cost, cost_of, over_budget
from kit.planning.laid_out import LaidOut
from kit.planning.luck import luck_gallery as virtual_results
from kit.planning.luck import luck_summary
from kit.planning.questions import noise_measure, outcome_of_means
from kit.planning.taste_answers import TasteTable, taste_table
from kit.planning.truth import Truth
from kit.planning.virtual import VirtualPlan
from kit.planning.words import say_difference
from kit.trial import Trial

CURVE_SHOTS = (4, 6, 8, 10, 12, 16, 20, 25, 30, 40, 50)
SHORT = {
    "difference": "a difference",
    "same": "sameness",
    "first": "best ranks first",
    "spread": "consistency",
    "faults": "flow faults",
}
INVENTED = "Invented example"


@dataclass(frozen=True, eq=False)
class Outlook:
    """One trial as typed, with its layout (None where there is a closed form)."""

    trial: Trial
    layout: LaidOut | None

    @cached_property
    def answers(self) -> AnswerTable:
        """The answer table."""
        return answer_table(self.trial, self.layout)

    @cached_property
    def sentences(self) -> list[str]:
        """What the planned number of shots will and will not tell; the headline first."""
        taste = self.taste
        return [*sentences_of(self.answers), *(taste.sentences() if taste is not None else [])]

    @cached_property
    def taste(self) -> TasteTable | None:
        """The chances of what is tasted; None where nothing is."""
        return taste_table(self.trial)

    @cached_property
    def cost(self) -> Cost:
        """What the plan takes."""
        return cost_of(self.trial)

    def compute(self) -> None:
        """Compute what the page shows at once; raises PlanError if the plan cannot be answered."""
        _ = self.answers, self.taste, self.sentences, self.cost

    @property
    def too_much(self) -> list[str]:
        """What exceeds the budget."""
        return over_budget(self.trial)

    @property
    def question_sentence(self) -> str:
        """The plan as one sentence, to be read aloud."""
        cost = self.cost
        return (
            f"{len(self.trial.methods)} methods, {_count(self.trial.shots_per_method_planned)} "
            f"shots of each: {cost.study_shots} study shots among {cost.pulls} pulls in "
            f"{cost.sessions} {'session' if cost.sessions == 1 else 'sessions'}."
        )

    def budget_rows(self) -> list[tuple[str, str]]:
        """What the plan takes, line by line."""
        cost = self.cost
        lines = [
            ("Coffee", f"{cost.coffee_g:,.0f} g"),
            *([("Bags", str(cost.bags))] if cost.bags is not None else []),
            ("Pulls", str(cost.pulls)),
            (
                "Longest session",
                f"{cost.pulls_per_session} pulls, {cost.minutes_per_session:.0f} min",
            ),
        ]
        if cost.cups_per_taster:
            lines += [
                ("Cups a taster", f"{cost.cups_per_taster} in {cost.sittings_per_taster} sittings"),
                ("Caffeine a sitting, if swallowed", f"{cost.caffeine_if_swallowed_mg:.0f} mg"),
            ]
        return lines

    def interval_sentences(self) -> list[str]:
        """How wide the intervals will be that are shown, for the planned number of shots."""
        if outcome_of_means(self.trial) is None:
            return []
        shown = intervals_shown(self.trial, self.layout, [self.trial.shots_per_method_planned])
        measure = noise_measure(self.trial)
        return [
            f"The interval of a difference ({words}) will reach about "
            f"±{say_difference(round(float(width), 2), measure)}."
            for words, width in zip(shown["comparison"], shown["half_width"], strict=True)
        ]

    def curves(self) -> Picture:
        """Chance over number of shots, one line a kind of question."""
        asked = self.answers.table.drop_duplicates("question").drop_duplicates("kind")
        asked = asked[asked["kind"].isin(SHORT)]
        table = answer_table(self.trial, self.layout, CURVE_SHOTS).table
        curve = table[table["question"].isin(asked["question"])]
        curve = pd.DataFrame(
            {
                "question": curve["kind"].map(SHORT),
                "shots": curve["shots"],
                "power": curve["chance"],
            }
        )
        planned = max(2, round(self.trial.shots_per_method_planned))
        return power_curves(curve, planned, self._setting())

    def luck(self, plan: VirtualPlan, seed: int) -> Picture:
        """Eight virtual results of the drawn schedule, all methods alike."""
        measure = measure_of(noise_measure(self.trial))
        gallery = virtual_results(plan, Truth.level(self.trial), seed)
        gallery = gallery.rename(columns={"picture": "trial", "value": measure.column})
        return luck_gallery(gallery, measure, self._setting())

    def luck_sentences(self, plan: VirtualPlan, seed: int) -> list[str]:
        """What to expect by luck alone."""
        return luck_summary(plan, Truth.level(self.trial), seed).sentences()

    def _setting(self) -> Setting:
        return Setting(tuple(self.trial.method_names), mark=INVENTED if self.trial.invented else "")


def outlook_or_reason(trial: Trial, layout: LaidOut | None) -> tuple[Outlook | None, str]:
    """The outlook with its answers computed, or the sentence that says why there is none."""
    outlook = Outlook(trial, layout)
    try:
        outlook.compute()
    except KitError as error:
        return None, str(error)
    return outlook, ""


def _count(shots: float) -> str:
    return f"{shots:.0f}" if shots == round(shots) else f"about {shots:.1f}"
