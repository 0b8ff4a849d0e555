"""Factorials: contrasts, and what small blocks give up."""

import pandas as pd
import pytest

from kit.design.blockdesign import BlockDesign
from kit.design.factorial import confounded_blocks, factorial_contrasts, given_up_effects
from kit.errors import PlanError
from tests.design import REFERENCE


def test_a_classical_confounded_factorial_is_read_as_published() -> None:
    # Yates (1937), as R's data set npk: 2³ in six blocks of four, N×P×K confounded with blocks.
    table = pd.read_csv(REFERENCE / "data" / "npk.csv")
    cell = sum((table[f] == f"{f}1").astype(int) * 2**i for i, f in enumerate("NPK"))
    blocks = tuple(tuple(rows) for _, rows in cell.groupby(table["block"]))
    assert given_up_effects(BlockDesign(8, blocks, "npk"), "NPK") == {"N × P × K": 1.0}


def test_the_highest_interaction_is_given_up_first() -> None:
    for p, size in [(3, 4), (4, 8), (5, 16)]:
        design = confounded_blocks(p, size, 4)
        assert design is not None
        assert given_up_effects(design, "ABCDE"[:p]) == {" × ".join("ABCDE"[:p]): 1.0}


def test_nothing_is_lost_altogether_where_low_effects_must_be_given_up() -> None:
    # 2² in blocks of two: A, B and A×B in turn, each kept in two replicates of three
    # (Yates 1937, partial confounding): the balanced design of four in pairs.
    design = confounded_blocks(2, 2, 6)
    assert design is not None
    assert design.is_balanced
    assert given_up_effects(design, "AB") == pytest.approx({"A": 1 / 3, "B": 1 / 3, "A × B": 1 / 3})


@pytest.mark.parametrize(("p", "size", "blocks"), [(3, 8, 2), (3, 3, 4), (3, 4, 3)])
def test_sizes_without_a_division_give_none(p: int, size: int, blocks: int) -> None:
    assert confounded_blocks(p, size, blocks) is None


def test_contrasts_of_a_factorial_give_back_the_effects_of_a_known_response() -> None:
    # Box, Hunter and Hunter's pilot plant 2³ (standard order): T 23, C −5, K 1.5, TC 1.5,
    # TK 10, CK 0, TCK 0.5 (Statistics for Experimenters, chapter 10).
    response = [60, 72, 54, 68, 52, 83, 45, 80]
    cells = [{"T": str(i & 1), "C": str(i >> 1 & 1), "K": str(i >> 2 & 1)} for i in range(8)]
    levels = {"T": ["0", "1"], "C": ["0", "1"], "K": ["0", "1"]}
    found = {
        contrast.name: sum(w * y for w, y in zip(contrast.weights, response, strict=True))
        for contrast in factorial_contrasts(levels, cells)
    }
    # A difference of differences is twice the book's interaction, a three-way one four times.
    assert found == pytest.approx(
        {
            "T": 23,
            "C": -5,
            "K": 1.5,
            "T × C": 2 * 1.5,
            "T × K": 2 * 10,
            "C × K": 0,
            "T × C × K": 4 * 0.5,
        }
    )


def test_effects_of_a_design_that_is_no_factorial_are_refused() -> None:
    with pytest.raises(PlanError, match="combinations"):
        given_up_effects(BlockDesign(3, ((0, 1, 2),), "three"), "AB")
