"""How long a schedule and its certificate take, and how even the best incomplete blocks are.

Run as ``python -m tests.benchmarks.schedules [--quick] [--json]``. Every figure is the best of a
few repeats in one process; searched designs are kept between calls, so the first repeat is the
one a person waits for and is printed too.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from kit.design.efficiency import efficiency_bound, efficiency_factor
from kit.design.incomplete import best_incomplete_blocks
from kit.schedule import certificate, draw_schedule, randomisation_scheme
from kit.trial import Trial
from tests.benchmarks.reporting import arguments, emit, machine, timed
from tests.schedule.trials import trial_with

CASES = {
    "6x20 carry-over balanced": lambda: trial_with(6, 4, 5, "carry-over balanced"),
    "12x100 complete": lambda: trial_with(12, 10, 10, "complete blocks"),
    "12x100 carry-over balanced": lambda: trial_with(12, 10, 10, "carry-over balanced"),
    "12x100 in fives": lambda: trial_with(12, 10, 10, "incomplete blocks", shots_per_block=5),
    "7x28 in fours, bags of 8": lambda: trial_with(
        7, 7, 4, "incomplete blocks", shots_per_block=4, study_shots_per_bag=8
    ),
}
SIZES = [(7, 4, 10), (8, 4, 12), (8, 3, 20), (9, 5, 12), (10, 4, 18), (12, 5, 24), (14, 6, 30)]


def _case(build: Callable[[], Trial], repeats: int) -> dict[str, float]:
    trial = build()
    draws = [timed(lambda: draw_schedule(trial, 1)) for _ in range(repeats)]
    schedule = draws[0][2]
    certified = [timed(lambda: certificate(trial, schedule)) for _ in range(repeats)]
    return {
        "draw_first_s": draws[0][0],
        "draw_best_s": min(draw[0] for draw in draws),
        "certificate_best_s": min(entry[0] for entry in certified),
        "log10_schedules": randomisation_scheme(trial).log10_size,
    }


def main() -> None:
    """Print times, sizes of the sets and efficiencies against their bounds."""
    options = arguments(__doc__ or "")
    repeats = 2 if options.quick else 6
    times = {name: _case(build, repeats) for name, build in CASES.items()}
    even = {
        f"{t} in {k}, {b} blocks": {
            "efficiency": efficiency_factor(best_incomplete_blocks(t, k, b)),
            "bound": efficiency_bound(t, k, b),
        }
        for t, k, b in SIZES
    }
    result: dict[str, Any] = {"machine": machine(), "times": times, "efficiency": even}
    lines = [
        f"{name}: drawn in {case['draw_first_s']:.2f} s at first, {case['draw_best_s']:.3f} s "
        f"after; certificate {case['certificate_best_s']:.2f} s; about "
        f"10^{case['log10_schedules']:.0f} schedules"
        for name, case in times.items()
    ]
    lines += [
        f"{name}: efficiency {case['efficiency']:.4f}, bound {case['bound']:.4f}"
        for name, case in even.items()
    ]
    emit(result, lines, options.json)


if __name__ == "__main__":
    main()
