"""Does the analysis keep its promises? Type I error, coverage and bias over many designs.

    python -m tests.benchmarks.calibration [--quick] [--json]

Each design is simulated twice from its own streams: once with all methods equal (type I
error of each pair at 5 %, family-wise error of all pairs by Tukey–Kramer), once with means
0.25 points apart (coverage of the 95 % intervals of pairs, of all pairs at once, and of the
set of methods that may be the best by Hsu; bias). Every trial goes through REML and
Kenward–Roger. Beside them Wald's z, what a general-purpose mixed model prints: at the exact
REML optimum for all trials, and by statsmodels itself on the first few, where its fits
that fail or do not converge are counted.

A nominal 5 % is met where the figure lies within its Monte Carlo error of 5. Shares are in
per cent; "±" is one Monte Carlo standard error. Trials in which a method lost every shot,
or which did not converge, are counted and left out.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from kit.analysis.batch.fit import fit_batch
from kit.analysis.batch.layout import Layout
from kit.analysis.batch.nested import nested_plan
from kit.analysis.batch.products import forms
from kit.analysis.batch.simulate import Noise, Truth, draw_trials, normal_noise
from kit.analysis.batch.streams import Chunk, run_chunks
from kit.analysis.dunnett_table import best_table
from kit.analysis.range_table import studentized_range_table
from tests.analysis.batch import designs
from tests.benchmarks.reporting import arguments, emit, machine, mean, share

SEED = 20_250_102
SHOT_SD, STEP, Z = 0.45, 0.25, 1.959963984540054


def leaning(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    """Gamma of shape 2, mean 0, SD 1: skewness 1.4."""
    return (rng.standard_gamma(2.0, shape) - 2.0) / np.sqrt(2.0)


def long_tailed(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    """Student's t on 5 df, SD 1."""
    return rng.standard_t(5, shape) / np.sqrt(5.0 / 3.0)


@dataclass(frozen=True)
class Case:
    """A design and the noise it meets."""

    name: str
    layout: Layout
    random_sds: tuple[float, ...]
    loss: float = 0.0
    noise: Noise = normal_noise
    ratios: tuple[float, ...] = ()
    rows: np.ndarray | None = field(default=None)

    def truth(self, step: float) -> Truth:
        """Means ``step`` apart; residual SDs the stated multiples of the shot SD."""
        k = self.layout.n_methods
        sds = tuple(SHOT_SD * r for r in (self.ratios or (1.0,) * k))
        return Truth(tuple(step * i for i in range(k)), self.random_sds, sds, self.loss, self.noise)

    @property
    def contrasts(self) -> np.ndarray:
        """All pairs, or the stated contrasts."""
        return self.layout.all_pairs() if self.rows is None else self.rows


def cases() -> list[Case]:
    """The designs, from the plain to the awkward."""
    five, usual = designs.complete(5, 12, 3), (0.30, 0.20)
    seven, plot = designs.incomplete(), designs.split_plot()
    whole = np.array([[0.5, 0.5, -0.5, -0.5]])
    return [
        Case("5 x 12 complete", five, usual),
        Case("5 x 12, 15 % lost", five, usual, 0.15),
        Case("5 x 12, no session or block variance", five, (0.0, 0.0)),
        Case("5 x 12, no such variance, 15 % lost", five, (0.0, 0.0), 0.15),
        Case("5 x 12, large session and block SD", five, (0.90, 0.60)),
        Case("3 x 4 complete", designs.complete(3, 4, 2), usual),
        Case("3 x 4, 15 % lost", designs.complete(3, 4, 2), usual, 0.15),
        Case("2 x 8, blocks only", designs.complete(2, 8, 1), (0.20,)),
        Case("7 in blocks of 4, 14 bags", seven, (0.20, 0.35)),
        Case("7 in blocks of 4, 15 % lost", seven, (0.20, 0.35), 0.15),
        Case("4 x 12, positions adjusted, 10 % lost", designs.latin_positions(), (0.30,), 0.10),
        Case("crossed tasters", designs.crossed_tasters(), (0.60, 0.30, 0.20)),
        Case("tasters crossed with rounds", designs.crossed_rounds(), (0.50, 0.30)),
        Case("method by session, 10 % lost", designs.method_by_session(), (0.3, 0.2, 0.15), 0.10),
        Case("split plot, cells", plot, (0.30, 0.25)),
        Case("split plot, whole-plot factor", plot, (0.30, 0.25), rows=whole),
        Case("split plot, whole-plot factor, 15 % lost", plot, (0.30, 0.25), 0.15, rows=whole),
        Case("5 x 12, one SD doubled", five, usual, ratios=(2.0, 1.0, 1.0, 1.0, 1.0)),
        Case("5 x 12, leaning shots, 15 % lost", five, usual, 0.15, leaning),
        Case("5 x 12, long tails, 15 % lost", five, usual, 0.15, long_tailed),
        Case("6 x 50, 15 % lost", designs.complete(6, 50, 5), usual, 0.15),
    ]


