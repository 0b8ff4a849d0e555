"""Published worked examples of designed experiments.

Data from memory where no file is named; every figure was recomputed when the notes were
made and agrees with the book to the digits printed there.
"""

import json

import numpy as np
import pandas as pd
import pytest

from kit.analysis.contrasts import against_control, all_pairs, factorial_effects, marginal_means
from kit.analysis.mixedmodel import fit_mixed_model
from tests.analysis import reference


def long_table(columns, **values):
    rows = [(a, b, v) for a, row in values.items() for b, v in enumerate(row) if v is not None]
    table = pd.DataFrame(rows, columns=columns)
    return table.assign(**{columns[1]: [f"b{b}" for b in table[columns[1]]]})


def test_randomised_complete_blocks_hardness_tips():
    """Montgomery, Design and Analysis of Experiments: F(3, 9) = 14.44, p = .0009."""
    table = long_table(
        ["tip", "coupon", "hardness"],
        t1=[9.3, 9.4, 9.6, 10.0], t2=[9.4, 9.3, 9.8, 9.9],
        t3=[9.2, 9.4, 9.5, 9.7], t4=[9.7, 9.6, 10.0, 10.2],
    )  # fmt: skip
    for fixed, random in (("tip", ["coupon"]), ("tip + coupon", [])):
        test = (
            fit_mixed_model(table, "hardness", fixed, random).terms().set_index("term").loc["tip"]
        )
        assert test["F"] == pytest.approx(14.4375, abs=1e-8)
        assert test["den_df"] == pytest.approx(9, abs=1e-8)
        assert test["p"] == pytest.approx(0.0009, abs=5e-5)
    residual = fit_mixed_model(table, "hardness", "tip", ["coupon"]).variance_components["residual"]
    assert residual * 9 == pytest.approx(0.080, abs=1e-9)


def test_incomplete_blocks_catalyst():
    """Montgomery: intra-block F(3, 5) = 11.67, p = .0107; with random blocks (pbkrtest and
    emmeans in R) F = 11.33 on (3, 5.03), p = .0112, means 71.4, 71.6, 72.0, 75.0.
    """  # fmt: skip
    table = long_table(
        ["catalyst", "batch", "time"],
        c1=[73, 74, None, 71], c2=[None, 75, 67, 72], c3=[73, 75, 68, None], c4=[75, None, 72, 75],
    )  # fmt: skip
    fixed = fit_mixed_model(table, "time", "catalyst + batch").terms().set_index("term")
    assert fixed.loc["catalyst", "F"] == pytest.approx(11.67, abs=0.005)
    assert fixed.loc["catalyst", "p"] == pytest.approx(0.0107, abs=5e-5)
    fit = fit_mixed_model(table, "time", "catalyst", ["batch"])
    test = fit.terms().iloc[0]
    assert test["F"] == pytest.approx(11.33, abs=0.005)
    assert test["den_df"] == pytest.approx(5.03, abs=0.005)
    assert test["p"] == pytest.approx(0.0112, abs=5e-5)
    means = marginal_means(fit, "catalyst")["estimate"].to_numpy()
    assert means == pytest.approx([71.4, 71.6, 72.0, 75.0], abs=0.05)


def test_blocks_penicillin_yield():
    """Box, Hunter & Hunter: blends 264, treatments 70, error 226; F(3, 12) = 1.24."""
    table = long_table(
        ["treatment", "blend", "yield"],
        A=[89, 84, 81, 87, 79], B=[88, 77, 87, 92, 81],
        C=[97, 92, 87, 89, 80], D=[94, 79, 85, 84, 88],
    )  # fmt: skip
    fit = fit_mixed_model(table, "yield", "treatment", ["blend"])
    test = fit.terms().iloc[0]
    assert test["F"] == pytest.approx((70 / 3) / (226 / 12), abs=1e-8)
    assert test["den_df"] == pytest.approx(12, abs=1e-6)
    block = ((264 / 4) - 226 / 12) / 4
    assert fit.variance_components["blend"] == pytest.approx(block, rel=1e-8)


