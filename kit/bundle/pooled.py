"""Several bundles of the same trial, pooled into one difference for each comparison."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import numpy as np
import pandas as pd

from kit.analysis.pooling import pool
from kit.bundle.reproduce import Reproduction, reproduce
from kit.errors import BundleError


def kitchen_differences(bundles: list[Path]) -> pd.DataFrame:
    """The primary differences of every bundle, recomputed: ``kitchen, a, b, estimate, se``.

    Raises
    ------
    BundleError
        If a bundle does not reproduce, has no answer to the primary question, or asks another
        question than the first.
    """
    tables = []
    first: Reproduction | None = None
    for path in bundles:
        found = reproduce(path)
        first = first or found
        _check_same_question(path, found, first)
        primary = found.results.analysis.primary
        if primary is None or "se" not in primary.differences:
            raise BundleError(f"{path.name} has no mean difference to pool.")
        rows = primary.differences[["a", "b", "estimate", "se"]]
        tables.append(rows.assign(kitchen=path.stem))
    return pd.concat(tables, ignore_index=True)[["kitchen", "a", "b", "estimate", "se"]]


def pool_bundles(bundles: list[Path]) -> pd.DataFrame:
    """One row a comparison: ``a, b`` and the columns of :class:`kit.analysis.pooling.Pooled`."""
    table = kitchen_differences(bundles)
    rows = []
    for (a, b), group in table.groupby(["a", "b"], sort=False):
        pooled = pool(np.asarray(group["estimate"]), np.asarray(group["se"]))
        rows.append({"a": a, "b": b, **asdict(pooled)})
    return pd.DataFrame(rows)


def _check_same_question(path: Path, found: Reproduction, first: Reproduction) -> None:
    differing = [check for check in found.checks if not check.agrees]
    if differing:
        raise BundleError(
            f"{path.name} does not reproduce ({differing[0].what}: {differing[0].detail}), "
            "so it is not pooled."
        )
    own, other = found.results.trial, first.results.trial
    if own.method_names != other.method_names or own.primary.name != other.primary.name:
        raise BundleError(
            f"{path.name} compares {', '.join(own.method_names)} in {own.primary.name}; the first "
            f"bundle compares {', '.join(other.method_names)} in {other.primary.name}. "
            "Only repeats of one trial can be pooled."
        )
