"""Several bundles of the same trial, pooled into one difference for each comparison."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.pooling import Pooled, pool
from kit.bundle.archive import unpack
from kit.bundle.reproduce import Reproduction, reproduce
from kit.errors import BundleError
from kit.figures import Picture, Setting, measure_of, replications
from kit.files import sha256_of
from kit.numerals import say_number
from kit.results.pictures import INVENTED
from kit.shotlog import JOURNAL_FILE
from kit.trial import Trial


@dataclass(frozen=True)
class PooledTrial:
    """The primary differences of several kitchens and their pool.

    ``kitchens``: ``kitchen, a, b, estimate, se, lower, upper`` (95 %, one comparison at a time).
    ``pooled``: one :class:`Pooled` for each comparison.
    """

    trial: Trial
    kitchens: pd.DataFrame
    pooled: dict[tuple[str, str], Pooled]

    def table(self) -> pd.DataFrame:
        """One row a comparison: ``a, b`` and the fields of :class:`Pooled`."""
        rows = [{"a": a, "b": b} | asdict(found) for (a, b), found in self.pooled.items()]
        return pd.DataFrame(rows)

    def sentences(self) -> list[str]:
        """One sentence a comparison: the pool, its interval, and what a further kitchen may see."""
        measure = measure_of(self.trial.primary.measure)
        unit = f" {measure.difference_unit}" if measure.difference_unit else ""

        def said(value: float) -> str:
            return say_number(value, measure.decimals, signed=True)

        return [
            f"{a} − {b}: {said(one.estimate)}{unit} ({said(one.lower)} to {said(one.upper)}) over "
            f"{one.kitchens} kitchens; in one further kitchen, yours say, between "
            f"{said(one.prediction_lower)} and {said(one.prediction_upper)}."
            for (a, b), one in self.pooled.items()
        ]

    def pictures(self) -> list[Picture]:
        """A forest figure for each comparison."""
        measure = measure_of(self.trial.primary.measure)
        sdm = self.trial.primary.smallest_difference
        pictures = []
        for (a, b), found in self.pooled.items():
            rows = self.kitchens[(self.kitchens["a"] == a) & (self.kitchens["b"] == b)]
            setting = Setting(
                tuple(self.trial.method_names),
                f"{a} against {b}, kitchen by kitchen",
                mark=INVENTED if self.trial.invented else "",
            )
            picture = replications(rows, found, measure, sdm, setting)
            name = f"kitchens_{a}_{b}".replace(" ", "_").replace("/", "_")
            pictures.append(Picture(name, picture.alt, picture.draw))
        return pictures


def pool_bundles(bundles: list[Path]) -> PooledTrial:
    """Reproduce every bundle and pool their primary differences.

    Raises
    ------
    BundleError
        If two bundles hold the same shots, one does not reproduce, has no answer to the primary
        question, or asks another question than the first.
    ModelError
        If fewer than two bundles are given.
    """
    _refuse_the_same_twice(bundles)
    found = [reproduce(path) for path in bundles]
    for path, one in zip(bundles, found, strict=True):
        _check_same_question(path, one, found[0])
    kitchens = pd.concat(
        [_differences(path, one) for path, one in zip(bundles, found, strict=True)],
        ignore_index=True,
    )
    pooled = {
        (str(a), str(b)): pool(np.asarray(rows["estimate"]), np.asarray(rows["se"]))
        for (a, b), rows in kitchens.groupby(["a", "b"], sort=False)
    }
    return PooledTrial(found[0].results.trial, kitchens, pooled)


def _refuse_the_same_twice(bundles: list[Path]) -> None:
    """A kitchen counts once: the same shots again would only look like a replication."""
    seen: dict[str, Path] = {}
    for path in bundles:
        shots = sha256_of(unpack(path).get(JOURNAL_FILE, b""))
        if shots in seen:
            raise BundleError(
                f"{seen[shots].name} and {path.name} hold the same shots. A kitchen counts once; "
                "leave one of them out."
            )
        seen[shots] = path


def _differences(path: Path, found: Reproduction) -> pd.DataFrame:
    primary = found.results.analysis.primary
    if primary is None or "se" not in primary.differences:
        raise BundleError(f"{path.name} has no mean difference to pool.")
    table = primary.differences[["a", "b", "estimate", "se", "df"]].copy()
    reach = stats.t.ppf(0.975, table["df"].to_numpy(float)) * table["se"]
    table["lower"], table["upper"] = table["estimate"] - reach, table["estimate"] + reach
    table.insert(0, "kitchen", path.stem.removesuffix("-bundle"))
    return table.drop(columns="df")


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
