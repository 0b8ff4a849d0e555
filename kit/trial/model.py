"""Trial and its parts, as frozen records that check themselves.

Each part is one table of ``trial.toml``. A value that cannot be true is refused when the record
is made, with a sentence that says what was found and what would be right.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from kit.trial.codes import refuse_names

Aspect = Literal["mean", "spread", "rate", "score"]
DesignKind = Literal[
    "complete blocks", "incomplete blocks", "latin square", "carry-over balanced", "split-plot"
]
Family = Literal["all pairs", "against control", "factorial"]
Word = Annotated[str, Field(min_length=1, max_length=120)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class Part(BaseModel):
    """What every part has in common: it never changes, and an unknown key is a mistake."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class Coffee(Part):
    """The one coffee of the trial."""

    name: Word
    roast_date: date | None = None
    bag_g: Positive | None = None
    """Mass of one bag in grams; leave out where bags do not matter."""


class Recipe(Part):
    """What is held still for every shot, and how close counts as held."""

    dose_g: Annotated[float, Field(ge=5, le=30)]
    dose_tolerance_g: Positive = 0.1
    beverage_g: Annotated[float, Field(ge=5, le=120)]
    beverage_tolerance_g: Positive = 1.0
    grind: Literal["untouched", "re-dialled"] = "untouched"
    """Untouched isolates the puck; re-dialled for each method answers another question."""
    purge_g: NotNegative = 2.5
    notes: str = ""

    def in_tolerance(self, dose_g: float, beverage_g: float) -> bool:
        """Whether both masses are within tolerance (the limit itself counts as within)."""
        slack = 1e-9  # 36.0 + 1.0 and 37.0 must be the same number
        return (
            abs(dose_g - self.dose_g) <= self.dose_tolerance_g + slack
            and abs(beverage_g - self.beverage_g) <= self.beverage_tolerance_g + slack
        )


class Method(Part):
    """One written recipe of preparation; in a factorial, one cell."""

    name: Word
    recipe: str = ""
    control: bool = False
    settings: dict[str, str] = {}
    """In a factorial: the level of each easy-to-change factor."""


class Factor(Part):
    """One factor of a factorial."""

    name: Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_]{0,39}$")]
    levels: Annotated[tuple[Word, ...], Field(min_length=2, max_length=6)]
    hard_to_change: bool = False
    """Set once for a whole run of shots (a whole plot), for example a temperature."""


class Outcome(Part):
    """One thing that will be judged, and the smallest difference in it that matters."""

    measure: Word
    """A column: ey_pct, faults, shot_time_s, or a taste attribute."""
    aspect: Aspect
    role: Literal["primary", "secondary", "exploratory"] = "secondary"
    smallest_difference: Positive
    """In the unit of the measure; a ratio above 1 for spread; a share (0-1) for a rate."""
    family: Family = "all pairs"
    higher_is_better: bool | None = None

    @model_validator(mode="after")
    def _fits_its_aspect(self) -> Self:
        if self.aspect == "spread" and self.smallest_difference <= 1:
            raise ValueError(
                "for spread the smallest difference is a ratio of two SDs and must be above 1"
            )
        if self.aspect == "rate" and self.smallest_difference >= 1:
            raise ValueError("for a rate the smallest difference is a share between 0 and 1")
        return self

    @property
    def name(self) -> str:
        """A short name, unique in a trial: ``ey_pct mean``."""
        return f"{self.measure} {self.aspect}"