@dataclass(frozen=True)
class Analysed:
    """Draw, fit and judge one chunk; rows of the result run over trials."""

    case: Case
    step: float

    def __call__(self, rng: np.random.Generator, trials: int) -> Chunk:
        layout, rows, truth = self.case.layout, self.case.contrasts, self.case.truth(self.step)
        y, kept = draw_trials(layout, truth, rng, trials)
        fits = fit_batch(layout, y, kept, start=truth.ratios)
        kr = fits.kenward_roger(rows)
        true = rows[:, : layout.n_methods] @ np.array(truth.means)
        error = kr.estimate - true[:, None]
        used = fits.converged
        size = np.abs(error)
        with np.errstate(invalid="ignore"):
            df = np.where(used, kr.df, 100.0)
            wald_se = np.sqrt(forms(rows, fits.at.inverse) * fits.sigma2)
            result = {
                "used": used,
                "unusable": ~fits.usable,
                "missed": size > _t_critical(df) * kr.se,
                "family_missed": (size > self._family(df) * kr.se).any(axis=0),
                "wald_missed": size > Z * wald_se,
                "error": error[0],
                "residual_variance": fits.sigma2,
            }
        if self.case.rows is None:
            result["best_kept"] = self._best_kept(fits, used)
        return result

    def _family(self, df: np.ndarray) -> np.ndarray:
        if len(self.case.contrasts) == 1:
            return _t_critical(df)
        return studentized_range_table(self.case.layout.n_methods).critical(df) / np.sqrt(2.0)

    def _best_kept(self, fits: Any, used: np.ndarray) -> np.ndarray:
        """Whether the truly best method (the last) stays in the set that may be the best."""
        last = self.case.layout.n_methods - 1
        above = fits.kenward_roger(self.case.layout.against(last))
        df = np.where(used, above.df, 100.0)
        critical = best_table(last).critical(df)
        with np.errstate(invalid="ignore"):
            return np.asarray((above.estimate < critical * above.se).all(axis=0))


def _t_critical(df: np.ndarray) -> np.ndarray:
    """Two-sided 5 % point of t, from the range of two."""
    return studentized_range_table(2).critical(df) / np.sqrt(2.0)


def study(case: Case, trials: int, library_fits: int, jobs: int) -> dict[str, Any]:
    """All figures of one design, from streams of its own."""
    null_rng, spread_rng, library_rng = np.random.default_rng([SEED, *case.name.encode()]).spawn(3)
    null = _used(run_chunks(Analysed(case, 0.0), trials, null_rng, jobs))
    spread = _used(run_chunks(Analysed(case, STEP), trials, spread_rng, jobs))
    each = null["missed"].mean(axis=1)
    result: dict[str, Any] = {
        "design": case.name,
        "trials": trials,
        "a_method_lost_entirely": null["unusable_share"],
        "not_converged": null["not_converged_share"],
        "type_one_pair": clustered(null["missed"]),
        "type_one_extreme_pair": float(each[np.abs(each - 0.05).argmax()]),
        "type_one_family": share(null["family_missed"]),
        "wald_type_one_pair": clustered(null["wald_missed"]),
        "coverage_pair": clustered(~spread["missed"]),
        "coverage_all_pairs": share(~spread["family_missed"]),
        "bias_first_pair": mean(spread["error"]),
        "mean_residual_variance": mean(spread["residual_variance"]),
        "true_residual_variance": float(np.mean(np.square(case.truth(0.0).residual_sds))),
    }
    if "best_kept" in spread:
        result["best_kept_equal"] = share(null["best_kept"])
        result["best_kept_apart"] = share(spread["best_kept"])
    if library_fits:
        result["statsmodels"] = statsmodels_wald(case, library_rng, library_fits)
    return result


def _used(result: Chunk) -> dict[str, Any]:
    """Only the trials that count, and the shares of those that do not."""
    used = result["used"]
    kept = {k: v[..., used] for k, v in result.items() if k not in ("used", "unusable")}
    kept["unusable_share"] = float(result["unusable"].mean())
    kept["not_converged_share"] = float((~used & ~result["unusable"]).mean())
    return kept


def clustered(hits: np.ndarray) -> dict[str, float]:
    """Share over pairs and trials; the error from the trials, whose pairs go together."""
    per_trial = hits.mean(axis=0)
    found = mean(per_trial)
    return {"share": found["mean"], "mc_error": found["mc_error"]}


