"""Short cautions where they belong, and how much caffeine a taster has had.

They remind; they do not replace the maker's manual, the local code, or a doctor. Figures:
EFSA NDA Panel (2015), Scientific Opinion on the safety of caffeine; burns and pace of work are
common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from kit.planning.budget import (
    CAFFEINE_EXTRACTED,
    CAFFEINE_SHARE,
    SIP_G,
)
from kit.trial import Trial

SITTING_LIMIT_MG = 200.0
"""A single dose that raises no concern in healthy adults who are not pregnant (EFSA 2015)."""
DAY_LIMIT_MG = 400.0
"""The same for a day (EFSA 2015); 200 mg in pregnancy."""
BREAK_BETWEEN_SITTINGS = timedelta(hours=2)
"""Cups closer together than this add up to one sitting, whatever it is called (common practice, no
source)."""
PULLS_BEFORE_A_BREAK = 20
"""Pulls in one session after which attention fades (common practice, no source)."""

ALWAYS = "The maker's manual, the local code and a doctor come before anything said here."


@dataclass(frozen=True)
class Caution:
    """One thing to mind, in one or two sentences."""

    topic: str
    text: str


SESSION_START = (
    Caution("Heat", "Water, steam, group and basket burn. Let cups cool before anybody tastes."),
    Caution(
        "Pressure",
        "Never loosen a portafilter under pressure or on a choked shot: stop the pump, wait, "
        "stand aside.",
    ),
    Caution(
        "Electricity",
        "Dry hands on plugs and screens; no leads across the wet bench. Unplug the grinder before "
        "hands go near the burrs.",
    ),
    Caution("Cups", "Clean cups for everybody, none shared. Nobody tastes who is ill."),
)

CHOKED = Caution(
    "Choked shot",
    "Stop the pump and wait until the pressure is gone. Do not force the portafilter. "
    "A slow shot is a result: log it as it is.",
)

TASTING_START = (
    Caution("Who tastes", "Adults only, by taster code, with allergies declared beforehand."),
    Caution(
        "Caffeine",
        "Spit by default. Up to 200 mg in a sitting and 400 mg in a day raise no concern in "
        "healthy adults who are not pregnant (EFSA 2015); less in pregnancy, with heart trouble "
        "or medicines: ask a doctor.",
    ),
    Caution("Heat", "Wait until a cup is below about 60 °C."),
)


def caffeine_mg(dose_g: float, swallowed: float = 1.0) -> float:
    """Caffeine in the swallowed share of one shot, in mg.

    1.2 % of the dose, four fifths of it extracted (both from memory): about 170 mg for 18 g.
    """
    return dose_g * 1000 * CAFFEINE_SHARE * CAFFEINE_EXTRACTED * swallowed


@dataclass(frozen=True)
class TasterLoad:
    """What one taster has had, as if every cup had been sipped and swallowed."""

    taster: str
    cups_sitting: int
    cups_day: int
    mg_sitting: float
    mg_day: float

    def words(self) -> str:
        """The load in one sentence."""
        cups = "cup" if self.cups_sitting == 1 else "cups"
        return (
            f"{self.taster}: {self.cups_sitting} {cups} in this sitting, {self.cups_day} today; if "
            f"every sip was swallowed, {self.mg_sitting:.0f} mg of caffeine in this sitting and "
            f"{self.mg_day:.0f} mg today."
        )

    def caution(self) -> Caution | None:
        """What to say to this taster now; None while there is nothing to say."""
        if self.mg_day >= DAY_LIMIT_MG:
            return Caution(
                "Caffeine",
                f"{self.taster} has had cups with {self.mg_day:.0f} mg of caffeine today if "
                "swallowed: stop for today unless every sip was spat out.",
            )
        if self.mg_sitting >= SITTING_LIMIT_MG:
            return Caution(
                "Caffeine",
                f"{self.taster} has reached {self.mg_sitting:.0f} mg in this sitting if "
                "swallowed: take a break of some hours, or spit.",
            )
        return None


def taster_load(trial: Trial, taster: str, cups: Sequence[datetime], now: datetime) -> TasterLoad:
    """The load of one taster.

    Parameters
    ----------
    cups
        When each cup was tasted, with time zone.
    now
        Cups of the same calendar day count for the day; those that follow each other without a
        break (``BREAK_BETWEEN_SITTINGS``), up to now, for the sitting.
    """
    share = min(SIP_G / trial.recipe.beverage_g, 1.0)
    each = caffeine_mg(trial.recipe.dose_g, share)
    today = sum(at.astimezone(now.tzinfo).date() == now.date() for at in cups)
    sitting, after = 0, now
    for at in sorted(cups, reverse=True):
        if after - at >= BREAK_BETWEEN_SITTINGS:
            break
        sitting, after = sitting + 1, at
    return TasterLoad(taster, sitting, today, sitting * each, today * each)


def fatigue_caution(pulls_in_session: int) -> Caution | None:
    """A reminder to rest after many pulls in one session."""
    if pulls_in_session < PULLS_BEFORE_A_BREAK:
        return None
    return Caution(
        "Rest",
        f"{pulls_in_session} pulls in this session. Tired hands make noise: take a break, or end "
        "the session at the end of this block.",
    )