class Layout(Part):
    """How the shots are laid out over sessions and blocks."""

    design: DesignKind = "complete blocks"
    sessions: Annotated[int, Field(ge=1, le=200)]
    blocks_per_session: Annotated[int, Field(ge=1, le=200)]
    shots_per_block: Annotated[int, Field(ge=2, le=60)] | None = None
    """Left out: one shot of every method in each block."""
    whole_plots_per_session: Annotated[int, Field(ge=1, le=20)] = 1
    blocks_are_bags: bool = False
    reference_shots_per_session: Annotated[int, Field(ge=0, le=20)] = 3
    warm_up_shots_per_session: Annotated[int, Field(ge=0, le=20)] = 2
    spares_per_session: Annotated[int, Field(ge=0, le=20)] = 1
    control_shots_per_block: Annotated[int, Field(ge=1, le=10)] = 1
    """More than one replicates the control (about the root of k - 1 for many methods)."""
    control_in_every_block: bool = False
    """In incomplete blocks: the control is in each block, the other methods take turns."""
    study_shots_per_bag: Annotated[int, Field(ge=2, le=500)] | None = None
    """Study shots one bag gives once warm-up, reference and spare shots are set aside.
    A session opens fresh bags, and no block runs across two bags."""
    dial_in_shots: Annotated[int, Field(ge=0, le=40)] = 0
    """Shots of the control set aside in the first session to set the grind; never analysed."""
    longest_session_shots: Annotated[int, Field(ge=1, le=500)] | None = None
    """Refuse to plan a session longer than this (fatigue); common practice: 20 to 25."""
    seed: Annotated[int, Field(ge=0, le=2**63 - 1)] | None = None
    """Seed of the schedule's draw, kept here from the draw to the seal."""


class Noise(Part):
    """The noise assumed for planning, and where the figures come from."""

    shot_sd: Positive = 0.45
    shot_sd_df: Positive | None = None
    """Degrees of freedom the shot SD is known from; left out for a guess."""
    session_sd: NotNegative = 0.3
    block_sd: NotNegative = 0.15
    provenance: str = "a guess without a source"


class Attribute(Part):
    """One taste attribute and its scale."""

    name: Word
    low: float = 0
    high: float = 10
    whole_points: bool = False

    @model_validator(mode="after")
    def _has_a_range(self) -> Self:
        if self.high <= self.low:
            raise ValueError("the high end of a taste scale must be above its low end")
        return self


class Tasting(Part):
    """Who tastes what. Tasters have codes; names never enter the folder."""

    tasters: tuple[Word, ...] = ()
    attributes: tuple[Attribute, ...] = ()
    cups_per_sitting: Annotated[int, Field(ge=1, le=12)] = 6
    """Cups of a taster in one sitting; more than there are methods adds hidden duplicates."""
    sittings: Annotated[int, Field(ge=1, le=40)] = 1
    portions_per_shot: Annotated[int, Field(ge=1, le=20)] = 8
    """Tasters that one shot serves."""
    discrimination: Literal["", "triangle", "duo-trio", "paired"] = ""
    pair: tuple[str, str] | None = None
    sets_per_taster: Annotated[int, Field(ge=0, le=20)] = 0
    spit: bool = True


class Rules(Part):
    """What will be replaced, when to stop, how faults are counted: decided in advance."""

    replace_for: tuple[Word, ...] = (
        "spill",
        "dose out of tolerance",
        "beverage out of tolerance",
        "power or machine failure",
    )
    stopping: str = "Fixed number of shots; no comparison is looked at before the last one."
    fault_definition: str = (
        "A jet, a spray, a bald spot or a late-wetting zone seen at the bottom of the basket; "
        "each counts as one fault."
    )
    mass_covariate: bool = False
    """Declared in advance: adjust for beverage mass, centred at its target."""


class Blinding(Part):
    """Who will not know which method a cup came from. The operator always knows."""

    measurer: bool = False
    fault_scorer: bool = False
    taster: bool = True
    analyst: bool = True


class Budget(Part):
    """What there is to spend."""

    coffee_g: Positive | None = None
    sessions: Annotated[int, Field(ge=1)] | None = None
    minutes_per_shot: Positive = 5.0
    minutes_per_session: Positive | None = None


