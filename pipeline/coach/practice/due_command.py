"""When a club speed is due for a golfer who practices, from a study's results (an edge module)."""

from datetime import date
from pathlib import Path
from typing import NamedTuple

import polars as pl

from pipeline.coach.practice.outlook import Outlook
from pipeline.coach.practice.planner import speed_goals_of
from pipeline.edge.artefacts import read_arrays
from pipeline.edge.tables_file import read_table
from pipeline.tables.goals import Goals
from pipeline.tables.practice import Practice


class Due(NamedTuple):
    """The day on which a speed is due if the gain goes on, and the early end of its 90 % interval."""

    on: date
    lo90_on: date


def speed_due(practice: Path, outlook: Path, golfer: str, speed_mph: float) -> Due | None:
    """Say when a club speed with a ball is due, as speed_goals.csv says it of the golfer's own goal.

    Parameters
    ----------
    practice, outlook : Path
        practice.csv and outlook.npz.
    golfer : str
        A whole pseudonym.
    speed_mph : float

    Returns
    -------
    Due or None
        None where no day can be given.
    """
    table = read_table(practice, Practice)
    goal = pl.DataFrame(
        {"golfer": [golfer], "goal_yd": [None], "efficient_speed_mph": [speed_mph]}
        | {f"efficient_speed_{end}_mph": [None] for end in ("lo90", "hi90")},
        schema_overrides={name: Goals.columns()[name].dtype for name in _WANTED},
    )
    row = speed_goals_of(table, Outlook(**read_arrays(outlook)), goal).filter(pl.col("golfer") == golfer)
    if row.is_empty() or row.get_column("due_on").item() is None:
        return None
    return Due(row.get_column("due_on").item(), row.get_column("due_lo90_on").item())


_WANTED = ("golfer", "goal_yd", "efficient_speed_mph", "efficient_speed_lo90_mph", "efficient_speed_hi90_mph")
