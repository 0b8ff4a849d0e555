"""The convergence certificate: how sure is it that the fit is the best one there is?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.analysis.moments import Array
from kit.analysis.reml import Criterion, Minimum

SAME_OPTIMUM = 1e-6  # difference in −2 log-likelihood below which two ends are the same


@dataclass(frozen=True)
class Certificate:
    """What was checked at the reported optimum.

    converged: the optimality conditions hold: no component can move, into or out of zero,
    and improve the criterion, and the criterion curves upwards in every free direction.
    gain_left: what the quadratic model says a further step would gain (−2 log-likelihood).
    starts, starts_agreeing: descents run, and how many ended at the reported optimum.
    other_optima: how much worse (−2 log-likelihood) the other places were where a descent
    met the optimality conditions; empty when there was one optimum only.
    zero_components: components estimated as exactly zero.
    """

    converged: bool
    at_boundary: bool
    zero_components: tuple[str, ...]
    gain_left: float
    starts: int
    starts_agreeing: int
    other_optima: tuple[float, ...]

    def words(self) -> str:
        """The certificate as sentences for a practitioner."""
        if self.converged:
            said = [f"The fit converged: {self.starts_agreeing} of {self.starts} starts "
                    "reached the same best answer and no component can improve it."]  # fmt: skip
        else:
            said = ["The fit did NOT converge: treat every number from it as unreliable, and "
                    "simplify the model."]  # fmt: skip
        if self.other_optima:
            said.append(
                f"There is a second, worse solution ({min(self.other_optima):.3g} lower in twice "
                "the log-likelihood): the data hardly choose between two explanations of the noise."
            )
        own = [n for n in self.zero_components if n.startswith("residual[")]
        shared = [n for n in self.zero_components if n not in own]
        if shared:
            names = ", of ".join(name.replace("_", " ") for name in shared)
            said.append(
                f"The variance of {names} is estimated as zero: these shots show no more of it "
                "than chance would. That is an estimate, not proof that it is absent."
            )
        if own:
            names = " and ".join(n.removeprefix("residual[").removesuffix("]") for n in own)
            said.append(
                f"The shot-to-shot SD of {names} is estimated as zero, because with so few shots "
                "the block effects can follow that method exactly. It is not zero in truth: do not "
                "read it as perfect consistency, and judge the means by a model with one SD."
            )
        return " ".join(said)


def certify(best: Minimum, reached: Sequence[Minimum], names: Sequence[str]) -> Certificate:
    """Check the best of several descents against the optimality conditions."""
    zero = tuple(n for n, value in zip(names, best.theta, strict=True) if value == 0.0)
    excess = np.array([m.criterion.value - best.criterion.value for m in reached])
    ended = np.array([m.converged for m in reached])
    other = sorted(float(e) for e in excess[ended & (excess > SAME_OPTIMUM)])
    distinct = [e for i, e in enumerate(other) if i == 0 or e - other[i - 1] > SAME_OPTIMUM]
    return Certificate(
        converged=best.converged and _conditions_hold(best.theta, best.criterion),
        at_boundary=bool(zero),
        zero_components=zero,
        gain_left=best.gain_left,
        starts=len(reached),
        starts_agreeing=int(np.sum(ended & (excess <= SAME_OPTIMUM))),
        other_optima=tuple(distinct),
    )


def _conditions_hold(theta: Array, at: Criterion) -> bool:
    """First- and second-order conditions of a minimum over θ ≥ 0.

    The gradient is judged in standard errors: g_i over the square root of the expected
    curvature is the score in units of its standard deviation.
    """
    score = at.gradient / np.sqrt(np.diag(at.expected))
    free = theta > 0
    if np.any(np.abs(score[free]) > 1e-5) or np.any(score[~free] < -1e-5):
        return False
    curvature = at.observed[np.ix_(free, free)]
    size = np.sqrt(np.diag(at.expected)[free])
    return bool(np.linalg.eigvalsh(curvature / np.outer(size, size))[0] > 0)