def statsmodels_wald(case: Case, rng: np.random.Generator, fits: int) -> dict[str, Any]:
    """Wald z of MixedLM itself on trials without a difference: failures and type I error."""
    import pandas as pd
    from statsmodels.regression.mixed_linear_model import MixedLM

    layout = case.layout
    y, kept = draw_trials(layout, case.truth(0.0), rng, fits)
    rows, failed, missed = case.contrasts, 0, []
    names = [f"f{i}" for i in range(layout.n_fixed)]
    for t in range(fits):
        here = kept[:, t]
        frame = pd.DataFrame(layout.fixed[here], columns=names).assign(y=y[here, t], one=1)
        parts = {}
        for name, codes in zip(layout.names, layout.codes, strict=True):
            frame[name] = codes[here]
            parts[name] = f"0 + C({name})"
        formula = "y ~ 0 + " + " + ".join(names)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # its own warnings; convergence is counted
                fit = MixedLM.from_formula(formula, frame, groups="one", vc_formula=parts).fit()
            covariance = np.asarray(fit.cov_params())[: len(names), : len(names)]
            variance = np.einsum("ca,ab,cb->c", rows, covariance, rows)
            estimate = rows @ np.asarray(fit.fe_params)
        except (np.linalg.LinAlgError, ValueError):
            failed += 1
            continue
        if not np.all(variance > 0.0):  # it prints no standard error, or NaN
            failed += 1
            continue
        failed += not fit.converged
        missed.append(np.abs(estimate) > Z * np.sqrt(variance))
    counted = np.array(missed, dtype=bool).T
    return {
        "fits": fits,
        "failed": failed / fits,
        "type_one_pair": clustered(counted) if len(missed) > 1 else None,
    }


def _cell(found: dict[str, float] | None) -> str:
    if found is None:
        return "-".rjust(11)
    return f"{100 * found['share']:5.2f}±{100 * found['mc_error']:.2f}".rjust(11)


def _lines(results: list[dict[str, Any]], where: dict[str, Any]) -> list[str]:
    first = results[0]
    lines = [
        f"{where['cores']} cores, Python {where['python']}, numpy {where['numpy']}; "
        f"{first['trials']:,} trials a design and truth (fewer where stated); seed {SEED} and name",
        "per cent: type I error of a pair, of all pairs at once (Tukey), of a pair by Wald's z;",
        "coverage of a pair, of all pairs at once, of the may-be-best set (methods equal, apart)",
        f"{'design':42}{'pair':>11}{'family':>11}{'Wald z':>11}"
        f"{'cover':>11}{'all':>11}{'best, eq':>11}{'best':>11}",
    ]
    for r in results:
        cells = [r["type_one_pair"], r["type_one_family"], r["wald_type_one_pair"]]
        cells += [r["coverage_pair"], r["coverage_all_pairs"]]
        cells += [r.get("best_kept_equal"), r.get("best_kept_apart")]
        lines.append(f"{r['design']:42}" + "".join(map(_cell, cells)))
    lines.append("")
    lines.append(
        "bias of the first contrast in points, mean residual variance over true; pair farthest "
        "from 5 %; share not converged, with a method lost entirely; statsmodels: failed, Wald z"
    )
    for r in results:
        bias, ratio = r["bias_first_pair"], r["mean_residual_variance"]
        true = r["true_residual_variance"]
        peer = r.get("statsmodels")
        text = (
            f"{r['design']:42}{bias['mean']:+.4f}±{bias['mc_error']:.4f}  "
            f"{ratio['mean'] / true:.4f}±{ratio['mc_error'] / true:.4f}  "
            f"{100 * r['type_one_extreme_pair']:.2f}  {r['not_converged']:.5f}  "
            f"{r['a_method_lost_entirely']:.5f}"
        )
        if peer:
            text += f"  {peer['failed']:.0%} of {peer['fits']} {_cell(peer['type_one_pair'])}"
        if r["trials"] != first["trials"]:
            text += f"  ({r['trials']:,} trials)"
        lines.append(text)
    return lines


def main() -> None:
    options = arguments(__doc__)
    where = machine()
    trials, library_fits = (2_048, 0) if options.quick else (40_960, 60)
    results = []
    for case in cases():
        slow = nested_plan(case.layout) is None  # the general route takes ten times as long
        n = min(trials, 1_024 if options.quick else 10_240) if slow else trials
        results.append(study(case, n, library_fits, jobs=2))
    emit({"machine": where, "seed": SEED, "designs": results}, _lines(results, where), options.json)


if __name__ == "__main__":
    main()