def test_pairs_shoes():
    """Box, Hunter & Hunter: mean difference 0.41, t(9) = 3.349, p = .0085."""
    table = long_table(
        ["material", "boy", "wear"],
        A=[13.2, 8.2, 10.9, 14.3, 10.7, 6.6, 9.5, 10.8, 8.8, 13.3],
        B=[14.0, 8.8, 11.2, 14.2, 11.8, 6.4, 9.8, 11.3, 9.3, 13.6],
    )
    pair = all_pairs(fit_mixed_model(table, "wear", "material", ["boy"]), "material").iloc[0]
    assert pair["estimate"] == pytest.approx(-0.41, abs=1e-9)
    assert pair["t"] == pytest.approx(-3.349, abs=5e-4)
    assert pair["df"] == pytest.approx(9, abs=1e-6)
    assert pair["p_adjusted"] == pytest.approx(0.0085, abs=5e-5)


def test_factorial_pilot_plant():
    """Box, Hunter & Hunter, 2^3 pilot plant: T 23, C -5, K 1.5, TC 1.5, TK 10, CK 0."""
    signs = [(t, c, k) for k in "-+" for c in "-+" for t in "-+"]
    table = pd.DataFrame(signs, columns=["T", "C", "K"])
    for name in "TCK":
        table[name] = pd.Categorical(table[name], categories=["-", "+"])
    table["y"] = [60, 72, 54, 68, 52, 83, 45, 80]
    fit = fit_mixed_model(table, "y", "(T + C + K)^2")
    effects = factorial_effects(fit, ["T", "C", "K"]).set_index("term")["estimate"]
    expected = {"T": 23, "C": -5, "K": 1.5, "T:C": 1.5, "T:K": 10, "C:K": 0}
    assert effects.to_dict() == pytest.approx(expected, abs=1e-9)


def test_one_way_hardwood_and_tukey():
    """Montgomery, tensile strength: F = 19.61; Tukey 10-5 % [1.54, 9.79], 20-15 % [0.04, 8.29]."""
    table = long_table(
        ["hardwood", "run", "strength"],
        p05=[7, 8, 15, 11, 9, 10], p10=[12, 17, 13, 18, 19, 15],
        p15=[14, 18, 19, 17, 16, 18], p20=[19, 25, 22, 23, 18, 20],
    )  # fmt: skip
    fit = fit_mixed_model(table, "strength", "hardwood")
    assert fit.terms()["F"][0] == pytest.approx(19.61, abs=0.005)
    pairs = all_pairs(fit, "hardwood").set_index(["a", "b"])
    low = pairs.loc[("p05", "p10")]
    assert [-low["upper"], -low["lower"]] == pytest.approx([1.54, 9.79], abs=0.006)
    high = pairs.loc[("p15", "p20")]
    assert [-high["upper"], -high["lower"]] == pytest.approx([0.04, 8.29], abs=0.006)


def nist_cases():
    return json.loads((reference.FOLDER / "anova" / "nist.json").read_text())["cases"]


@pytest.mark.parametrize("case", nist_cases(), ids=lambda case: case["file"][-10:])
def test_nist_one_way(case):
    """NIST StRD, certified to 15 digits. Tolerances by level of difficulty, as the README of the
    reference values advises: in the harder files the data themselves cannot be stored exactly.
    """  # fmt: skip
    lines = (reference.FOLDER / case["file"]).read_text().splitlines()
    rows = [line.split() for line in lines[case["data_starts_line"] - 1 :] if line.strip()]
    table = pd.DataFrame(rows, columns=["treatment", "response"])
    table["response"] = table["response"].astype(float)
    fit = fit_mixed_model(table, "response", "treatment")
    name = case["file"].split("/")[-1]
    tolerance = {"SmLs04.dat": 1e-8, "AtmWtAg.dat": 1e-8, "SmLs07.dat": 1e-3}.get(name, 1e-10)
    assert fit.terms()["F"][0] == pytest.approx(case["F"], rel=tolerance)
    sd = np.sqrt(fit.variance_components["residual"])
    assert sd == pytest.approx(case["residual_sd"], rel=tolerance)


