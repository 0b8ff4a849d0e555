"""The frame of a schedule: every planned pull with its place, before any method is drawn.

Sessions hold warm-up shots first, then blocks with reference shots between them, then spares.
No block runs across a session, a whole plot or a bag.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from kit.errors import PlanError
from kit.trial import Trial


@dataclass(frozen=True)
class Place:
    """One planned pull: everything about it but the method."""

    session: int
    bag: str
    whole_plot: int | None
    """Number of the whole plot over the whole trial, from 0; None outside a split-plot."""
    block: int | None
    """Number of the block over the whole trial, from 0; None outside the blocks."""
    position: int | None
    session_position: int
    role: str


@dataclass(frozen=True)
class Shape:
    """How many of everything: the sizes that a draw and a certificate need."""

    sessions: int
    blocks_per_session: int
    block_size: int
    whole_plots_per_session: int
    blocks_per_bag: int | None
    """None where bags are not tracked."""

    @property
    def blocks(self) -> int:
        """Blocks in the whole trial."""
        return self.sessions * self.blocks_per_session

    @property
    def study_shots(self) -> int:
        """Study shots in the whole trial."""
        return self.blocks * self.block_size

    @property
    def bags_per_session(self) -> int:
        """Bags opened in a session; 1 where bags are not tracked."""
        per_bag = self.blocks_per_bag or self.blocks_per_session
        return -(-self.blocks_per_session // per_bag)

    @property
    def bags_are_equal(self) -> bool:
        """Whether every bag of a session holds the same number of blocks."""
        return self.blocks_per_session % self.bags_per_session == 0 and (
            self.blocks_per_bag in (None, self.blocks_per_session // self.bags_per_session)
        )


def block_size(trial: Trial) -> int:
    """Shots in a block: as given, or one of each method and the extra shots of the control."""
    layout = trial.layout
    return layout.shots_per_block or len(trial.methods) - 1 + layout.control_shots_per_block


def shape_of(trial: Trial) -> Shape:
    """The sizes of a trial's schedule.

    Raises
    ------
    PlanError
        If a bag is too small for a block, or a session is longer than the trial allows.
    """
    layout = trial.layout
    size = block_size(trial)
    per_bag = None
    if layout.blocks_are_bags:
        per_bag = 1
    if layout.study_shots_per_bag is not None:
        per_bag = _blocks_in_a_bag(layout.study_shots_per_bag, size, len(trial.methods))
        if layout.blocks_are_bags:
            per_bag = 1
    shape = Shape(
        layout.sessions, layout.blocks_per_session, size, layout.whole_plots_per_session, per_bag
    )
    _check_session_length(trial, shape)
    return shape


def _blocks_in_a_bag(shots_per_bag: int, size: int, n_methods: int) -> int:
    if size <= shots_per_bag:
        return shots_per_bag // size
    nearest = (
        f"incomplete blocks of {shots_per_bag} shots"
        if shots_per_bag < n_methods
        else f"blocks of {n_methods} shots"
    )
    raise PlanError(
        f"A block of {size} shots does not fit into a bag that gives {shots_per_bag} study shots, "
        f"and no block may run across two bags. The nearest possible design: {nearest} "
        "(layout.shots_per_block)."
    )


def session_pulls(trial: Trial, session: int) -> int:
    """Every pull of a session, from the first warm-up shot to the last spare."""
    layout = trial.layout
    return (
        layout.warm_up_shots_per_session
        + (layout.dial_in_shots if session == 0 else 0)
        + layout.reference_shots_per_session
        + layout.spares_per_session
        + layout.blocks_per_session * block_size(trial)
    )


def _check_session_length(trial: Trial, shape: Shape) -> None:
    limit = trial.layout.longest_session_shots
    if limit is None:
        return
    longest = max(session_pulls(trial, session) for session in range(shape.sessions))
    if longest <= limit:
        return
    around = longest - shape.blocks_per_session * shape.block_size
    blocks = (limit - around) // shape.block_size
    if blocks >= 1:
        sessions = -(-shape.blocks // blocks)
        nearest = f"{sessions} sessions of {blocks} {'block' if blocks == 1 else 'blocks'} each"
    else:
        nearest = f"smaller blocks, or a limit of {around + shape.block_size} shots"
    raise PlanError(
        f"A session takes {longest} pulls with warm-up, reference and spare shots; this trial "
        f"allows {limit} (layout.longest_session_shots). The nearest possible: {nearest}."
    )


def reference_places(shots: int, blocks: int) -> list[int]:
    """Before which block (the number of blocks: after the last) each reference shot is pulled.

    Spread from the start over the middle to the end; a single one opens the session.
    """
    if shots == 1:
        return [0]
    # Whole-number rounding to the nearest, halves up.
    return [(2 * i * blocks + shots - 1) // (2 * (shots - 1)) for i in range(shots)]


def places(trial: Trial) -> list[Place]:
    """Every planned pull in run order."""
    shape = shape_of(trial)
    found: list[Place] = []
    for session in range(shape.sessions):
        pulls = _session(trial, shape, session)
        found += [replace(place, session_position=n) for n, place in enumerate(pulls, start=1)]
    return found


def _session(trial: Trial, shape: Shape, session: int) -> Iterator[Place]:
    """Every pull of one session in order, not yet numbered."""
    layout, last = trial.layout, shape.blocks_per_session - 1
    references = reference_places(layout.reference_shots_per_session, shape.blocks_per_session)

    def at(block: int, role: str) -> Place:
        bag, plot = _bag(shape, session, block), _whole_plot(trial, shape, session, block)
        return Place(session, bag, plot, None, None, 0, role)

    opening = ["warm-up"] * layout.warm_up_shots_per_session
    opening += ["dial-in"] * layout.dial_in_shots if session == 0 else []
    yield from (at(0, role) for role in opening)
    for block in range(shape.blocks_per_session + 1):
        yield from [at(min(block, last), "reference")] * references.count(block)
        if block <= last:
            number = session * shape.blocks_per_session + block
            for position in range(1, shape.block_size + 1):
                yield replace(at(block, "study"), block=number, position=position)
    # A spare takes the setting of the shot it will stand in for, so it has none yet.
    yield from [replace(at(last, "spare"), whole_plot=None)] * layout.spares_per_session


def _bag(shape: Shape, session: int, block: int) -> str:
    if shape.blocks_per_bag is None:
        return ""
    number = session * shape.bags_per_session + block // shape.blocks_per_bag + 1
    return numbered("Bag ", number, shape.sessions * shape.bags_per_session)


def _whole_plot(trial: Trial, shape: Shape, session: int, block: int) -> int | None:
    if trial.layout.design != "split-plot":
        return None
    per_plot = shape.blocks_per_session // shape.whole_plots_per_session
    return session * shape.whole_plots_per_session + block // per_plot


def numbered(prefix: str, number: int, largest: int) -> str:
    """A label whose alphabetical order is its order: ``S1``, or ``S01`` of ten and more."""
    return f"{prefix}{number:0{len(str(largest))}d}"
