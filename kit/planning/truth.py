"""A made-up truth for virtual trials: what the methods really do, and what goes wrong."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

from kit.planning import inputs
from kit.trial import Trial


@dataclass(frozen=True)
class Truth:
    """What is true in a virtual trial. One entry a method in the first four, in their order."""

    methods: tuple[str, ...]
    means: tuple[float, ...]
    """Differences from a common level, in the unit of the outcome."""
    shot_sds: tuple[float, ...]
    fault_rates: tuple[float, ...]
    session_sd: float
    block_sd: float
    """Of the finest restriction: the whole plot where there are whole plots."""
    drift_per_shot: float = 0.0
    """Change of the outcome from one pull to the next within a session."""
    lost_share: float = 0.0
    """Chance that a study shot is lost and no spare is left to replace it."""
    taster_sd: float = 0.0
    taster_method_sd: float = 0.0
    """How far tasters differ in level, and in what they think of a method (taste scores only)."""

    def __post_init__(self) -> None:
        inputs.method_count(len(self.methods))
        for values in (self.means, self.shot_sds, self.fault_rates):
            if len(values) != len(self.methods):
                raise inputs.PlanError(
                    f"{len(values)} values were given for {len(self.methods)} methods. "
                    "Give one for each."
                )
        for sd in self.shot_sds:
            inputs.positive(sd, "The shot SD")
        for chance in self.fault_rates:
            inputs.rate(chance, "A fault rate")
        inputs.not_negative(self.session_sd, "The session SD")
        inputs.not_negative(self.block_sd, "The block SD")
        if not 0 <= self.lost_share <= 0.5:
            raise inputs.PlanError(
                f"The share of lost shots must lie between 0 and 50 %, found {self.lost_share:g}."
            )

    @classmethod
    def level(cls, trial: Trial, fault_rate: float = 0.1) -> Self:
        """No difference between methods in anything, at the noise the trial assumes."""
        names = tuple(trial.method_names)
        count = len(names)
        return cls(
            names,
            (0.0,) * count,
            (trial.noise.shot_sd,) * count,
            (fault_rate,) * count,
            trial.noise.session_sd,
            trial.noise.block_sd,
        )

    def one_ahead(self, method: str, lead: float) -> Self:
        """The same with one method's mean raised by ``lead``."""
        at = self._number(method)
        raised = tuple(m + lead * (i == at) for i, m in enumerate(self.means))
        return replace(self, means=raised)

    def one_uneven(self, method: str, ratio: float) -> Self:
        """The same with one method's SD multiplied by ``ratio``."""
        at = self._number(method)
        sds = tuple(sd * (ratio if i == at else 1.0) for i, sd in enumerate(self.shot_sds))
        return replace(self, shot_sds=sds)

    def one_faulty(self, method: str, rate: float) -> Self:
        """The same with another fault rate for one method."""
        at = self._number(method)
        rates = tuple(rate if i == at else r for i, r in enumerate(self.fault_rates))
        return replace(self, fault_rates=rates)

    def losing(self, share: float) -> Self:
        """The same with a share of the shots lost."""
        return replace(self, lost_share=share)

    def drifting(self, per_shot: float) -> Self:
        """The same with a drift over each session."""
        return replace(self, drift_per_shot=per_shot)

    def sd_of(self, column: str, columns: tuple[str, ...]) -> float:
        """SD of a random column of the model, given all its columns."""
        finest = "whole_plot" if "whole_plot" in columns else "block"
        sds = {
            "session": self.session_sd,
            finest: self.block_sd,
            "taster": self.taster_sd,
            "taster_method": self.taster_method_sd,
        }
        return sds.get(column, 0.0)

    @property
    def fits_the_model(self) -> bool:
        """Whether the analysis model is exactly true: one SD for all, no drift."""
        return len(set(self.shot_sds)) == 1 and self.drift_per_shot == 0

    def _number(self, method: str) -> int:
        if method not in self.methods:
            raise inputs.PlanError(
                f"There is no method “{method}”. There are: {', '.join(self.methods)}."
            )
        return self.methods.index(method)
