"""Random streams by chunk: results that do not depend on how many workers there are.

Trials are simulated in chunks of a fixed size. Each chunk has a generator of its own,
spawned from the caller's in order, so the first chunks are the same however many follow,
whoever computes them and in whatever order they end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import PlanError

CHUNK = 1024  # trials; fits the second-level cache for the designs met here

Chunk = dict[str, NDArray[Any]]
Work = Callable[[np.random.Generator, int], Chunk]


def stream_chunks(
    work: Work, n_trials: int, rng: np.random.Generator, n_jobs: int = 1
) -> Iterator[Chunk]:
    """Results of ``work(generator, CHUNK)`` in order, as they come; the last is cut to fit.

    ``work`` returns arrays whose last axis runs over trials. With ``n_jobs`` other than 1
    the chunks go through joblib, so ``joblib.parallel_config`` chooses processes, Dask or Ray.
    The caller may stop iterating at any time. Raises PlanError for n_trials < 1.
    """
    if n_trials < 1:
        raise PlanError(f"A simulation needs at least one trial, found {n_trials}.")
    generators = rng.spawn(-(-n_trials // CHUNK))
    left = n_trials
    for chunk in _results(work, generators, n_jobs):
        yield chunk if left >= CHUNK else {k: v[..., :left] for k, v in chunk.items()}
        left -= CHUNK


def _results(work: Work, generators: list[np.random.Generator], n_jobs: int) -> Iterator[Chunk]:
    if n_jobs == 1:
        return (work(generator, CHUNK) for generator in generators)
    from joblib import Parallel, delayed  # not needed by the serial route

    parallel = Parallel(n_jobs=n_jobs, return_as="generator")
    return iter(parallel(delayed(work)(generator, CHUNK) for generator in generators))


def run_chunks(work: Work, n_trials: int, rng: np.random.Generator, n_jobs: int = 1) -> Chunk:
    """All chunks of ``stream_chunks``, joined along the last axis."""
    chunks = list(stream_chunks(work, n_trials, rng, n_jobs))
    return {name: np.concatenate([c[name] for c in chunks], axis=-1) for name in chunks[0]}
