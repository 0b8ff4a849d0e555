"""The bench: the entry of a shot, its correction, and what the declared rule makes of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

from kit.errors import DataError
from kit.shotlog import (
    Log,
    LoggedShot,
    Pull,
    clear_draft,
    correct_entry,
    fold,
    log_shot,
    new_event,
    read_draft,
    run_order,
    save_draft,
    withdraw,
)
from kit.widgets.shoot.form import NOTHING, ShotForm
from kit.widgets.shoot.trial_log import TrialLog, now

DRAFT, CORRECTION = "shot", "correction"
"""The half-filled forms that are kept: of the next shot, and of a shot being corrected."""
NO_SPARE = (
    "No spare is left to replace it; “Something broke” below can plan to pull it again, and says "
    "what that costs."
)


class ShootModel(TrialLog):
    """The form of the next shot (or of one being corrected) over the log of the trial."""

    def __init__(self, folder: Path, clock: Callable[[], datetime] = now) -> None:
        self.form = ShotForm.empty()
        self.correcting: LoggedShot | None = None
        self._event_id = uuid4().hex
        self._confirmed: ShotForm | None = None
        super().__init__(folder, clock)

    def read_folder(self) -> None:
        """Read the log, and take up what was half-filled."""
        super().read_folder()
        if self.trial is not None and self.correcting is None:
            self._take_up_draft()
            self._take_up_correction()

    def catch_up(self) -> bool:
        """Read the journal again if it has changed; the form follows what comes next."""
        waiting = self.next_pull
        changed = super().catch_up()
        if changed and self.correcting is None and self.next_pull != waiting:
            self._take_up_draft()
            self.touch()
        return changed

    @property
    def can_log(self) -> bool:
        """Whether a shot can be saved now."""
        ready = self.session_state == "running" or self.correcting is not None
        return ready and not self.unmet()

    # -- the form ------------------------------------------------------------------------------

    @property
    def entries(self) -> dict[str, str]:
        """The texts of the boxes."""
        return self.form.texts

    def type_in(self, name: str, text: str) -> None:
        """Take the text of one box as typed, and keep it as a draft at once."""
        if self.form.texts[name] == text:
            return
        self.form = self.form.typed(name, text)
        try:
            self._keep_draft()
        finally:  # what the screen answers is on disk, or said not to be
            self.touch()

    def take_times(self, first_drip_s: float | None, shot_time_s: float | None) -> None:
        """Take over the times of the stopwatch."""
        for name, seconds in (("first_drip_s", first_drip_s), ("shot_time_s", shot_time_s)):
            if seconds is not None:
                self.type_in(name, f"{seconds:.1f}")

    def computed(self) -> dict[str, str]:
        """Brew ratio and extraction yield of the shot being entered."""
        return self.form.computed()

    def tolerance_verdict(self) -> str:
        """The masses against the recipe, and what the declared rule makes of it."""
        if self.trial is None:
            return ""
        reason = self.form.reason(self.trial)
        if reason:
            return self._what_becomes_of_it(reason)
        dose, beverage = self.form.value("dose_g"), self.form.value("beverage_g")
        if dose is None or beverage is None:
            return ""
        if self.trial.recipe.in_tolerance(dose, beverage):
            return "Dose and beverage are within tolerance."
        return "Out of tolerance; no rule was declared for this, so the shot is kept."

    def _what_becomes_of_it(self, reason: str) -> str:
        by_mass = "out of tolerance" in reason
        said = "Out of tolerance: " if by_mass else f"{reason[0].upper()}{reason[1:]}: "
        pull = self._pull_in_form()
        if pull is None:
            return said + "by the declared rule such a shot is replaced, and both are kept."
        if pull.role != "study":
            return said + ("the shot is kept." if by_mass else "logged as lost, not replaced.")
        spare = self._spare_if_lost(pull, reason)
        if spare is None:
            return said + f"by the declared rule this shot is lost. {NO_SPARE}"
        return (
            said + f"by the declared rule this shot is replaced at the end of block {pull.block} "
            f"by the spare, planned shot {spare.planned_shot}; both are kept."
        )

    # -- saving --------------------------------------------------------------------------------

    def save(self) -> str:
        """Save the shot, or the correction; returns when it is on disk and the form has moved on.

        The tables that follow from it (``settle``) are written after that has been said.

        Raises
        ------
        DataError
            With everything that stands against it, in words; nothing is saved then.
        """
        bound = self._pull_in_form()
        if self.catch_up() and self._pull_in_form() != bound:
            raise DataError(
                "Another window has logged this shot in the meantime. The form has moved on to "
                "what comes next; check what stands in it, then save again."
            )
        self._refuse_if_not_ready()
        said = self._save_shot() if self.correcting is None else self._correct(self.correcting)
        self._confirmed = None
        self.touch()
        return said

    def _save_shot(self) -> str:
        pull = self.needed_pull()
        entry: dict[str, Any] = {"planned_shot": pull.planned_shot, **self.form.values()}
        if pull.replaces is not None:
            entry["replaces"] = pull.replaces
        reason = self._reason_for(pull)
        if reason:
            entry["reason"] = reason
        log_shot(self.folder, entry, self.clock(), self.operator, self._event_id)
        self._clear_form()
        self.read_log_again()
        lost = f" Lost: {reason}." if reason else ""
        stays = pull.role == "study" and pull.planned_shot in self._unreplaced()
        return f"Shot {len(self.log.shots)} is saved.{lost}" + (f" {NO_SPARE}" if stays else "")

    def begin_correction(self, shot: int) -> str:
        """Put the values of a logged shot into the form."""
        self.catch_up()
        if not 1 <= shot <= len(self.log.shots):
            raise DataError(f"There is no shot {shot} to correct.")
        self.correcting = self.log.shots[shot - 1]
        self.form = ShotForm.of_entry(self.correcting.entered)
        self.touch()
        return f"Shot {shot} is in the form. Change what is wrong, say why, and save."

    def leave_correction(self) -> str:
        """Put the form back to the next shot."""
        self.correcting = None
        clear_draft(self.folder, CORRECTION, self.clock())
        self._take_up_draft()
        self.touch()
        return "Nothing was corrected."

    def _correct(self, shot: LoggedShot) -> str:
        why = self.form.texts["why"].strip()
        if not why:
            raise DataError("Say why it is corrected: that stays in the log beside both values.")
        old, new = ShotForm.of_entry(shot.entered).values(), self.form.values()
        changes = {
            name: new.get(name)
            for name in sorted(old.keys() | new.keys())
            if old.get(name) != new.get(name)
        }
        reason = self._reason_for(self._pull_in_form())
        if reason != (shot.entered.get("reason") or ""):
            changes["reason"] = reason or None
        correct_entry(self.folder, shot, changes, why, self.clock(), self.operator)
        clear_draft(self.folder, CORRECTION, self.clock())
        self.correcting = None
        self.read_log_again()
        self._take_up_draft()
        return "The correction is saved; the first entry stays in the log."

    def skip(self, why: str) -> str:
        """Pass over the next pull; what was typed for it is thrown away."""
        said = super().skip(why)
        self._clear_form()
        self.touch()
        return said

    def take_back(self, why: str) -> str:
        """Withdraw the shot entered last; what was typed comes back into the form."""
        self.catch_up()
        if not self.log.shots:
            raise DataError("No shot is logged yet, so there is nothing to take back.")
        latest = max(self.log.shots, key=lambda shot: shot.at)
        reason = why.strip() or "taken back at the bench"
        withdraw(self.folder, latest.id, reason, self.clock(), self.operator)
        self._clear_form()
        self.read_log_again()
        self.form = ShotForm.of_entry(latest.entered)
        self._keep_draft()
        self.after_writing()
        return "The last shot is taken back; its values stand in the form. The log keeps both."

    def follow_new_schedule(self) -> None:
        """Go on by the amended schedule; a half-filled form of another pull stays in the draft."""
        waiting = self.next_pull
        self.read_schedule_again()
        self.read_log_again()
        if self.correcting is None and self.next_pull != waiting:
            self._take_up_draft()
        self.settle()

    # -- inside --------------------------------------------------------------------------------

    def _refuse_if_not_ready(self) -> None:
        if self.trial is None or not self.can_log:
            raise DataError("\n".join(self.unmet()) or "Start the session first.")
        problems = self.form.problems() + self._missing()
        if problems:
            raise DataError("\n".join(problems))
        doubts = self.form.doubts(self.trial)
        if doubts and self._confirmed != self.form:
            self._confirmed = self.form
            raise DataError("\n".join([*doubts, "If that is right, press Save once more."]))

    def _missing(self) -> list[str]:
        """Masses without which a study or reference shot says nothing, unless it went wrong."""
        pull = self._pull_in_form()
        if pull is None or pull.role not in ("study", "reference"):
            return []
        if self.form.texts["reason"] != NOTHING:
            return []
        return [
            f"{label} is empty. Enter it, or choose what went wrong."
            for name, label in (("dose_g", "Dose"), ("beverage_g", "Beverage"))
            if self.form.value(name) is None
        ]

    def _reason_for(self, pull: Pull | None) -> str:
        """Declared tolerances lose study shots only; an accident loses any shot."""
        if self.form.texts["reason"] != NOTHING:
            return self.form.texts["reason"]
        if self.trial is None or pull is None or pull.role != "study":
            return ""
        return self.form.reason(self.trial)

    def _other_shots(self) -> Log:
        """The log without the shot being corrected."""
        if self.correcting is None:
            return self.log
        corrected = self.correcting.id
        return fold([event for event in self.journal.events if event.id != corrected])

    def _pull_in_form(self) -> Pull | None:
        """The pull the form is about: the next one, or that of the shot being corrected."""
        if self.correcting is None or self.schedule is None:
            return self.next_pull
        number = self.correcting.planned_shot
        order = run_order(self.schedule, self._other_shots()).to_come
        return next((pull for pull in order if pull.planned_shot == number), None)

    def _spare_if_lost(self, pull: Pull, reason: str) -> Pull | None:
        """The spare that would replace the shot in the form, were it saved as lost."""
        if self.schedule is None:
            return None
        corrected = None if self.correcting is None else self.correcting.id
        others = [event for event in self.journal.events if event.id != corrected]
        data = {"planned_shot": pull.planned_shot, "replaces": pull.replaces, "reason": reason}
        supposed = fold([*others, new_event("shot", data, self.clock(), "")])
        order = run_order(self.schedule, supposed).to_come
        return next((each for each in order if each.replaces == pull.planned_shot), None)

    def _unreplaced(self) -> tuple[int, ...]:
        return self.order.unreplaced if self.order is not None else ()

    def _clear_form(self) -> None:
        clear_draft(self.folder, DRAFT, self.clock())
        self.form = ShotForm.empty()
        self._event_id = uuid4().hex

    def _take_up_draft(self) -> None:
        """The half-filled form of the next shot, if there is one; that of another is left."""
        draft = read_draft(self.folder, DRAFT)
        number = self.next_pull.planned_shot if self.next_pull else None
        fits = bool(draft) and draft.get("planned_shot") == number
        self.form = ShotForm.of_draft(draft) if fits else ShotForm.empty()
        self._event_id = str(draft["event_id"]) if fits else uuid4().hex

    def _take_up_correction(self) -> None:
        """The half-filled form of a correction, if a crash came before it was saved or left."""
        draft = read_draft(self.folder, CORRECTION)
        shot = next((shot for shot in self.log.shots if shot.id == draft.get("target")), None)
        if shot is not None:
            self.correcting, self.form = shot, ShotForm.of_draft(draft)

    def _keep_draft(self) -> None:
        if self.correcting is not None:
            correction = {**self.form.texts, "target": self.correcting.id}
            save_draft(self.folder, CORRECTION, correction, self.clock())
            return
        number = self.next_pull.planned_shot if self.next_pull else None
        draft = {**self.form.texts, "planned_shot": number, "event_id": self._event_id}
        save_draft(self.folder, DRAFT, draft, self.clock())
