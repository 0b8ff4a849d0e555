"""The chooser: each situation of the design table gets its design, with reason and cost."""

import pytest

from kit.design.chooser import Situation, control_shots, recommend_design
from kit.errors import PlanError


@pytest.mark.parametrize(
    ("situation", "design", "size"),
    [
        (Situation(4, 8), "complete blocks", 4),
        (Situation(7, 4), "incomplete blocks", 4),
        (Situation(6, 6, residue=True), "carry-over balanced", 6),
        (Situation(4, 8, place_matters=True), "latin square", 4),
        (Situation(4, 8, place_matters=True, blocks=10), "carry-over balanced", 4),
        (Situation(4, 8, hard_to_change=True), "split-plot", 4),
        (Situation(7, 8, against_control=True), "complete blocks", 8),
        (Situation(7, 4, residue=True), "carry-over balanced", 4),
        (Situation(7, 4, place_matters=True), "latin square", 4),
    ],
)
def test_each_situation_gets_its_design(situation: Situation, design: str, size: int) -> None:
    found = recommend_design(situation)
    assert (found.design, found.shots_per_block) == (design, size)
    assert found.reasons
    assert all(other.cost for other in found.alternatives)
    assert found.words().startswith(f"Recommended: {design}")


def test_the_cost_of_small_blocks_is_their_efficiency() -> None:
    # 7 in 4: efficiency 0.875, so 1/0.875 − 1 = 14 % more shots.
    assert "14 % more shots" in recommend_design(Situation(7, 4)).words()


def test_the_nearest_balanced_number_of_blocks_is_named() -> None:
    assert "14 blocks" in recommend_design(Situation(7, 4, blocks=10)).words()


def test_the_control_is_repeated_about_the_root_of_the_others() -> None:
    # Dunnett (1955): the control gets about the root of k − 1 times the shots of another method.
    assert [control_shots(k) for k in (2, 3, 5, 7, 10)] == [1, 1, 2, 2, 3]


@pytest.mark.parametrize(
    "situation",
    [Situation(1, 5), Situation(3, 1), Situation(6, 4, hard_to_change=True)],
)
def test_hopeless_situations_are_refused(situation: Situation) -> None:
    with pytest.raises(PlanError):
        recommend_design(situation)