class Trial(Part):
    """Everything decided before the first shot."""

    title: Word
    question: Annotated[str, Field(min_length=1, max_length=600)]
    invented: bool = False
    """True marks a made-up example."""
    coffee: Coffee
    recipe: Recipe
    methods: Annotated[tuple[Method, ...], Field(min_length=2, max_length=40)]
    factors: tuple[Factor, ...] = ()
    outcomes: Annotated[tuple[Outcome, ...], Field(min_length=1)]
    layout: Layout
    noise: Noise = Noise()
    tasting: Tasting = Tasting()
    rules: Rules = Rules()
    blinding: Blinding = Blinding()
    budget: Budget = Budget()

    @model_validator(mode="after")
    def _parts_fit_together(self) -> Self:
        _check_methods(self.methods)
        _check_outcomes(self)
        _check_factors(self)
        _check_tasting(self)
        return self

    @property
    def method_names(self) -> list[str]:
        """The methods in the order in which they were written down."""
        return [method.name for method in self.methods]

    @property
    def control(self) -> str | None:
        """The control method, if one is named."""
        return next((method.name for method in self.methods if method.control), None)

    @property
    def reference_method(self) -> str:
        """The method pulled as reference shot: the control, or else the first method."""
        return self.control or self.method_names[0]

    @property
    def primary(self) -> Outcome:
        """The one outcome that carries the claim."""
        return next(outcome for outcome in self.outcomes if outcome.role == "primary")

    @property
    def easy_factors(self) -> tuple[Factor, ...]:
        """Factors that change from shot to shot."""
        return tuple(factor for factor in self.factors if not factor.hard_to_change)

    @property
    def hard_factors(self) -> tuple[Factor, ...]:
        """Factors set once for a whole plot."""
        return tuple(factor for factor in self.factors if factor.hard_to_change)

    @property
    def shots_per_method_planned(self) -> float:
        """Study shots a method, on average (the control may have more)."""
        layout = self.layout
        blocks = layout.sessions * layout.blocks_per_session
        size = layout.shots_per_block or len(self.methods)
        return blocks * size / len(self.methods)


def _check_methods(methods: tuple[Method, ...]) -> None:
    names = [method.name for method in methods]
    doubled = sorted({name for name in names if names.count(name) > 1})
    if doubled:
        raise ValueError(f"two methods are called “{doubled[0]}”; give each its own name")
    if sum(method.control for method in methods) > 1:
        raise ValueError("more than one method is marked as the control; mark one")


def _check_outcomes(trial: Trial) -> None:
    primaries = [outcome.name for outcome in trial.outcomes if outcome.role == "primary"]
    if len(primaries) != 1:
        raise ValueError(
            f"exactly one outcome must be primary, {len(primaries)} are; "
            "the primary outcome alone carries the claim"
        )
    names = [outcome.name for outcome in trial.outcomes]
    doubled = sorted({name for name in names if names.count(name) > 1})
    if doubled:
        raise ValueError(f"the outcome “{doubled[0]}” is listed twice")
    for outcome in trial.outcomes:
        if outcome.family == "against control" and trial.control is None:
            raise ValueError(
                f"the outcome “{outcome.name}” is judged against the control, "
                "but no method is marked “control = true”"
            )
        if outcome.family == "factorial" and not trial.factors:
            raise ValueError(f"the outcome “{outcome.name}” is factorial, but no factor is given")


def _check_factors(trial: Trial) -> None:
    if not trial.factors:
        return
    easy = {factor.name: factor.levels for factor in trial.easy_factors}
    for method in trial.methods:
        if set(method.settings) != set(easy):
            raise ValueError(
                f"method “{method.name}” must set exactly these factors: {', '.join(easy)}"
            )
        for name, level in method.settings.items():
            if level not in easy[name]:
                raise ValueError(
                    f"method “{method.name}” sets {name} to “{level}”; "
                    f"its levels are {', '.join(easy[name])}"
                )
    cells = {tuple(sorted(method.settings.items())) for method in trial.methods}
    if len(cells) != len(trial.methods):
        raise ValueError("two methods have the same factor settings")
    if trial.hard_factors and trial.layout.design != "split-plot":
        raise ValueError(
            f"the factor “{trial.hard_factors[0].name}” is hard to change; "
            "the design must then be “split-plot”"
        )


def _check_tasting(trial: Trial) -> None:
    tasting = trial.tasting
    if len(set(tasting.tasters)) != len(tasting.tasters):
        raise ValueError("two tasters have the same code")
    refuse_names(tasting.tasters)
    if tasting.discrimination and tasting.pair is None:
        raise ValueError(f"a {tasting.discrimination} test needs the pair of methods to tell apart")
    unknown = [name for name in tasting.pair or () if name not in trial.method_names]
    if unknown:
        raise ValueError(
            f"the taste test names “{unknown[0]}”; the methods are {', '.join(trial.method_names)}"
        )
