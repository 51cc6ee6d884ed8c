"""Every table of Yardband: columns, types, units, bounds and rules, each declared in this folder and nowhere else.

The names of the published tables are the contract's. A schema is used with one of two verbs: `filter` splits
foreign rows into accepted and rejected, `validate` raises on our own tables.
"""

from pipeline.tables.figures import BandTable, Calibrations, Coefficients, Scores
from pipeline.tables.golfers import CAUSES, MOVEMENTS, PARTS, Changes, Golfers
from pipeline.tables.logs import (
    CARRY_PER_MPH_MAX,
    CARRY_PER_MPH_MIN,
    COLUMN_OF_RULE,
    LAUNCH_THAT_CARRIES_DEG,
    LOG_COLUMNS,
    NUMBERS,
    OPTIONAL_FLAGS,
    OPTIONAL_NUMBERS,
    OPTIONAL_TEXTS,
    REQUIRED,
    SPEED_RATIO_MAX,
    SPEED_RATIO_MIN,
    WANTED,
    Drives,
    Rejects,
    Shots,
    Sources,
    StandardShots,
)
from pipeline.tables.types import types_of

__all__ = [
    "CARRY_PER_MPH_MAX",
    "CARRY_PER_MPH_MIN",
    "CAUSES",
    "COLUMN_OF_RULE",
    "LAUNCH_THAT_CARRIES_DEG",
    "LOG_COLUMNS",
    "MOVEMENTS",
    "NUMBERS",
    "OPTIONAL_FLAGS",
    "OPTIONAL_NUMBERS",
    "OPTIONAL_TEXTS",
    "PARTS",
    "REQUIRED",
    "SPEED_RATIO_MAX",
    "SPEED_RATIO_MIN",
    "WANTED",
    "BandTable",
    "Calibrations",
    "Changes",
    "Coefficients",
    "Drives",
    "Golfers",
    "Rejects",
    "Scores",
    "Shots",
    "Sources",
    "StandardShots",
    "types_of",
]
