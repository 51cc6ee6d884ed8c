"""The part of a frontier about one club speed: all that a single lookup needs, and quick to work out for other air."""

from dataclasses import replace
from typing import Any

import numpy as np

from pipeline.benchmark.drives_near import DrivesNear
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.reach import Reach


def part_about(frontier: Frontier, club_speed_mph: float) -> Frontier:
    """Give the grid speeds at or below and at or above a club speed, as a frontier of their own.

    Parameters
    ----------
    frontier : Frontier
    club_speed_mph : float

    Returns
    -------
    Frontier
        Of one or two club speeds, which says the same of this club speed; the whole one where it isn't reached.
    """
    if not frontier.reaches(club_speed_mph):
        return frontier
    below, above = (int(place) for place in frontier.about(club_speed_mph))
    part = slice(below, above + 1)
    near = DrivesNear(**{name: values[part] for name, values in vars(frontier.near).items()})
    columns: dict[str, Any] = {
        name: values[part] for name, values in vars(frontier).items() if isinstance(values, np.ndarray)
    }
    return replace(frontier, near=near, reach=_reach_of(frontier.reach, part), **columns)


def _reach_of(reach: Reach, part: slice) -> Reach:
    inside = (reach.runs[:, 0] >= part.start) & (reach.runs[:, 0] < part.stop)
    return replace(reach, runs=reach.runs[inside] - [part.start, 0, 0, 0], doubt_yd=reach.doubt_yd[part])
