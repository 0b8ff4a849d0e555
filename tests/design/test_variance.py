"""Standard errors known from the layout alone, against R on published layouts.

At the variance components that lme4 estimated, the standard error of each contrast follows from
the layout: it must be the one that lme4 and emmeans print (tests/reference/lmm).
"""

import json
import math

import numpy as np
import pandas as pd
import pytest

from kit.design.variance import (
    contrast_variances,
    indicator,
    information_with_fixed,
    information_with_random,
    pair_weights,
)
from tests.design import REFERENCE


def reference(case: str) -> tuple[pd.DataFrame, dict]:
    values = json.loads((REFERENCE / "lmm" / f"{case}.json").read_text())
    return pd.read_csv(REFERENCE / "data" / f"{case}.csv"), values


@pytest.mark.parametrize(
    ("case", "treatment", "groups"),
    [
        ("ergostool", "Type", ["Subject"]),
        ("appletaste_bibd", "product", ["panelist"]),
        ("orchard_latin", "treatment", ["row", "col"]),
        ("penicillin_fixed", "sample", ["plate"]),
        ("esp_complete", "method", ["session", "block"]),
    ],
)
def test_pair_standard_errors_agree_with_emmeans(
    case: str, treatment: str, groups: list[str]
) -> None:
    table, values = reference(case)
    components = values["varcomp"]
    shot = components["Residual"]
    treatments = indicator(table[treatment].tolist())
    order = list(dict.fromkeys(table[treatment]))
    random = [(indicator(table[g].tolist()), components[g] / shot) for g in groups]
    pairs, weights = pair_weights(len(order))
    found = shot * contrast_variances(information_with_random(treatments, random), weights)
    of_pair = {
        frozenset((str(order[a]), str(order[b]))): math.sqrt(v)
        for (a, b), v in zip(pairs, found, strict=True)
    }
    printed = values["emmeans"][treatment]["satt"]["pairwise"]
    assert len(printed) == len(pairs)
    for entry in printed:
        names = frozenset(entry["contrast"].split(" - "))
        assert of_pair[names] == pytest.approx(entry["se"], rel=1e-6)


def test_a_split_plot_has_the_standard_errors_of_its_two_strata() -> None:
    # Yates's oats: variety on whole plots, nitrogen within them.
    table, values = reference("oats_splitplot")
    part = values["varcomp"]
    cells = list(zip(table["variety"], table["nitro"], strict=True))
    order = list(dict.fromkeys(cells))
    random = [
        (indicator(table["block"].tolist()), part["block"] / part["Residual"]),
        (indicator(table["plot"].tolist()), part["plot"] / part["Residual"]),
    ]
    information = information_with_random(indicator(cells), random)
    varieties = sorted({variety for variety, _ in order})
    weights = np.array(
        [
            [((v == a) * 1.0 - (v == b) * 1.0) / 4 for v, _ in order]
            for i, a in enumerate(varieties)
            for b in varieties[i + 1 :]
        ]
    )
    found = np.sqrt(part["Residual"] * contrast_variances(information, weights))
    printed = [entry["se"] for entry in values["emmeans"]["variety"]["satt"]["pairwise"]]
    assert found == pytest.approx(printed, rel=1e-6)


def test_with_blocks_fixed_a_contrast_between_blocks_is_not_estimable() -> None:
    blocks = indicator([0, 0, 1, 1])
    treatments = indicator(["a", "a", "b", "b"])
    _, weights = pair_weights(2)
    assert np.isinf(contrast_variances(information_with_fixed(treatments, blocks), weights)).all()


def test_fixed_blocks_and_places_take_out_a_latin_square_without_loss() -> None:
    square = [[0, 1, 2, 3], [1, 2, 3, 0], [2, 3, 0, 1], [3, 0, 1, 2]]
    labels = [m for row in square for m in row]
    rows = indicator([i for i in range(4) for _ in range(4)])
    columns = indicator([j for _ in range(4) for j in range(4)])
    _, weights = pair_weights(4)
    information = information_with_fixed(indicator(labels), rows, [columns])
    assert contrast_variances(information, weights) == pytest.approx(2 / 4)


def test_random_blocks_of_no_variance_are_no_blocks_and_of_great_variance_fixed_ones() -> None:
    blocks = indicator([0, 0, 1, 1, 2, 2])
    treatments = indicator(["a", "b", "b", "c", "c", "a"])
    _, weights = pair_weights(3)
    none = contrast_variances(information_with_random(treatments, [(blocks, 0.0)]), weights)
    assert none == pytest.approx(2 / 2)
    great = contrast_variances(information_with_random(treatments, [(blocks, 1e7)]), weights)
    fixed = contrast_variances(information_with_fixed(treatments, blocks), weights)
    assert great == pytest.approx(fixed, rel=1e-5)
