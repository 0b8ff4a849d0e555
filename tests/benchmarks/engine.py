"""Complete simulated trials a second: simulate, lose shots, fit, Kenward–Roger, Tukey decision.

    python -m tests.benchmarks.engine [--quick] [--json]

Shot SD 0.45, session SD 0.30, block SD 0.20; every shot lost with probability 0.1; no true
difference. One trial = draw its shots, lose some, REML fit, Kenward–Roger SE and df of all
pairs, decision of every pair by the Tukey–Kramer critical value. The complete design is
drawn from its sums of squares. The very data of the first trials are then given to the
general-purpose mixed model of the Python ecosystem (fit alone, no small-sample inference)
and, where R with lme4, pbkrtest and emmeans is present, to those; all in this run, so the
ratios hold whatever else the machine is doing. "wall": best of the repeats on two
processes; "cpu": per second of processor time of one process, the figure to read when
other programs keep the machine busy.
"""

from __future__ import annotations

import csv
import shutil
import subprocess
import tempfile
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from kit.analysis.batch.complete import complete_design, draw_complete
from kit.analysis.batch.fit import BatchFit, fit_batch
from kit.analysis.batch.layout import Layout
from kit.analysis.batch.moments import criterion, estimates
from kit.analysis.batch.simulate import SimulatedContrasts, Truth, draw_trials
from kit.analysis.batch.streams import CHUNK, Chunk, stream_chunks
from kit.analysis.range_table import studentized_range_table
from tests.analysis.batch.designs import complete
from tests.benchmarks.reporting import arguments, emit, machine, timed

SEED = 20_250_101
SESSION_SD, BLOCK_SD, SHOT_SD, LOSS = 0.30, 0.20, 0.45, 0.10
R_PACKAGES = ("lme4", "pbkrtest", "emmeans")


@dataclass(frozen=True)
class TukeyTrials:
    """Draw, lose, fit, compare, decide."""

    layout: Layout
    truth: Truth

    def __call__(self, rng: np.random.Generator, trials: int) -> Chunk:
        pairs = SimulatedContrasts(self.layout, self.truth, self.layout.all_pairs())(rng, trials)
        table = studentized_range_table(self.layout.n_methods)
        with np.errstate(invalid="ignore"):
            critical = table.critical(pairs["df"]) / np.sqrt(2.0)
            different = np.abs(pairs["estimate"]) > critical * pairs["se"]
        return {
            "different": different.any(axis=0),
            "usable": pairs["usable"],
            "converged": pairs["converged"],
        }


@dataclass(frozen=True)
class CompleteTukeyTrials:
    """The same for a complete design, from its sums of squares."""

    layout: Layout

    def __call__(self, rng: np.random.Generator, trials: int) -> Chunk:
        design = complete_design(self.layout)
        assert design is not None
        random = np.array([BLOCK_SD**2, SESSION_SD**2])
        fits = draw_complete(design, np.zeros(design.methods), random, SHOT_SD**2, rng, trials)
        table = studentized_range_table(design.methods)
        critical = float(table.critical(np.array([fits.df]))[0]) / np.sqrt(2.0)
        spread = fits.means.max(axis=0) - fits.means.min(axis=0)
        return {"different": spread > critical * fits.se}


def truth_for(layout: Layout) -> Truth:
    k = layout.n_methods
    return Truth((0.0,) * k, (SESSION_SD, BLOCK_SD), (SHOT_SD,) * k, LOSS)


def count(work: Any, trials: int, jobs: int) -> dict[str, float]:
    """Run through all chunks; family-wise decisions and what did not converge."""
    total = {"trials": 0, "different": 0, "unusable": 0, "not_converged": 0}
    for chunk in stream_chunks(work, trials, np.random.default_rng(SEED), jobs):
        total["trials"] += chunk["different"].size
        total["different"] += int(chunk["different"].sum())
        if "usable" in chunk:
            total["unusable"] += int((~chunk["usable"]).sum())
            total["not_converged"] += int((chunk["usable"] & ~chunk["converged"]).sum())
    return total


