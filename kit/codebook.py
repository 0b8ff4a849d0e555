"""Every column of every table, once: its name, unit, meaning and allowed range.

The file headers, the checks on what people bring, the labels beside entry boxes, and the data
dictionary that is published (a Frictionless Table Schema) are all made from this page.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Kind = Literal["string", "integer", "number", "boolean", "datetime"]


@dataclass(frozen=True)
class Column:
    """One column: what it holds, in which unit, and which values can be true."""

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    minimum: float | None = None
    maximum: float | None = None
    levels: tuple[str, ...] = ()
    required: bool = False
    label: str = ""
    """What stands beside an entry box or over a printed column."""

    def field(self) -> dict[str, object]:
        """The column as a field descriptor of a Frictionless Table Schema."""
        constraints: dict[str, object] = {"required": True} if self.required else {}
        if self.minimum is not None:
            constraints["minimum"] = self.minimum
        if self.maximum is not None:
            constraints["maximum"] = self.maximum
        if self.levels:
            constraints["enum"] = list(self.levels)
        entry: dict[str, object] = {
            "name": self.name,
            "type": self.kind,
            "title": self.label or self.name,
            "description": self.meaning + (f" Unit: {self.unit}." if self.unit else ""),
        }
        if constraints:
            entry["constraints"] = constraints
        return entry


ROLES = ("warm-up", "dial-in", "reference", "study", "spare")
STATUSES = ("kept", "replaced", "lost")

# -- where a pull stands in the trial ------------------------------------------------------------

PLANNED_SHOT = Column(
    "planned_shot",
    "integer",
    "Number of the planned pull, in the order of the schedule.",
    minimum=1,
    required=True,
    label="Planned shot",
)
SESSION = Column("session", "string", "One sitting at the machine.", required=True, label="Session")
BAG = Column("bag", "string", "One bag of the lot; empty where bags are not tracked.", label="Bag")
WHOLE_PLOT = Column(
    "whole_plot",
    "string",
    "Run of shots that share one setting of a factor that is hard to change.",
    label="Whole plot",
)
BLOCK = Column(
    "block",
    "string",
    "Run of consecutive shots in which methods are compared like with like; "
    "labels are unique over the whole trial.",
    label="Block",
)
POSITION = Column("position", "integer", "Place in the block.", minimum=1, label="Position")
SESSION_POSITION = Column(
    "session_position",
    "integer",
    "Place in the session, every pull counted.",
    minimum=1,
    label="Place in session",
)
ROLE = Column("role", "string", "What the pull is for.", levels=ROLES, required=True, label="Role")
METHOD = Column(
    "method",
    "string",
    "The written recipe of preparation; empty for a spare not yet used.",
    label="Method",
)
CODE = Column("code", "string", "Random three-digit blind code of the cup.", label="Cup code")

# -- what was done and measured ------------------------------------------------------------------

SHOT = Column(
    "shot",
    "integer",
    "Number of the shot in the order it was pulled.",
    minimum=1,
    required=True,
    label="Shot",
)
PULLED_AT = Column(
    "pulled_at", "datetime", "When the shot was pulled, with time zone.", label="Time"
)
DOSE = Column(
    "dose_g",
    "number",
    "Mass of ground coffee after preparation, as it went into the machine.",
    "g",
    5.0,
    30.0,
    label="Dose",
)
DOSE_BEFORE = Column(
    "dose_before_g",
    "number",
    "Mass of ground coffee before preparation.",
    "g",
    5.0,
    30.0,
    label="Dose before preparation",
)
BEVERAGE = Column(
    "beverage_g",
    "number",
    "Mass of the beverage, weighed, never nominal.",
    "g",
    5.0,
    120.0,
    label="Beverage",
)
TDS = Column(
    "tds_pct",
    "number",
    "Total dissolved solids; the mean where a cup was read more than once.",
    "%",
    0.5,
    25.0,
    label="TDS",
)
EY = Column(
    "ey_pct",
    "number",
    "Extraction yield: TDS × beverage mass / dose.",
    "%",
    5.0,
    35.0,
    label="Extraction yield",
)
BREW_RATIO = Column(
    "brew_ratio", "number", "Beverage mass over dose.", "", 0.3, 12.0, label="Brew ratio"
)
FIRST_DRIP = Column(
    "first_drip_s",
    "number",
    "Time from pump start to the first drop.",
    "s",
    0.0,
    120.0,
    label="First drop",
)
SHOT_TIME = Column(
    "shot_time_s",
    "number",
    "Time from pump start to pump stop. An outcome, never a covariate.",
    "s",
    1.0,
    180.0,
    label="Shot time",
)
FAULTS = Column(
    "faults",
    "integer",
    "Visible flow faults in the shot, by the trial's written definition.",
    "",
    0,
    20,
    label="Flow faults",
)
STATUS = Column(
    "status",
    "string",
    "kept: counts. replaced: lost to a declared input fault, a spare took its place. "
    "lost: lost to a declared input fault, nothing took its place.",
    levels=STATUSES,
    required=True,
    label="Status",
)
REASON = Column("reason", "string", "Why a shot was replaced or lost.", label="Reason")
REPLACES = Column(
    "replaces",
    "integer",
    "Planned shot that this spare stands in for.",
    minimum=1,
    label="Replaces",
)
NOTE = Column("note", "string", "Free text.", label="Note")
VIDEO_TIME = Column(
    "video_time", "string", "Time-code of the shot in the video.", label="Video time"
)
ENTERED_BY = Column(
    "entered_by", "string", "Code of the person who entered it.", label="Entered by"
)

# -- readings, tastings, deviations --------------------------------------------------------------

READING = Column(
    "reading",
    "integer",
    "Number of the reading of one cup: a sub-sample, never n.",
    minimum=1,
    required=True,
    label="Reading",
)
TASTER = Column(
    "taster",
    "string",
    "Code of the taster; names never leave the folder.",
    required=True,
    label="Taster",
)
SITTING = Column("sitting", "string", "One sitting of a taster.", label="Sitting")
CUP_POSITION = Column(
    "cup_position",
    "integer",
    "Place of the cup in the taster's order.",
    minimum=1,
    label="Place of cup",
)
ATTRIBUTE = Column("attribute", "string", "What was scored.", required=True, label="Attribute")
DUPLICATE = Column("duplicate", "string", "“yes” for the second cup of a method in a sitting.")
TASTE_SET = Column("set", "integer", "Number of the set of cups to tell apart.", minimum=1)
PART = Column("part", "string", "Reference or sample.", levels=("reference", "sample"))
ANSWER = Column("answer", "string", "“yes” for the cup that is right to name.")
SCORE = Column("score", "number", "The score given.", "", -100.0, 1000.0, label="Score")
WHAT = Column("what", "string", "What was not done as planned.", required=True, label="What")
PLANNED = Column("planned", "string", "What the plan said.", label="Planned")
DONE = Column("done", "string", "What was done.", label="Done")
AT = Column("at", "datetime", "When it was recorded, with time zone.", label="Recorded")

SCHEDULE = (
    PLANNED_SHOT,
    SESSION,
    BAG,
    WHOLE_PLOT,
    BLOCK,
    POSITION,
    SESSION_POSITION,
    ROLE,
    METHOD,
    CODE,
)
"""One row a planned pull. A factorial adds one column for each factor, after ``method``."""

SHOTS = (
    SHOT,
    PLANNED_SHOT,
    SESSION,
    BAG,
    WHOLE_PLOT,
    BLOCK,
    POSITION,
    SESSION_POSITION,
    ROLE,
    METHOD,
    CODE,
    PULLED_AT,
    DOSE_BEFORE,
    DOSE,
    BEVERAGE,
    FIRST_DRIP,
    SHOT_TIME,
    TDS,
    EY,
    BREW_RATIO,
    FAULTS,
    STATUS,
    REASON,
    REPLACES,
    VIDEO_TIME,
    NOTE,
    ENTERED_BY,
)
"""One row a shot, in the order pulled."""

READINGS = (SHOT, CODE, READING, TDS, AT, ENTERED_BY)
_TASTED_SHOT = replace(SHOT, required=False, meaning="The shot the cup came from, where known.")
TASTINGS = (
    TASTER, SITTING, CUP_POSITION, CODE, _TASTED_SHOT, METHOD, ATTRIBUTE, SCORE, AT, NOTE,
)  # fmt: skip
TASTING_ORDERS = (TASTER, SITTING, CUP_POSITION, CODE, METHOD, DUPLICATE)
"""One row a cup drawn for a taster."""

TASTING_SETS = (TASTER, TASTE_SET, CUP_POSITION, CODE, METHOD, PART, ANSWER)
"""One row a cup of a set to tell apart."""

DEVIATIONS = (AT, PLANNED_SHOT, WHAT, PLANNED, DONE, REASON)

TABLES: dict[str, tuple[Column, ...]] = {
    "schedule": SCHEDULE,
    "shots": SHOTS,
    "readings": READINGS,
    "tastings": TASTINGS,
    "tasting_orders": TASTING_ORDERS,
    "tasting_sets": TASTING_SETS,
    "deviations": DEVIATIONS,
}


def names(columns: tuple[Column, ...]) -> list[str]:
    """The column names of a table, in order."""
    return [column.name for column in columns]


def column(name: str) -> Column:
    """The column called ``name``, from whichever table holds it.

    Raises
    ------
    KeyError
        If no table has such a column.
    """
    for columns in TABLES.values():
        for entry in columns:
            if entry.name == name:
                return entry
    raise KeyError(name)


def table_schema(table: str) -> dict[str, object]:
    """The table as a Frictionless Table Schema (Table Schema specification, version 1)."""
    return {
        "fields": [entry.field() for entry in TABLES[table]],
        "missingValues": [""],
    }
