"""From a trial to the set of schedules it allows; impossible requests name the nearest possible."""

from __future__ import annotations

import itertools

from kit import codebook
from kit.design.blockdesign import BlockDesign
from kit.design.carryover import even_followers, even_places
from kit.design.factorial import confounded_blocks
from kit.design.grouping import grouped_blocks
from kit.design.incomplete import best_incomplete_blocks
from kit.design.symmetry import Plan
from kit.errors import PlanError
from kit.schedule.followers import FollowersScheme, follower_units
from kit.schedule.frame import Shape, reference_places, shape_of
from kit.schedule.permuted import LatinScheme, OrderedPlanScheme, PermutedScheme
from kit.schedule.scheme import CompleteScheme, Scheme, WholePlots
from kit.trial import Trial


def randomisation_scheme(trial: Trial) -> Scheme:
    """The stated set of allowed schedules of a trial, from which its schedule is drawn.

    Raises
    ------
    PlanError
        If the layout cannot be had; the message names the nearest possible design.
    """
    _refuse_reserved_names(trial)
    shape = shape_of(trial)
    build = {
        "complete blocks": _complete,
        "split-plot": _complete,
        "incomplete blocks": _incomplete,
        "latin square": _latin,
        "carry-over balanced": _followers,
    }[trial.layout.design]
    return build(trial, shape)


def _refuse_reserved_names(trial: Trial) -> None:
    """A factor becomes a column of the schedule, so it cannot be called like one that is there."""
    reserved = {*codebook.names(codebook.SHOTS), "predecessor", "follower"}
    for factor in trial.factors:
        if factor.name in reserved:
            raise PlanError(
                f"A factor cannot be called “{factor.name}”, because the tables have a column of "
                f"that name. Call it “{factor.name}_factor”, for example."
            )


def _complete(trial: Trial, shape: Shape) -> Scheme:
    names = tuple(trial.method_names)
    block = complete_block(trial, shape)
    return CompleteScheme(names, _whole_plots(trial, shape), block, shape.blocks)


def complete_block(trial: Trial, shape: Shape) -> tuple[int, ...]:
    """The methods of a complete block; the control stands in it as often as the trial says."""
    extra = trial.layout.control_shots_per_block - 1
    once = list(range(len(trial.methods)))
    if extra:
        once += [once[trial.method_names.index(_control(trial))]] * extra
    copies, rest = divmod(shape.block_size, len(once))
    if rest or not copies:
        nearest = len(once) * max(1, round(shape.block_size / len(once)))
        raise PlanError(
            f"A complete block holds {len(once)} shots"
            + (f" ({extra} extra of the control)" if extra else "")
            + f" or a multiple of that, not {shape.block_size}. The nearest possible: "
            f"blocks of {nearest}"
            + (
                f", or incomplete blocks of {shape.block_size} (layout.design = "
                "“incomplete blocks”)."
                if 2 <= shape.block_size < len(trial.methods)
                and trial.layout.design == "complete blocks"
                else "."
            )
        )
    return tuple(sorted(once * copies))


def _control(trial: Trial) -> str:
    if trial.control is None:
        raise PlanError(
            "The control is to be pulled more often than the other methods, but no method is "
            "marked “control = true”. Mark one, or set layout.control_shots_per_block to 1."
        )
    return trial.control


def _whole_plots(trial: Trial, shape: Shape) -> WholePlots | None:
    if trial.layout.design != "split-plot":
        return None
    if not trial.hard_factors:
        raise PlanError(
            "A split-plot needs a factor that is hard to change, and none is marked "
            "“hard_to_change = true”. Mark one, or use complete blocks: the nearest possible."
        )
    settings = tuple(itertools.product(*(factor.levels for factor in trial.hard_factors)))
    plots = shape.whole_plots_per_session
    _check_whole_plots(shape, plots, len(settings))
    return WholePlots(settings, shape.sessions, plots)