@pytest.mark.parametrize("name", ["ow_plantgrowth", "ow_recovery"])
def test_one_way_unequal_groups(name):
    """R 4.2.2 aov, TukeyHSD and exact Dunnett p; data of R packages datasets and multcomp."""
    case = reference.values(f"anova/{name}")
    table = reference.data(case)
    table["group"] = pd.Categorical(table["group"], categories=case["levels"])
    fit = fit_mixed_model(table, "y", "group")
    test = fit.terms().iloc[0]
    assert test["F"] == pytest.approx(case["F"], rel=1e-9)
    assert test["den_df"] == pytest.approx(case["df2"], rel=1e-9)
    pairs = all_pairs(fit, "group").set_index(["a", "b"])
    for expected in case["tukey_hsd"]:
        found = pairs.loc[(expected["a"], expected["b"])]
        assert found["p_adjusted"] == pytest.approx(expected["p_tukey"], abs=1e-6)
        limits = [expected["lower_tukey"], expected["upper_tukey"]]
        assert abs(found["upper"] - found["lower"]) == pytest.approx(np.ptp(limits), rel=2e-4)
    control = against_control(fit, "group", case["control"]).set_index("a")
    for expected in case["dunnett"]:
        found = control.loc[expected["level"], "p_adjusted"]
        assert found == pytest.approx(expected["p_dunnett"], abs=2e-6)


def test_latin_square_equals_fixed_rows_and_columns():
    """Orchard sprays (Finney 1947): treatment SS/df = F on 42 df when rows and columns are fixed;
    the F test of the fixed analysis by numpy least squares.
    """  # fmt: skip
    case = reference.values("lmm/orchard_latin")
    table = reference.data(case)
    found = fit_mixed_model(table, "decrease", "treatment + row + col").terms().set_index("term")
    y = table["decrease"].to_numpy(float)
    parts = [pd.get_dummies(table[c], dtype=float).to_numpy() for c in ("row", "col", "treatment")]
    sse = [np.sum((y - x @ np.linalg.lstsq(x, y)[0]) ** 2)
           for x in (np.hstack(parts), np.hstack(parts[:2]))]  # fmt: skip
    f = ((sse[1] - sse[0]) / 7) / (sse[0] / 42)
    assert found.loc["treatment", "F"] == pytest.approx(f, rel=1e-9)
    assert found.loc["treatment", "den_df"] == pytest.approx(42, rel=1e-9)


def test_nested_pastes():
    """lme4's documented fit: cask 8.434, batch 1.657, residual 0.678, mean 60.0533 (SE 0.677)."""
    fit = fit_mixed_model(reference.data({"data": "data/pastes.csv"}), "strength", "1",
                          ["batch", "cask"])  # fmt: skip
    expected = {"batch": 1.657, "cask": 8.434, "residual": 0.678}
    assert fit.variance_components.to_dict() == pytest.approx(expected, abs=6e-4)
    mean = fit.coefficients().iloc[0]
    assert [mean["estimate"], mean["se"]] == pytest.approx([60.0533, 0.677], abs=5e-4)


def test_split_plot_cake():
    """Cochran & Cox cake data: recipe F(2, 42) = .249, temperature F(5, 210) = 20.52, 1.006."""
    table = reference.data({"data": "data/cake.csv"})
    table["mix"] = table["recipe"] + table["replicate"].astype(str)
    found = fit_mixed_model(table, "angle", "recipe * temperature", ["mix"]).terms()
    assert found["den_df"].to_numpy() == pytest.approx([42, 210, 210], abs=1e-5)
    assert found["F"].to_numpy() == pytest.approx([0.249, 20.52, 1.006], abs=6e-3)


def test_split_plot_oats():
    """Yates (1935): N F(3, 45) = 37.69; V F(2, 10) = 1.485; N:V F(6, 45) = .303."""
    case = reference.values("lmm/oats_splitplot")
    fit = fit_mixed_model(reference.data(case), "yield", "nitro * variety", ["block", "plot"])
    found = fit.terms().set_index("term")
    order = ["nitro", "variety", "nitro:variety"]
    assert found.loc[order, "F"].to_numpy() == pytest.approx([37.69, 1.485, 0.303], abs=6e-3)
    assert found.loc[order, "den_df"].to_numpy() == pytest.approx([45, 10, 45], abs=1e-5)
