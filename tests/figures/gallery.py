"""Every figure of the kit from invented tables, by name: what the tests go through."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from kit import figures
from kit.analysis.pooling import pool
from kit.figures import Picture, Setting, measure_of
from kit.trial import Factor, Recipe
from tests.figures import invented

MARK = "Invented example: nobody pulled these shots."
EY = measure_of("ey_pct")
FACTORS = (
    Factor(name="disc", levels=("none", "one")),
    Factor(name="soak", levels=("0 s", "8 s")),
    Factor(name="temperature", levels=("90 °C", "94 °C")),
)


@cache
def gallery(count: int) -> dict[str, Callable[[], Picture]]:
    """Name and maker of every figure, with ``count`` methods."""
    table = invented.shots(count, blocks=12 if count < 8 else 6)
    setting = Setting(invented.methods(count), mark=MARK)
    kept = invented.kept(table)
    cups = invented.tastings(table)
    liking = cups[cups["attribute"] == "liking"]
    checks = invented.sensitivity(table)
    first = checks[(checks["a"] == checks["a"].iloc[0]) & (checks["b"] == checks["b"].iloc[0])]
    kitchens = invented.kitchens()
    pooled = pool(kitchens["estimate"].to_numpy(), kitchens["se"].to_numpy())
    cells, cell_shots = invented.factorial()
    return {
        "shots": lambda: figures.shots_in_order(
            table, EY, Recipe(dose_g=17.5, beverage_g=36), setting
        ),
        "means": lambda: figures.adjusted_means(invented.means(table), kept, EY, setting),
        "differences": lambda: figures.differences(invented.pairs(table), EY, 0.5, setting),
        "spread": lambda: figures.spread(
            invented.spreads(table), invented.residuals(table), EY, setting
        ),
        "ratios": lambda: figures.spread_ratios(invented.spread_ratios(table), EY, 1.5, setting),
        "faults": lambda: figures.fault_rates(invented.rates(table), setting),
        "fault differences": lambda: figures.fault_differences(
            invented.fault_differences(table), 0.2, setting
        ),
        "taste": lambda: figures.taste_scores(invented.scores(cups), cups, "liking", setting),
        "taste against": lambda: figures.taste_against(liking, EY, "liking", setting),
        "taste between methods": lambda: figures.taste_between_methods(
            invented.scores(liking), invented.means(table), EY, "liking", setting
        ),
        "reference": lambda: figures.reference_chart(invented.chart(table), EY, setting),
        "factorial": lambda: figures.factorial_cells(cells, cell_shots, FACTORS, EY, setting),
        "sensitivity": lambda: figures.sensitivity_grid(checks, EY, setting),
        "sensitivity of a pair": lambda: figures.sensitivity_of_pair(first, EY, 0.5, setting),
        "residuals": lambda: figures.residual_checks(invented.residuals(table), EY, setting),
        "balance": lambda: figures.balance_certificate(invented.balance(table), setting),
        "power": lambda: figures.power_curves(invented.power(), 12, setting),
        "answers": lambda: figures.answer_table(invented.power((6, 10, 20, 40)), setting),
        "luck": lambda: figures.luck_gallery(invented.luck(count), EY, setting),
        "replications": lambda: figures.replications(kitchens, pooled, EY, 0.5, setting),
        "ribbon": lambda: figures.trial_ribbon(invented.schedule(table), range(1, 20), setting),
        "running": lambda: figures.running_means(kept, EY, setting),
    }


NAMES = tuple(gallery(2))
