"""The desk of a taster: cups in the drawn order, sets to tell apart, scores. No widgets."""

from __future__ import annotations

from typing import Any

from kit.cautions import TasterLoad, taster_load
from kit.errors import DataError, KitError
from kit.shotlog import log_tasting
from kit.trial import Attribute
from kit.widgets.entry import NumberRule
from kit.widgets.shoot.by_code import ByCodeModel
from kit.widgets.shoot.tasting import NextCup, NextSet, TastingPlan, loads_of, tasting_plan


class TasteModel(ByCodeModel):
    """Scores of a taster, cup by cup."""

    desk = "taste"
    plan: TastingPlan | None = None
    plan_trouble = ""
    """Why no order of cups could be drawn."""

    def read_folder(self) -> None:
        """Read the log, and the drawn order of cups where there is one."""
        super().read_folder()
        self.plan, self.plan_trouble = None, ""
        try:
            self.plan = tasting_plan(self.folder, self.trial) if self.trial else None
        except KitError as refusal:
            self.plan_trouble = str(refusal)

    @property
    def cup(self) -> NextCup | None:
        """The cup that is next in this taster's drawn order."""
        return self.plan.next_cup(self.who, self.log) if self.plan else None

    @property
    def set(self) -> NextSet | None:
        """The set this taster tells apart next, once every cup is scored."""
        return self.plan.next_set(self.who, self.log) if self.plan and not self.cup else None

    def blank(self) -> dict[str, str]:
        """The code, the sitting, a note; the scores come with the attributes."""
        return {"code": "", "sitting": "1", "note": ""}

    @property
    def is_asked(self) -> bool:
        """Whether there is something for this taster to taste and write down now."""
        if self.plan_trouble or not (self.attributes or self.plan):
            return False
        return self.plan is None or self.cup is not None or self.set is not None

    @property
    def attributes(self) -> tuple[Attribute, ...]:
        """What is scored."""
        return self.trial.tasting.attributes if self.trial is not None else ()

    def rule(self, attribute: Attribute) -> NumberRule:
        """The rule of the box of an attribute."""
        label = attribute.name[:1].upper() + attribute.name[1:]
        return NumberRule(
            label, minimum=attribute.low, maximum=attribute.high, required=True,
            whole=attribute.whole_points, decimals=0,
        )  # fmt: skip

    def load(self) -> TasterLoad | None:
        """What this taster has had."""
        if self.trial is None or not self.who:
            return None
        loads = loads_of(self.trial, self.log, self.clock())
        nothing_yet = taster_load(self.trial, self.who, [], self.clock())
        return next((load for load in loads if load.taster == self.who), nothing_yet)

    def save(self) -> str:
        """Save the scores of one cup, or the answer to a set."""
        self.catch_up()
        self._refuse_stranger()
        if self.plan is None:
            return self._save_by_code()
        cup, asked = self.cup, self.set
        if cup is not None:
            entry = self.plan.cup_entry(self.who, cup) | {"scores": self._scores()}
            said = f"Cup {cup.code} is saved: cup {cup.place} of {cup.cups} of this sitting."
        elif asked is not None:
            chosen = self.texts["code"].strip()
            if chosen not in asked.choices:
                raise DataError(f"Choose one of the cups {', '.join(asked.choices)}.")
            entry = self.plan.set_entry(self.who, asked, chosen)
            said = f"Set {asked.number} of {asked.sets} is saved."
        else:
            raise DataError("You have tasted every cup that was planned for you.")
        self._log(entry)
        return said

    def _save_by_code(self) -> str:
        """The cup of a shot, where no order was drawn."""
        if self.plan_trouble:
            raise DataError(self.plan_trouble)
        code = self.known_code(self.texts["code"])
        scores = self._scores()
        sitting = self.texts["sitting"].strip() or "1"
        before = [
            event
            for event in self.log.tastings
            if (event.data["taster"], event.data.get("sitting")) == (self.who, sitting)
        ]
        if any(event.data["code"] == code for event in before):
            raise DataError(f"You have scored cup {code} in this sitting already.")
        self._log({
            "taster": self.who, "sitting": sitting, "cup_position": len(before) + 1, "code": code,
            "shot": self.cups()[code], "scores": scores,
        })  # fmt: skip
        self.type_in("sitting", sitting)
        return f"Cup {code} is saved: cup {len(before) + 1} of this sitting."

    def _refuse_stranger(self) -> None:
        if not self.who:
            raise DataError("Enter your code first: the log says who entered what.")
        known = self.trial.tasting.tasters if self.trial is not None else ()
        if known and self.who not in known:
            raise DataError(
                f"“{self.who}” is no taster of this trial; there are {', '.join(known)}."
            )

    def _scores(self) -> dict[str, float | None]:
        rules = {each.name: self.rule(each) for each in self.attributes}
        texts = {name: self.texts.get(name, "") for name in rules}
        said = [
            problem if problem.startswith(rule.label) else f"{rule.label}: {problem}"
            for name, rule in rules.items()
            if (problem := rule.problem(texts[name]))
        ]
        if said:
            raise DataError("\n".join(said))
        return {name: rule.read(texts[name]) for name, rule in rules.items()}

    def _log(self, entry: dict[str, Any]) -> None:
        note = self.texts["note"].strip() or None
        log_tasting(self.folder, {**entry, "note": note}, self.clock(), self.who)
        self.start_anew()
        self.after_writing()
