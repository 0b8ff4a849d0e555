"""Random streams by chunk: results that do not depend on how many workers there are.

Trials are simulated in chunks of a fixed size. Each chunk has a generator of its own,
spawned from the caller's in order, so the first chunks are the same however many follow,
whoever computes them and in whatever order they end.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from kit.errors import PlanError

CHUNK = 1024  # trials; fits the second-level cache for the designs met here

Chunk = dict[str, NDArray[Any]]
Work = Callable[[np.random.Generator, int], Chunk]
Result = TypeVar("Result")


def in_order(
    work: Callable[..., Result], calls: Iterable[tuple[Any, ...]], n_jobs: int | None = 1
) -> Generator[Result, None, None]:
    """``work(*call)`` for every call, in the order of the calls, as results come.

    With 1 job in this process, else through joblib: ``n_jobs`` processes, or with None whatever
    ``joblib.parallel_config`` says (processes, Dask, Ray).
    """
    if n_jobs == 1:
        for call in calls:
            yield work(*call)
        return
    from joblib import Parallel, delayed  # not needed by the serial route

    chosen = {} if n_jobs is None else {"n_jobs": n_jobs}
    yield from Parallel(return_as="generator", **chosen)(delayed(work)(*call) for call in calls)


def stream_chunks(
    work: Work, n_trials: int, rng: np.random.Generator, n_jobs: int = 1
) -> Iterator[Chunk]:
    """Results of ``work(generator, CHUNK)`` in order, as they come; the last is cut to fit.

    ``work`` returns arrays whose last axis runs over trials; ``n_jobs`` as for :func:`in_order`.
    The caller may stop iterating at any time. Raises PlanError for n_trials < 1.
    """
    if n_trials < 1:
        raise PlanError(f"A simulation needs at least one trial, found {n_trials}.")
    generators = rng.spawn(-(-n_trials // CHUNK))
    left = n_trials
    for chunk in in_order(work, [(generator, CHUNK) for generator in generators], n_jobs):
        yield chunk if left >= CHUNK else {k: v[..., :left] for k, v in chunk.items()}
        left -= CHUNK


def run_chunks(work: Work, n_trials: int, rng: np.random.Generator, n_jobs: int = 1) -> Chunk:
    """All chunks of ``stream_chunks``, joined along the last axis."""
    chunks = list(stream_chunks(work, n_trials, rng, n_jobs))
    return {name: np.concatenate([c[name] for c in chunks], axis=-1) for name in chunks[0]}
