"""Which design suits the situation, why, and what the alternatives would cost: in plain words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.design.bibd import balanced_design, least_blocks
from kit.design.efficiency import efficiency_factor
from kit.design.incomplete import best_incomplete_blocks
from kit.errors import PlanError


@dataclass(frozen=True)
class Situation:
    """What stands in the way at the bench."""

    methods: int
    alike_shots: int
    """Shots that can be pulled under like conditions: from one bag, before a pause."""
    hard_to_change: bool = False
    """A factor (basket, coffee, temperature) cannot be changed from shot to shot."""
    residue: bool = False
    """The shot before may leave something behind in grinder, basket or group."""
    place_matters: bool = False
    """Shots early and late in a block may differ by themselves."""
    against_control: bool = False
    """The question is each method against one control, not every pair."""
    blocks: int | None = None
    """Blocks that can be afforded, where known."""


@dataclass(frozen=True)
class Alternative:
    """Another design that could be had, and what it costs against the one recommended."""

    design: str
    cost: str


@dataclass(frozen=True)
class Recommendation:
    """A design for ``layout.design``, the size of its blocks, and the reasons."""

    design: str
    shots_per_block: int
    control_shots_per_block: int
    reasons: tuple[str, ...]
    alternatives: tuple[Alternative, ...]

    def words(self) -> str:
        """Recommendation, reasons and costs as sentences."""
        lines = [f"Recommended: {self.design}, blocks of {self.shots_per_block} shots."]
        lines += self.reasons
        lines += [f"Instead, {other.design}: {other.cost}" for other in self.alternatives]
        return "\n".join(lines)


def recommend_design(situation: Situation) -> Recommendation:
    """The design for a situation.

    A hard-to-change factor decides first, then whether a block holds every method, then what
    disturbs within a block.

    Raises
    ------
    PlanError
        If there are fewer than two methods, or fewer than two shots are alike.
    """
    _check(situation)
    if situation.hard_to_change:
        return _split_plot(situation)
    if situation.alike_shots < situation.methods:
        return _incomplete(situation)
    if situation.residue:
        return _carry_over(situation)
    if situation.place_matters:
        return _latin(situation)
    return _complete(situation)


def _check(situation: Situation) -> None:
    if situation.methods < 2:
        raise PlanError("A comparison needs at least two methods.")
    if situation.alike_shots < 2:
        raise PlanError(
            f"With {situation.alike_shots} shot under like conditions no two methods can be "
            "compared like with like. The nearest possible: blocks of 2 shots."
        )


def _complete(situation: Situation) -> Recommendation:
    k = situation.methods
    extra = control_shots(k) - 1 if situation.against_control else 0
    extra = min(extra, situation.alike_shots - k)
    reasons = [
        f"All {k} methods fit under like conditions, so each block compares every pair; what "
        "differs between blocks and days drops out of the comparison.",
    ]
    others = [
        Alternative(
            "all shots in one random order",
            "noise between blocks stays in the comparison; with blocks as noisy as half a shot "
            f"the same precision takes about {_without_blocks(0.5):.0f} % more shots.",
        ),
        Alternative(
            "one method after the other",
            "never: with a drift of 0.6 points over the run half of all trials without any true "
            "difference would show one.",
        ),
    ]
    if extra > 0:
        gain = _control_gain(k, 1 + extra)
        reasons.append(
            f"The control is pulled {1 + extra} times in each block, because it stands in every "
            f"comparison: for the same number of shots the comparisons with it gain {gain:.0f} %."
        )
        others.append(
            Alternative("the control once a block", "simpler, and pairs without it gain instead.")
        )
    return Recommendation("complete blocks", k + extra, 1 + extra, tuple(reasons), tuple(others))


def _without_blocks(block_sd: float) -> float:
    """Percent more shots when block noise (in shot SDs) is left in: variance 1 + sd² against 1."""
    return block_sd**2 * 100


def control_shots(n_methods: int) -> int:
    """Shots of the control for one of each other method: about the root of k − 1.

    Source: Dunnett (1955), Journal of the American Statistical Association 50, 1096-1121.
    """
    return max(1, round(math.sqrt(n_methods - 1)))


def _control_gain(k: int, copies: int) -> float:
    """Percent by which the variance of a comparison with the control falls, shots held equal.

    With N shots: variance (1 + 1/c)(k − 1 + c)/N against 2k/N.
    """
    return (1 - (1 + 1 / copies) * (k - 1 + copies) / (2 * k)) * 100


def _incomplete(situation: Situation) -> Recommendation:
    t, k = situation.methods, situation.alike_shots
    size = _best_size(t, k)
    blocks = situation.blocks or least_blocks(t, size)
    design = best_incomplete_blocks(t, size, blocks)
    share = efficiency_factor(design)
    kind = "balanced" if design.is_balanced else "as even as possible"
    reasons = [
        f"A block holds {size} of {t} methods; in {blocks} blocks every pair meets "
        + (
            f"{design.concurrences[0, 1]} times ({kind})."
            if design.is_balanced
            else f"about equally often ({kind})."
        ),
        f"{share * 100:.0f} % of the precision of complete blocks is kept: the same precision "
        f"takes {(1 / share - 1) * 100:.0f} % more shots. Part of that comes back from the "
        "differences between blocks.",
    ]
    others = [
        Alternative(
            f"complete blocks of {t}",
            f"each would run over {-(-t // k)} bags or pauses, whose noise then sits inside the "
            "comparison.",
        )
    ]
    others += _balanced_number(t, size, blocks) if not design.is_balanced else []
    name = "incomplete blocks"
    if situation.residue:
        name = "carry-over balanced"
        reasons.append("Orders are chosen so that each method follows the others evenly.")
    elif situation.place_matters:
        name = "latin square"
        reasons.append("Each method stands in each place of a block equally often, within one.")
    return Recommendation(name, size, 1, tuple(reasons), tuple(others))


def _best_size(t: int, k: int) -> int:
    """The largest block that fits; a bag that holds two small blocks loses nothing by one."""
    return min(k, t - 1)


def _balanced_number(t: int, k: int, blocks: int) -> list[Alternative]:
    """The nearest number of blocks with perfect balance, if one was found."""
    step = least_blocks(t, k)
    above = -(-blocks // step) * step
    if balanced_design(t, k, above) is None:
        return []
    return [Alternative(f"{above} blocks", "every pair would meet exactly equally often.")]


def _carry_over(situation: Situation) -> Recommendation:
    k = situation.methods
    whole = k if k % 2 == 0 else 2 * k
    reasons = (
        "What the shot before leaves behind falls on every method equally: in each run of "
        f"{whole} blocks every method follows every other equally often and stands in each place "
        "equally often.",
        "The residue stays in the analysis whether it shows or not.",
    )
    others = (
        Alternative(
            "complete blocks",
            f"a few degrees of freedom more ({k} fewer effects to estimate), and residue falls "
            "on methods by luck.",
        ),
        Alternative(
            "a longer purge and flush",
            "more grams and minutes a shot, and no order is needed if nothing is left behind.",
        ),
    )
    return Recommendation("carry-over balanced", k, 1, reasons, others)


def _latin(situation: Situation) -> Recommendation:
    k = situation.methods
    if situation.blocks is not None and situation.blocks % k:
        return _carry_over_for_places(k, situation.blocks)
    reasons = (
        f"Each method stands once in every place of each run of {k} blocks, so that early and "
        "late shots favour none.",
    )
    others = (
        Alternative(
            "complete blocks",
            f"{k - 1} degrees of freedom more for the noise, and places are even only on average.",
        ),
    )
    return Recommendation("latin square", k, 1, reasons, others)


def _carry_over_for_places(k: int, blocks: int) -> Recommendation:
    """Latin squares need multiples of k blocks; Williams's orders even places for any number."""
    reasons = (
        f"{blocks} blocks are no multiple of {k}, so Latin squares do not fit; orders balanced for "
        "carry-over also keep every method evenly over the places.",
    )
    nearest = -(-blocks // k) * k
    others = (Alternative(f"Latin squares in {nearest} blocks", "places exactly even."),)
    return Recommendation("carry-over balanced", k, 1, reasons, others)


def _split_plot(situation: Situation) -> Recommendation:
    size = situation.methods
    if situation.alike_shots < size:
        raise PlanError(
            f"In a split-plot each block holds all {size} methods, and only "
            f"{situation.alike_shots} shots are alike. The nearest possible: "
            f"{situation.alike_shots} methods, or one setting of the hard factor with "
            "incomplete blocks."
        )
    reasons = (
        "The factor that is hard to change is set once for a run of shots (a whole plot); the "
        "other methods are compared within each run, with full precision.",
        "The hard factor itself is judged between runs: its degrees of freedom come from the "
        "number of runs, not of shots. Two runs in each of four sessions leave 3.",
    )
    others = (
        Alternative(
            "changing it for every shot",
            "full precision for it too, at one change-over a shot.",
        ),
        Alternative(
            "one setting a day",
            "fewest change-overs, but the days’ own noise sits in its effect: plan it only with "
            "many days.",
        ),
    )
    return Recommendation("split-plot", size, 1, reasons, others)