def rate(work: Any, trials: int, repeats: int, jobs: int) -> dict[str, float]:
    """Best wall rate of several runs on ``jobs`` processes, and the rate per CPU second of one."""
    count(work, CHUNK * jobs, jobs)  # start the workers, build the tables
    walls, cpus = [], []
    for _ in range(repeats):
        wall, _, result = timed(lambda: count(work, trials, jobs))
        walls.append(wall)
        _, cpu, _ = timed(lambda: count(work, max(trials // 4, CHUNK), 1))
        cpus.append(cpu / max(trials // 4, CHUNK))
    return {
        **result,
        "wall": trials / min(walls),
        "wall_median": trials / float(np.median(walls)),
        "cpu": 1.0 / min(cpus),
    }


def statsmodels_loop(layout: Layout, y: np.ndarray, kept: np.ndarray) -> dict[str, float]:
    """MixedLM fits of the same trials; how far its criterion stays above ours."""
    import pandas as pd
    from statsmodels.regression.mixed_linear_model import MixedLM

    ours = fit_batch(layout, y, kept)
    tables = [trial_table(layout, y, kept, t) for t in range(y.shape[1])]

    def loop() -> list[np.ndarray | None]:
        found: list[np.ndarray | None] = []
        for table in tables:
            frame = pd.DataFrame(table)
            try:
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore")  # its own warnings; convergence is counted
                    fit = MixedLM.from_formula(
                        "y ~ C(method)",
                        frame,
                        groups="session",
                        re_formula="1",
                        vc_formula={"block": "0 + C(block)"},
                    ).fit(reml=True)
                ratios = np.array([float(fit.cov_re.iloc[0, 0]), float(fit.vcomp[0])]) / fit.scale
                found.append(ratios if fit.converged else None)
            except (np.linalg.LinAlgError, ValueError):
                found.append(None)
        return found

    wall, cpu, found = timed(loop)
    worse = sum(ratio is None or _excess(ours, ratio, t) > 1e-3 for t, ratio in enumerate(found))
    fits = len(tables)
    return {"fits": fits, "wall": fits / wall, "cpu": fits / cpu, "failed_or_worse": worse / fits}


def _excess(ours: BatchFit, ratios: np.ndarray, trial: int) -> float:
    """Criterion at these ratios less our minimum, for one trial."""
    one = ours.trials.subset(np.array([trial]))
    at = one.products(np.maximum(ratios, 0.0)[:, None])
    value = criterion(at, estimates(at), one.degrees).value[0]
    return float(value - ours.minimum.value[trial])


def trial_table(layout: Layout, y: np.ndarray, kept: np.ndarray, t: int) -> dict[str, np.ndarray]:
    here = kept[:, t]
    columns = {name: codes[here] for name, codes in zip(layout.names, layout.codes, strict=True)}
    return {"y": y[here, t], "method": layout.fixed.argmax(axis=1)[here], **columns}


def lme4_loop(layout: Layout, y: np.ndarray, kept: np.ndarray) -> dict[str, float] | None:
    """lme4 + emmeans on the same trials, and how far its numbers are from ours; None without R."""
    if not _r_is_present():
        return None
    with tempfile.TemporaryDirectory() as folder:
        with (Path(folder) / "trials.csv").open("w", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(["trial", "y", "method", "session", "block"])
            for t in range(y.shape[1]):
                table = trial_table(layout, y, kept, t)
                rows = zip(*(table[c] for c in ("y", "method", "session", "block")), strict=True)
                writer.writerows([t, f"{row[0]:.17g}", *row[1:]] for row in rows)
        script = Path(__file__).with_name("engine_lme4.R")
        run = subprocess.run(
            ["Rscript", str(script), folder], capture_output=True, text=True, check=True
        )
        seconds = float(run.stdout.split()[-1])
        with (Path(folder) / "pairs.csv").open() as file:
            theirs = list(csv.DictReader(file))
    fits = fit_batch(layout, y, kept)
    ours = fits.kenward_roger(layout.all_pairs())
    per_trial = ours.se.shape[0]
    se = np.array([float(row["SE"]) for row in theirs]).reshape(-1, per_trial).T
    df = np.array([float(row["df"]) for row in theirs]).reshape(-1, per_trial).T
    top = np.array([float(row["criterion"]) for row in theirs]).reshape(-1, per_trial)[:, 0]
    return {
        "fits": y.shape[1],
        "wall": y.shape[1] / seconds,
        "median_relative_difference_se": float(np.median(np.abs(se / ours.se - 1))),
        "median_difference_df": float(np.median(np.abs(df - ours.df))),
        "largest_criterion_below_ours": float(np.max(fits.reml_criterion - top)),
        "trials_where_it_stopped_above_ours_by_1e-6": int(np.sum(top - fits.reml_criterion > 1e-6)),
    }


def _r_is_present() -> bool:
    if shutil.which("Rscript") is None:
        return False
    asked = ", ".join(f'"{p}"' for p in R_PACKAGES)
    code = f"q(status = !all(sapply(c({asked}), requireNamespace, quietly = TRUE)))"
    return subprocess.run(["Rscript", "-e", code], capture_output=True).returncode == 0


def study(name: str, layout: Layout, trials: int, repeats: int, peers: int) -> dict[str, Any]:
    """Ours and the others on one design."""
    truth = truth_for(layout)
    ours = rate(TukeyTrials(layout, truth), trials, repeats, jobs=2)
    y, kept = draw_trials(layout, truth, np.random.default_rng(SEED).spawn(1)[0], CHUNK)
    return {
        "name": name,
        "ours": ours,
        "statsmodels": statsmodels_loop(layout, y[:, :peers], kept[:, :peers]),
        "lme4_emmeans": lme4_loop(layout, y[:, :peers], kept[:, :peers]),
    }


def main() -> None:
    options = arguments(__doc__)
    where = machine()
    scale, repeats, peers = (8, 2, 12) if options.quick else (48, 5, 60)
    small = study("5x12_lost10", complete(5, 12, 3), scale * CHUNK, repeats, peers)
    large = study("6x50_lost10", complete(6, 50, 5), scale * CHUNK // 3, repeats, peers)
    closed = rate(CompleteTukeyTrials(complete(5, 12, 3)), 20 * scale * CHUNK, repeats, jobs=1)
    fitted = [small["ours"], large["ours"]]
    result = {
        "machine": where,
        "seed": SEED,
        "trials_per_second": {
            "5x12_lost10": small["ours"]["wall"],
            "6x50_lost10": large["ours"]["wall"],
            "5x12_complete": closed["wall"],
        },
        "trials_per_cpu_second": {
            "5x12_lost10": small["ours"]["cpu"],
            "6x50_lost10": large["ours"]["cpu"],
            "5x12_complete": closed["cpu"],
        },
        "statsmodels_fits_per_second": small["statsmodels"]["wall"],
        "not_converged": sum(f["not_converged"] for f in fitted) / sum(f["trials"] for f in fitted),
        "designs": [small, large],
        "complete": closed,
    }
    emit(result, _lines(result), options.json)


def _lines(result: dict[str, Any]) -> list[str]:
    where, closed = result["machine"], result["complete"]
    lines = [
        f"{where['cores']} cores, load {where['load_at_start']}, Python {where['python']}, "
        f"numpy {where['numpy']}; seed {result['seed']}",
    ]
    for design in result["designs"]:
        ours, peer, r = design["ours"], design["statsmodels"], design["lme4_emmeans"]
        lines += [
            f"{design['name']}: {ours['trials']} trials; {ours['wall']:,.0f} a second on two "
            f"processes (median {ours['wall_median']:,.0f}); {ours['cpu']:,.0f} a CPU second",
            f"  not converged {ours['not_converged']}, a method lost entirely {ours['unusable']}, "
            f"any pair called different {ours['different'] / ours['trials']:.4f} ± "
            f"{np.sqrt(0.05 * 0.95 / ours['trials']):.4f}",
            f"  statsmodels: {peer['wall']:.1f} fits a second ({peer['fits']} of the same trials), "
            f"not converged or criterion above ours by 1e-3: {peer['failed_or_worse']:.0%}; "
            f"ratio {ours['wall'] / peer['wall']:,.0f} (CPU, one process: "
            f"{ours['cpu'] / peer['cpu']:,.0f})",
        ]
        if r is None:
            lines.append("  lme4 + emmeans: R with lme4, pbkrtest and emmeans is not present")
        else:
            lines.append(
                f"  lme4 + emmeans: {r['wall']:.1f} a second ({r['fits']} of the same trials); "
                f"ratio {ours['wall'] / r['wall']:,.0f}; median difference of KR SE "
                f"{r['median_relative_difference_se']:.1e} (relative), of df "
                f"{r['median_difference_df']:.1e}; its criterion never below ours by more than "
                f"{max(r['largest_criterion_below_ours'], 0.0):.1e}, above by 1e-6 in "
                f"{r['trials_where_it_stopped_above_ours_by_1e-6']}"
            )
    lines.append(
        f"5x12_complete, closed form: {closed['trials']} trials; {closed['wall']:,.0f} a second "
        f"on one process (median {closed['wall_median']:,.0f}), {closed['cpu']:,.0f} a CPU second; "
        f"any pair called different {closed['different'] / closed['trials']:.4f}"
    )
    return lines


if __name__ == "__main__":
    main()
