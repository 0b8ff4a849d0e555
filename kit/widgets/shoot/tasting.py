"""What a taster does next: the drawn order of cups, and the sets to tell apart. No widgets.

Order and codes were drawn with the schedule; nothing a taster is shown depends on the method.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from kit.cautions import TasterLoad, taster_load
from kit.planning.budget import CUPS_IN_SET
from kit.schedule import is_sealed
from kit.schedule.tasting import ORDERS_FILE, draw_missing_tasting, name_of_test, read_tasting
from kit.shotlog import Log
from kit.trial import Tasting, Trial

TASKS = {
    "triangle": "Two of these cups are alike. Which one is the odd one, even if you must guess?",
    "duo-trio": "One of the coded cups is like the reference. Which one, even if you must guess?",
    "paired": "Which cup has more of what is asked, even if you must guess?",
}


@dataclass(frozen=True)
class NextCup:
    """The cup a taster scores next."""

    sitting: str
    place: int
    cups: int
    code: str


@dataclass(frozen=True)
class NextSet:
    """The set of cups a taster tells apart next, from left to right."""

    number: int
    sets: int
    cups: tuple[str, ...]
    """Codes; a named reference is called “reference”."""

    @property
    def choices(self) -> tuple[str, ...]:
        """The codes one can name."""
        return tuple(cup for cup in self.cups if cup != "reference")


def loads_of(trial: Trial, log: Log, now: datetime) -> list[TasterLoad]:
    """What each taster of the trial, and each who tasted, has had; in the order of their codes."""
    test = trial.tasting.discrimination
    cups: dict[str, list[datetime]] = {taster: [] for taster in trial.tasting.tasters}
    for event in log.tastings:
        in_set = CUPS_IN_SET.get(test, 1) if event.data.get("sitting") == test else 1
        cups.setdefault(event.data["taster"], []).extend(
            [datetime.fromisoformat(event.at)] * in_set
        )
    return [taster_load(trial, taster, had, now) for taster, had in sorted(cups.items())]


class TastingPlan:
    """The drawn cups and sets of a trial, and what of them is done."""

    def __init__(self, orders: pd.DataFrame, sets: pd.DataFrame, tasting: Tasting) -> None:
        self._orders, self._sets, self._tasting = orders, sets, tasting

    def next_cup(self, taster: str, log: Log) -> NextCup | None:
        """The first cup of the taster's order that is not scored yet."""
        own = self._orders[self._orders["taster"] == taster]
        done = {event.data["code"] for event in log.tastings if event.data["taster"] == taster}
        left = own[~own["code"].isin(done)]
        if left.empty:
            return None
        cup = left.iloc[0]
        cups = int((own["sitting"] == cup["sitting"]).sum())
        return NextCup(str(cup["sitting"]), int(cup["cup_position"]), cups, str(cup["code"]))

    def next_set(self, taster: str, log: Log) -> NextSet | None:
        """The first set of the taster that is not answered yet."""
        own = self._sets[self._sets["taster"] == taster]
        done = {
            event.data["cup_position"]
            for event in log.tastings
            if event.data["taster"] == taster
            and event.data.get("sitting") == self._tasting.discrimination
        }
        left = own[~own["set"].astype(int).isin(done)]
        if left.empty:
            return None
        number = int(left["set"].iloc[0])
        rows = left[left["set"].astype(int) == number]
        cups = rows["code"].where(rows["part"] != "reference", "reference")
        return NextSet(number, int(own["set"].nunique()), tuple(cups))

    def cup_entry(self, taster: str, cup: NextCup) -> dict[str, Any]:
        """What the journal holds of a cup before its scores."""
        rows = self._orders[self._orders["code"] == cup.code]
        return {
            "taster": taster, "sitting": cup.sitting, "cup_position": cup.place,
            "code": cup.code, "method": str(rows["method"].iloc[0]),
        }  # fmt: skip

    def set_entry(self, taster: str, asked: NextSet, chosen: str) -> dict[str, Any]:
        """What the journal holds of an answer: 1 for right, 0 for wrong.

        In a paired set the cup of the pair's first method counts as right: it is the one that is
        expected to have more of what is asked.
        """
        rows = self._sets[(self._sets["taster"] == taster) & (self._sets["code"] == chosen)]
        pair = self._tasting.pair or ("", "")
        paired = self._tasting.discrimination == "paired"
        answer = rows["method"] == pair[0] if paired else rows["answer"] == "yes"
        test = name_of_test(self._tasting.discrimination, pair)
        return {
            "taster": taster, "sitting": self._tasting.discrimination,
            "cup_position": asked.number, "code": chosen,
            "scores": {test: float(answer.iloc[0])},
        }  # fmt: skip


def tasting_plan(folder: Path, trial: Trial) -> TastingPlan | None:
    """The panel's drawn cups; drawn now from the sealed seed if that was not done before.

    None where nobody was planned to taste, or nothing is sealed or drawn: cups are then scored by
    the code of the shot.
    """
    drawn = (folder / ORDERS_FILE).exists()
    if not trial.tasting.tasters or not (drawn or is_sealed(folder)):
        return None
    if not drawn:
        draw_missing_tasting(folder)
    orders, sets = read_tasting(folder)
    return TastingPlan(orders, sets, trial.tasting)