def _check_whole_plots(shape: Shape, plots: int, settings: int) -> None:
    if plots == 1 and shape.sessions % settings:
        raise PlanError(
            f"With one whole plot a session, {settings} settings need a multiple of {settings} "
            f"sessions, not {shape.sessions}. The nearest possible: "
            f"{-(-shape.sessions // settings) * settings} sessions, or {settings} whole plots a "
            "session."
        )
    if plots > 1 and plots % settings:
        raise PlanError(
            f"{plots} whole plots a session cannot hold {settings} settings equally often. "
            f"The nearest possible: {max(1, round(plots / settings)) * settings} whole plots a "
            "session."
        )
    if shape.blocks_per_session % plots:
        nearest = -(-shape.blocks_per_session // plots) * plots
        raise PlanError(
            f"{shape.blocks_per_session} blocks a session do not divide over {plots} whole plots. "
            f"The nearest possible: {nearest} blocks a session."
        )


def _incomplete(trial: Trial, shape: Shape) -> Scheme:
    design = incomplete_design(trial, shape)
    held: tuple[int, ...] = ()
    if always_control(trial):
        held = (trial.method_names.index(_control(trial)),)
    elif divided_factorial(trial, shape) is not None:
        # Which interactions are given up to the blocks is part of the plan, so no cell moves.
        held = tuple(range(len(trial.methods)))
    return PermutedScheme(tuple(trial.method_names), None, _grouped(design, shape), held)


def _grouped(design: BlockDesign, shape: Shape) -> Plan:
    bags = shape.bags_per_session if shape.bags_are_equal else 1
    return grouped_blocks(design, shape.sessions, bags)


def always_control(trial: Trial) -> bool:
    """Whether the control stands in every incomplete block, apart from the others' turns."""
    layout = trial.layout
    return layout.control_in_every_block or layout.control_shots_per_block > 1


def incomplete_design(trial: Trial, shape: Shape) -> BlockDesign:
    """The base plan of incomplete blocks, before anything is drawn.

    With the control in every block, the other methods form the best incomplete blocks of the
    places that are left (Pearce 1960, Biometrika 47: supplemented balance).
    """
    t, k = len(trial.methods), shape.block_size
    if k > t and not always_control(trial):
        raise PlanError(
            f"A block of {k} shots holds all {t} methods, so it is not incomplete. "
            "The nearest possible: complete blocks (layout.design = “complete blocks”)."
        )
    if not always_control(trial):
        return divided_factorial(trial, shape) or best_incomplete_blocks(t, k, shape.blocks)
    control = trial.method_names.index(_control(trial))
    copies = trial.layout.control_shots_per_block
    if not 2 <= k - copies <= t - 1:
        raise PlanError(
            f"With {copies} of {k} shots of a block given to the control, {k - copies} are left "
            f"for {t - 1} other methods; between 2 and {t - 1} must be. The nearest possible "
            f"block holds {copies + min(max(k - copies, 2), t - 1)} shots."
        )
    others = [m for m in range(t) if m != control]
    rest = best_incomplete_blocks(t - 1, k - copies, shape.blocks)
    blocks = tuple((control,) * copies + tuple(others[m] for m in block) for block in rest.blocks)
    return BlockDesign(t, blocks, f"the control in every block, the others {rest.origin}")


def divided_factorial(trial: Trial, shape: Shape) -> BlockDesign | None:
    """The blocks of a factorial at two levels judged by its effects, or None for other trials."""
    levels = [factor.levels for factor in trial.easy_factors]
    if trial.primary.family != "factorial" or any(len(level) != 2 for level in levels):
        return None
    if len(trial.methods) != 2 ** len(levels) or len(levels) < 2:
        return None
    design = confounded_blocks(len(levels), shape.block_size, shape.blocks)
    if design is None:
        return None
    cells = [
        sum(
            (factor.levels.index(method.settings[factor.name])) << i
            for i, factor in enumerate(trial.easy_factors)
        )
        for method in trial.methods
    ]
    method_of = {cell: method for method, cell in enumerate(cells)}
    blocks = tuple(tuple(method_of[cell] for cell in block) for block in design.blocks)
    return BlockDesign(len(trial.methods), blocks, design.origin)


def _latin(trial: Trial, shape: Shape) -> Scheme:
    t = len(trial.methods)
    _refuse_extra_control(trial, "a Latin square")
    if shape.block_size < t:
        plan = _grouped(even_places(incomplete_design(trial, shape)), shape)
        return OrderedPlanScheme(tuple(trial.method_names), None, plan, ())
    _refuse_longer_blocks(shape, t, "A Latin square")
    squares, rest = divmod(shape.blocks, t)
    if rest:
        raise PlanError(
            f"Latin squares of {t} methods take blocks in multiples of {t}; "
            f"{shape.blocks} blocks are planned. The nearest possible: {t * max(1, squares)} or "
            f"{t * (squares + 1)} blocks, or “carry-over balanced”, which takes any number."
        )
    return LatinScheme(tuple(trial.method_names), None, squares)


def _followers(trial: Trial, shape: Shape) -> Scheme:
    t = len(trial.methods)
    _refuse_extra_control(trial, "an order balanced for carry-over")
    if shape.block_size < t:
        plan = _grouped(even_followers(incomplete_design(trial, shape)), shape)
        return OrderedPlanScheme(tuple(trial.method_names), None, plan, ())
    _refuse_longer_blocks(shape, t, "An order balanced for carry-over")
    references = reference_places(
        trial.layout.reference_shots_per_session, shape.blocks_per_session
    )
    # The first block of a session, and one after a reference shot, follow no study shot.
    joined = [
        block > 0 and block not in references
        for _ in range(shape.sessions)
        for block in range(shape.blocks_per_session)
    ]
    return FollowersScheme(tuple(trial.method_names), None, follower_units(t, joined))


def _refuse_extra_control(trial: Trial, what: str) -> None:
    if always_control(trial):
        raise PlanError(
            f"In {what} each method is pulled equally often, so the control cannot be pulled more "
            "often than the others. The nearest possible: complete blocks with the control "
            "repeated."
        )


def _refuse_longer_blocks(shape: Shape, t: int, what: str) -> None:
    if shape.block_size > t:
        raise PlanError(
            f"{what} of {t} methods has blocks of {t} shots, not {shape.block_size}. "
            f"The nearest possible: blocks of {t}, and more of them."
        )
