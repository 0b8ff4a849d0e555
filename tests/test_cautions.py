"""Cautions: the arithmetic of caffeine, and when something is said.

170 mg for 18 g, 24 mg a sip: computed in the trade notes, section 2d (1.2 % and 80 % from memory).
Limits: EFSA NDA Panel (2015).
"""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from kit.cautions import (
    DAY_LIMIT_MG,
    SESSION_START,
    SITTING_LIMIT_MG,
    caffeine_mg,
    fatigue_caution,
    taster_load,
)
from kit.trial import read_trial

TRIAL = read_trial(Path("sample_sessions/four_naps"))
NOON = datetime(2026, 5, 2, 12, tzinfo=UTC)


def test_caffeine_of_a_shot_and_of_a_sip():
    assert caffeine_mg(18.0) == pytest.approx(172.8)
    assert caffeine_mg(18.0, 5 / 36) == pytest.approx(24, abs=0.1)


def test_limits_are_those_of_efsa():
    assert (SITTING_LIMIT_MG, DAY_LIMIT_MG) == (200, 400)


@pytest.mark.parametrize(("cups", "said"), [(8, None), (9, "reached"), (18, "stop for today")])
def test_what_is_said_after_so_many_sips(cups: int, said: str | None):
    """17.5 g in 36 g: 23.3 mg a sip; 200 mg after nine, 400 mg after eighteen."""
    load = taster_load(TRIAL, "T1", [NOON] * cups, NOON)
    caution = load.caution()
    assert (caution is None) == (said is None)
    assert said is None or said in caution.text


def test_sittings_and_days_are_counted_apart():
    """A break of hours begins another sitting; the name of a sitting does not."""
    before = [timedelta(days=1), timedelta(hours=3), timedelta(minutes=100), timedelta(minutes=5)]
    load = taster_load(TRIAL, "T1", [NOON - each for each in before], NOON)
    assert (load.cups_sitting, load.cups_day) == (3, 3)
    load = taster_load(TRIAL, "T1", [NOON - each for each in before if each != before[2]], NOON)
    assert (load.cups_sitting, load.cups_day) == (1, 2)
    assert load.words() == (
        "T1: 1 cup in this sitting, 2 today; if every sip was swallowed, 23 mg of caffeine in "
        "this sitting and 47 mg today."
    )


def test_cups_of_last_night_count_for_the_sitting_past_midnight():
    midnight = NOON.replace(hour=0, minute=20)
    cups = [midnight - timedelta(minutes=30), midnight]
    load = taster_load(TRIAL, "T1", cups, midnight)
    assert (load.cups_sitting, load.cups_day) == (2, 1)


def test_nobody_without_cups_is_cautioned():
    assert taster_load(TRIAL, "T1", [], NOON).caution() is None


def test_long_sessions_are_cautioned_and_short_ones_are_not():
    assert fatigue_caution(19) is None
    assert "20 pulls" in fatigue_caution(20).text


def test_each_topic_of_the_session_is_named_once():
    topics = [caution.topic for caution in SESSION_START]
    assert topics == ["Heat", "Pressure", "Electricity", "Cups"]
