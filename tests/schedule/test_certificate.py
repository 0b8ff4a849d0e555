"""The certificate: counted from the schedule as it stands, and true of every schedule drawn."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.schedule import certificate, draw_schedule
from kit.schedule.balance_certificate import with_predecessors
from tests.schedule.trials import sample, trial_with

DESIGNS = ["complete blocks", "incomplete blocks", "latin square", "carry-over balanced"]


@given(
    methods=st.integers(3, 7),
    sessions=st.integers(1, 3),
    blocks=st.integers(1, 4),
    design=st.sampled_from(DESIGNS),
    references=st.integers(0, 4),
    warm_up=st.integers(0, 2),
    spares=st.integers(0, 2),
    per_bag=st.sampled_from([None, 8, 14]),
    seed=st.integers(0, 2**63 - 1),
)
@settings(max_examples=25, deadline=None)
def test_every_schedule_satisfies_its_certificate(
    methods: int,
    sessions: int,
    blocks: int,
    design: str,
    references: int,
    warm_up: int,
    spares: int,
    per_bag: int | None,
    seed: int,
) -> None:
    layout: dict[str, object] = {
        "reference_shots_per_session": references,
        "warm_up_shots_per_session": warm_up,
        "spares_per_session": spares,
        "study_shots_per_bag": per_bag,
    }
    if design == "incomplete blocks":
        layout["shots_per_block"] = max(2, methods - 2)
        blocks += methods
    if design == "latin square":
        sessions, blocks = 1, methods
    trial = trial_with(methods, sessions, blocks, design, **layout)
    schedule = draw_schedule(trial, seed)
    study = schedule[schedule["role"] == "study"]
    found = certificate(trial, schedule)

    assert schedule["code"].is_unique
    assert (study.groupby("block")[["session", "bag"]].nunique() == 1).all(axis=None)
    for _, rows in schedule.groupby("session"):
        roles = rows["role"].tolist()
        assert roles[:warm_up] == ["warm-up"] * warm_up
        assert roles[len(roles) - spares :] == ["spare"] * spares
        assert roles.count("reference") == references
    for kind in ("position", "session"):
        table = found.cross_table(kind)
        assert table.to_numpy().sum() == len(study)
        column = study[kind].astype(str)
        for method, level in zip(study["method"], column, strict=True):
            assert table.loc[method, level] > 0
    assert np.ptp(study["method"].value_counts()) <= 1
    if design != "incomplete blocks":
        assert np.ptp(found.cross_table("session").to_numpy()) == 0
    if design == "latin square":
        assert np.ptp(found.cross_table("position").to_numpy()) == 0
    if design == "carry-over balanced":
        inside = found.count_tables()["Method by the one before it in the block"].to_numpy(float)
        assert np.nanmax(inside) - np.nanmin(inside) <= (1 if methods % 2 == 0 else 2)
    pairs = found.contrasts[found.contrasts["kind"] == "pair"]
    assert len(pairs) == math.comb(methods, 2)
    assert (pairs["se_expected"] > 0).all()
    assert found.words()


def test_complete_blocks_have_the_textbook_standard_error() -> None:
    # Two means of 12 shots each in complete blocks: √(2/12) per unit of shot SD.
    trial = sample("four_naps")
    found = certificate(trial, draw_schedule(trial, 1))
    assert found.contrasts["se_within_blocks"].to_numpy() == pytest.approx(math.sqrt(2 / 12))
    assert found.contrasts["se_expected"].to_numpy() == pytest.approx(0.45 * math.sqrt(2 / 12))
    assert found.contrasts["efficiency"].to_numpy() == pytest.approx(1.0)


def test_balanced_incomplete_blocks_have_the_textbook_standard_error() -> None:
    # Within blocks the variance of a difference is 2/(rE), E = 7·3/(4·6): Cochran and Cox (1957),
    # section 9.5.
    trial = sample("seven_rivers")
    found = certificate(trial, draw_schedule(trial, 1))
    expected = math.sqrt(2 / (16 * 7 * 3 / (4 * 6)))
    assert found.contrasts["se_within_blocks"].to_numpy() == pytest.approx(expected)
    assert found.concurrences["blocks"].unique().tolist() == [8]
    # Random blocks give part of the lost information back.
    assert (found.contrasts["se_expected"] < 0.5 * expected).all()


def test_a_whole_plot_factor_is_judged_between_whole_plots() -> None:
    trial = sample("disc_and_soak")
    effects = certificate(trial, draw_schedule(trial, 1)).contrasts.query("kind == 'effect'")
    by_name = effects.set_index("contrast")
    # Within blocks the temperature cannot be judged at all.
    assert np.isinf(by_name.loc["temperature", "se_within_blocks"])
    # Difference of two settings, each 4 whole plots of 8 shots: √(2/4·.25² + 2/32·.45²).
    assert by_name.loc["temperature", "se_expected"] == pytest.approx(
        math.sqrt(2 / 4 * 0.25**2 + 2 / 32 * 0.45**2)
    )
    # Sub-plot effects: √(2/32)·.45 and, for a difference of differences of cells, twice that.
    assert by_name.loc["disc", "se_expected"] == pytest.approx(0.45 * math.sqrt(2 / 32))
    assert by_name.loc["disc × soak", "se_expected"] == pytest.approx(0.45 * 2 * math.sqrt(2 / 32))


def test_what_is_confounded_is_said() -> None:
    split = sample("disc_and_soak")
    said = " ".join(certificate(split, draw_schedule(split, 1)).confounding)
    # Eight whole plots in four sessions, two settings: 8 − 4 − 1 = 3 degrees of freedom.
    assert "temperature changes only from one whole plot to the next" in said
    assert "about 3 degrees of freedom" in said
    bags = trial_with(4, 2, 3, "complete blocks", blocks_are_bags=True)
    said = " ".join(certificate(bags, draw_schedule(bags, 1)).confounding)
    assert "Bag and block are the same runs of shots" in said
    plain = sample("four_naps")
    said = " ".join(certificate(plain, draw_schedule(plain, 1)).confounding)
    assert said == "No method is confounded with a session, a bag, a block or a place."


def test_a_predecessor_is_the_study_or_reference_shot_just_before() -> None:
    schedule = draw_schedule(sample("four_naps"), 3)
    table = with_predecessors(schedule)
    for _, session in table.groupby("session"):
        before = None
        for row in session.to_dict("records"):
            carried = before if before in set(schedule["method"]) - {""} else "none"
            assert row["predecessor"] == carried
            before = row["method"] if row["role"] in ("study", "reference") else None


def test_a_tampered_schedule_loses_its_balance_in_the_certificate() -> None:
    trial = sample("four_naps")
    schedule = draw_schedule(trial, 1)
    schedule.loc[schedule["method"] == "Thaw", "method"] = "Fjord"
    found = certificate(trial, schedule)
    shots = found.summary.set_index("quantity").loc["Shots a method", "value"]
    assert shots == "12 to 24"
    assert found.cross_table("session").loc["Thaw"].sum() == 0


def test_the_tables_are_tidy() -> None:
    trial = sample("seven_rivers")
    found = certificate(trial, draw_schedule(trial, 2))
    assert list(found.counts.columns) == ["kind", "method", "level", "shots"]
    assert found.counts.groupby("kind")["shots"].sum()["session"] == 112
    assert list(found.concurrences.columns) == ["a", "b", "blocks"]
    assert isinstance(found.summary, pd.DataFrame)
    assert set(found.count_tables()) >= {"Method by place in the block", "Method by session"}
