"""Figures for five methods in complete blocks that were computed before this code was written.

Independent of it (other programs, other formulas). Where one differs from ours the reason stands
beside it.
"""

from __future__ import annotations

from typing import Any

from kit.planning.comparisons import AllPairs, Interaction, MainEffect, NamedPair
from kit.planning.consistency_power import pair_spread_power, sd_interval_factors, shots_for_spread
from kit.planning.discrimination_power import (
    difference_power,
    fewest_correct,
    first_tests_for_difference,
)
from kit.planning.equivalence_power import equivalence_power, shots_for_equivalence
from kit.planning.fault_power import (
    first_shots_for_rates,
    fisher_power,
    highest_rate_after_zero_faults,
    rate_interval,
)
from kit.planning.power import difference_detected, power, shots_needed
from kit.planning.precision import half_width
from kit.planning.selection import chance_best_ranks_first

Row = tuple[str, float, float]
"""Figure, as known, as found here."""

WHY = {
    "shots for 10 % v 30 %": "ours: 69 reaches 0.8073 by full enumeration with scipy's own test",
    "shots for 10 % v 50 %": "ours: 23 reaches 0.8114 by full enumeration with scipy's own test",
    "best ahead by 0.2 first at 10": "ours: 0.6240 by integral and by scipy's multivariate normal",
}
_DETECTED = {
    0.3: (0.50, {0.3: 27, 0.5: 11, 0.75: 6, 1.0: 4}),
    0.45: (0.75, {0.3: 59, 0.4: 34, 0.5: 22, 0.75: 11, 1.0: 7}),
    0.6: (1.00, {0.3: 103, 0.5: 38, 0.75: 18, 1.0: 11}),
    0.8: (1.34, {0.5: 67, 1.0: 18}),
}


def known_figures() -> list[dict[str, Any]]:
    """Every figure: ``figure, known, here, agree, why``; agreement is to the digits known."""
    rows = [*_means(), *_spread(), *_faults(), *_sameness(), *_choice(), *_factorial(), *_taste()]
    return [
        {
            "figure": name,
            "known": known,
            "here": float(here),
            "agree": _prints_as(here, known),
            "why": WHY.get(name, "differs"),
        }
        for name, known, here in rows
    ]


def _means() -> list[Row]:
    rows: list[Row] = []
    for sd, (detected, counts) in _DETECTED.items():
        pairs = AllPairs(5, sd)
        found = difference_detected(pairs, 10)
        rows.append((f"SD {sd}: detected by 10, all pairs", detected, found))
        rows += [(f"SD {sd}: shots for {d}", n, shots_needed(pairs, d)) for d, n in counts.items()]
    single = NamedPair(5, 0.45)
    return [
        *rows,
        ("SD 0.45: detected by 10, one pair", 0.58, difference_detected(single, 10)),
        ("SD 0.5, 0.5 points, 10: all pairs", 0.28, power(AllPairs(5, 0.5), 0.5, 10)),
        ("SD 0.5, 0.5 points, 10: one pair", 0.59, power(NamedPair(5, 0.5), 0.5, 10)),
        ("half-width at 10", 0.41, half_width(single, 10)),
        ("half-width at 30", 0.23, half_width(single, 30)),
    ]


def _spread() -> list[Row]:
    chances = [(1.5, 0.20), (2, 0.50), (3, 0.88)]
    alone, together = [(1.5, 50), (2, 19), (3, 9)], [(1.5, 84), (2, 31), (3, 14)]
    return [
        *[(f"SD ratio {r} at 10 (F)", p, pair_spread_power(r, 10)) for r, p in chances],
        *[(f"shots for SD ratio {r} (F)", n, shots_for_spread(r)) for r, n in alone],
        *[
            (f"shots for SD ratio {r}, 10 pairs", n, shots_for_spread(r, pairs=10))
            for r, n in together
        ],
        ("SD interval of 10, low", 0.69, sd_interval_factors(9)[0]),
        ("SD interval of 10, high", 1.83, sd_interval_factors(9)[1]),
    ]


def _faults() -> list[Row]:
    chances, sizes = [(0.3, 0.06), (0.4, 0.15), (0.5, 0.30)], [(0.3, 70), (0.4, 36), (0.5, 24)]
    return [
        *[
            (f"faults 10 % v {100 * rate:.0f} % at 10", known, fisher_power(rate, 0.1, 10, 10))
            for rate, known in chances
        ],
        *[
            (f"shots for 10 % v {100 * rate:.0f} %", n, first_shots_for_rates(0.1, rate))
            for rate, n in sizes
        ],
        ("0 of 10 allows, one-sided", 0.26, highest_rate_after_zero_faults(10)),
        ("0 of 10 allows, two-sided", 0.31, rate_interval(0, 10)[1]),
        ("3 of 10, low", 0.07, rate_interval(3, 10)[0]),
        ("3 of 10, high", 0.65, rate_interval(3, 10)[1]),
    ]


def _sameness() -> list[Row]:
    single = NamedPair(5, 0.45)
    sizes = [(0.5, 15), (0.4, 23), (0.3, 39), (0.75, 7)]
    return [
        ("same within 0.5 at 10", 0.57, equivalence_power(single, 0.5, 10)),
        *[(f"shots for same within {m}", n, shots_for_equivalence(single, m)) for m, n in sizes],
    ]


def _choice() -> list[Row]:
    return [
        ("best ahead by 0.3 first at 10", 0.81, chance_best_ranks_first(0.3, 5, 0.45, 10)),
        ("best ahead by 0.2 first at 10", 0.63, chance_best_ranks_first(0.2, 5, 0.45, 10)),
        ("best ahead by 0.2 first at 30", 0.87, chance_best_ranks_first(0.2, 5, 0.45, 30)),
    ]


def _factorial() -> list[Row]:
    return [
        ("2 × 2: main effect 0.5 at 10", 0.92, power(MainEffect(4, 2, 0.45), 0.5, 10)),
        ("2 × 2: main effect 0.3 at 10", 0.53, power(MainEffect(4, 2, 0.45), 0.3, 10)),
        ("2 × 2: interaction 0.5 at 10", 0.40, power(Interaction(4, 2, 2, 0.45), 0.5, 10)),
    ]


def _taste() -> list[Row]:
    return [
        ("triangle: fewest right of 10", 7, float(fewest_correct("triangle", 10) or 0)),
        ("triangle: power of 10, half can tell", 0.56, difference_power("triangle", 10, 0.5)),
        ("triangle: tests, half can tell", 16, first_tests_for_difference("triangle", 0.5)),
        ("triangle: tests, 0.3 can tell", 40, first_tests_for_difference("triangle", 0.3)),
        ("triangle: the same at 95 %", 66, first_tests_for_difference("triangle", 0.3, 0.95)),
    ]


def _prints_as(here: float, known: float) -> bool:
    if known == int(known) and known > 1.5:
        return round(here) == known
    return abs(round(here, 2) - known) < 1e-9
