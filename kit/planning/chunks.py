"""Long computations in chunks: on one core, many, or a cluster; watched, and stopped at will.

Each chunk has its own stream of random numbers, derived from the recorded seed and the chunk's
number, so the result is the same wherever and in whatever order the chunks are run.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from kit.analysis.batch.streams import in_order
from kit.errors import PlanError

Result = TypeVar("Result")
Watch = Callable[[int, int], None]
"""watch(trials done, trials in all), called after each chunk."""
Stop = Callable[[], bool]

MOST_TRIALS = 1_000_000


@dataclass(frozen=True)
class Progress:
    """How far a simulation has come."""

    done: int
    total: int
    seconds: float
    seconds_left: float


@dataclass(frozen=True)
class Run:
    """How to run: how many trials, from which seed, on how many processes."""

    trials: int
    seed: int
    jobs: int | None = 1
    """Processes, by joblib; None takes what ``joblib.parallel_config`` says (a cluster)."""
    watch: Watch | None = None
    stop: Stop | None = None
    """Asked after each chunk; once true, what is done is kept."""

    def __post_init__(self) -> None:
        if not 1 <= self.trials <= MOST_TRIALS:
            raise PlanError(
                f"A simulation takes 1 to {MOST_TRIALS:,} virtual trials, found {self.trials:,}."
            )
        if self.seed < 0:
            raise PlanError(f"A seed is a whole number from 0 up, found {self.seed}.")


def stream(seed: int, chunk: int) -> np.random.Generator:
    """The random numbers of one chunk."""
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(chunk,))))


def in_chunks(work: Callable[[int, int, int], Result], run: Run, largest: int) -> list[Result]:
    """``work(seed, chunk number, trials)`` for every chunk of at most ``largest`` trials.

    Returns the results in the order of the chunks; fewer where the run was stopped.
    """
    sizes = [min(largest, run.trials - start) for start in range(0, run.trials, largest)]
    results: list[Result] = []
    done = 0
    calls = ((run.seed, number, size) for number, size in enumerate(sizes))
    coming = in_order(work, calls, run.jobs)
    for size, result in zip(sizes, coming, strict=False):
        results.append(result)
        done += size
        if run.watch is not None:
            run.watch(done, run.trials)
        if run.stop is not None and run.stop():
            break
    coming.close()  # ends the processes of a run that was stopped
    return results


def timed(show: Callable[[Progress], None], clock: Callable[[], float]) -> Watch:
    """A ``watch`` that adds seconds passed and seconds left, by the clock given."""
    start = clock()

    def watch(done: int, total: int) -> None:
        passed = clock() - start
        show(Progress(done, total, passed, passed / done * (total - done)))

    return watch
