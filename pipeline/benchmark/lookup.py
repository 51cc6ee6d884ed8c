"""The coach's question: how far at this club speed, and perhaps this delivery, and how far could it be."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.benchmark.drives_near import Reach
from pipeline.benchmark.run_and_conditions import Conditions, better_ball_speed
from pipeline.fit.model import CarryModel, known_key
from pipeline.physics.ball import Ball
from pipeline.physics.impact import ASSUMED_RATIO
from pipeline.statistics.arrays import Array


@dataclass(frozen=True)
class Guide:
    """What a lookup needs beside the model: efficient carry, windows and reach on a grid of club speeds.

    Attributes
    ----------
    speeds_mph : ndarray, shape (n,)
        Rising; the benchmarks reach from the first to the last, without gaps wider than `step_mph`.
    columns : dict of str to ndarray, shape (n,)
        carry_yd, lo90_yd, hi90_yd, total_yd, the deliveries that give carry_yd and total_yd, and the four edges of the
        window (NaN where there is none).
    reach : list of Reach
    step_mph : float
    """

    speeds_mph: Array
    columns: dict[str, Array]
    reach: list[Reach]
    step_mph: float = 1.0

    def at(self, name: str, speed_mph: float) -> float:
        """Interpolate a column at a club speed."""
        return float(np.interp(speed_mph, self.speeds_mph, self.columns[name]))

    def holds(self, speed_mph: float) -> bool:
        """Say whether the benchmarks reach a club speed."""
        if len(self.speeds_mph) == 0 or not self.speeds_mph[0] <= speed_mph <= self.speeds_mph[-1]:
            return False
        return bool(np.min(np.abs(self.speeds_mph - speed_mph)) <= self.step_mph / 2 + 1e-9)

    def reach_near(self, speed_mph: float) -> Reach:
        """Give the reach at the grid speed next to a club speed."""
        return self.reach[int(np.argmin(np.abs(self.speeds_mph - speed_mph)))]

    @classmethod
    def from_dict(cls, raw: dict[str, Any]) -> "Guide":
        """Rebuild from guide.json."""
        rows = raw["speeds"]
        names = (
            "carry_yd",
            "lo90_yd",
            "hi90_yd",
            "launch_deg",
            "spin_rpm",
            "total_yd",
            "total_launch_deg",
            "total_spin_rpm",
        )
        edges = ("launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm")
        columns = {name: np.array([row[name] for row in rows], dtype=float) for name in names}
        columns |= {
            edge: np.array([(row["window"] or {}).get(edge, np.nan) for row in rows], dtype=float) for edge in edges
        }
        speeds = np.array([row["speed_mph"] for row in rows], dtype=float)
        return cls(speeds, columns, [Reach.from_dict(row["reach"]) for row in rows])


@dataclass(frozen=True)
class Place:
    """Where the answer is asked for: the calibrated ball, the study's standard conditions and those of the place."""

    ball: Ball
    standard: Conditions
    here: Conditions

    def change_and_run_yd(
        self, ball_speed_mph: float, launch_deg: float, spin_rpm: float
    ) -> tuple[float, float, float]:
        """Give what the place adds to carry, the run there, and the run at standard conditions, yd."""
        carry, run = self.standard.carry_and_run_yd(self.ball, ball_speed_mph, launch_deg, spin_rpm)
        if self.here is self.standard:
            return 0.0, run, run
        carry_here, run_here = self.here.carry_and_run_yd(self.ball, ball_speed_mph, launch_deg, spin_rpm)
        return carry_here - carry, run_here, run


def look_up(
    model: CarryModel,
    guide: Guide,
    place: Place,
    club_speed_mph: float,
    launch_deg: float | None = None,
    spin_rpm: float | None = None,
    ball_speed_mph: float | None = None,
) -> dict[str, Any]:
    """Answer a lookup.

    Parameters
    ----------
    model : CarryModel
    guide : Guide
    place : Place
    club_speed_mph : float
    launch_deg, spin_rpm, ball_speed_mph : float, optional
        What is not given is taken as usual for golfers of that club speed.

    Returns
    -------
    dict
        The keys of the contract: expected carry with the 90 % interval of one drive, efficient carry with its own,
        window, yards available. Outside the data's reach `supported` is false, every number is null and `note`
        says why.
    """
    answer: dict[str, Any] = {
        "club_speed_mph": club_speed_mph,
        "expected_carry_yd": None,
        "expected_lo90_yd": None,
        "expected_hi90_yd": None,
        "expected_total_yd": None,
        "efficient_carry_yd": None,
        "efficient_lo90_yd": None,
        "efficient_hi90_yd": None,
        "efficient_total_yd": None,
        "yards_available_yd": None,
        "launch_window_deg": None,
        "spin_window_rpm": None,
        "supported": False,
        "note": None,
    }
    if not guide.holds(club_speed_mph):
        return answer | {"note": _out_of_speed(guide, club_speed_mph)}
    launch = float(model.trends.launch(club_speed_mph)) if launch_deg is None else launch_deg
    spin = float(model.trends.spin(club_speed_mph)) if spin_rpm is None else spin_rpm
    out = _out_of_reach(guide.reach_near(club_speed_mph), club_speed_mph, launch, spin, ball_speed_mph)
    if out is not None:
        return answer | {"note": out}

    over_ball = model.surface.speed == "ball" and ball_speed_mph is not None
    ratio = ball_speed_mph / club_speed_mph if over_ball and ball_speed_mph is not None else None
    speed = float(model.speed(club_speed_mph, ratio))
    change, run, _ = place.change_and_run_yd(_ball_speed(model, club_speed_mph, ball_speed_mph), launch, spin)
    at_standard = model.carry([speed], [launch], [spin])[0]
    expected = at_standard + change
    lo, hi = model.interval[known_key(over_ball, launch_deg is not None, spin_rpm is not None)]
    efficient = _efficient(model, guide, place, club_speed_mph)
    edges = [guide.at(e, club_speed_mph) for e in ("launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm")]
    has_window = not np.isnan(edges).any()
    notes = ["expected is one drive; nine in ten fall inside its interval"]
    if ball_speed_mph is not None and not over_ball:
        notes.append("ball speed was not used: the model is over club speed")
    if not has_window:
        notes.append("no efficient window at this speed")
    if place.here is not place.standard:
        notes.append("carry and run are for the given conditions, the window is that of standard conditions")
    return answer | {
        "expected_carry_yd": float(expected),
        "expected_lo90_yd": float(expected + at_standard * lo),
        "expected_hi90_yd": float(expected + at_standard * hi),
        "expected_total_yd": float(expected + run),
        **efficient,
        "yards_available_yd": float(efficient["efficient_carry_yd"] - expected),
        "launch_window_deg": edges[:2] if has_window else None,
        "spin_window_rpm": edges[2:] if has_window else None,
        "supported": True,
        "note": "; ".join(notes),
    }


def _ball_speed(model: CarryModel, club_speed_mph: float, ball_speed_mph: float | None) -> float:
    """Give the ball speed for flight, mph: as given, as usual, or by an assumed ratio where the study has none."""
    if ball_speed_mph is not None:
        return ball_speed_mph
    return float(model.speed(club_speed_mph)) if model.surface.speed == "ball" else club_speed_mph * ASSUMED_RATIO


def _efficient(model: CarryModel, guide: Guide, place: Place, club_speed_mph: float) -> dict[str, float]:
    """Give efficient carry with its interval, and efficient total, at the place's conditions."""
    ball = better_ball_speed(model, club_speed_mph)
    launch, spin = (guide.at(name, club_speed_mph) for name in ("launch_deg", "spin_rpm"))
    change, _, _ = place.change_and_run_yd(ball, launch, spin)
    launch, spin = (guide.at(name, club_speed_mph) for name in ("total_launch_deg", "total_spin_rpm"))
    total_change, run, standard_run = place.change_and_run_yd(ball, launch, spin)
    edges = {"carry": "carry_yd", "lo90": "lo90_yd", "hi90": "hi90_yd"}
    found = {f"efficient_{name}_yd": guide.at(column, club_speed_mph) + change for name, column in edges.items()}
    total = guide.at("total_yd", club_speed_mph) + total_change + run - standard_run
    return found | {"efficient_total_yd": total}


def _out_of_speed(guide: Guide, club_speed_mph: float) -> str:
    if len(guide.speeds_mph) == 0:
        return "the study has too few golfers at any club speed for a benchmark"
    lo, hi = guide.speeds_mph[0], guide.speeds_mph[-1]
    return f"the data reach club speeds from {lo:g} to {hi:g} mph; {club_speed_mph:g} mph has too few golfers"


def _out_of_reach(
    reach: Reach, club_speed_mph: float, launch_deg: float, spin_rpm: float, ball_speed_mph: float | None
) -> str | None:
    if not reach.holds(launch_deg, spin_rpm):
        return (
            f"hardly any drive near {club_speed_mph:g} mph has launch {launch_deg:g} deg with {spin_rpm:g} rpm; "
            f"usual are {reach.mean[0]:.1f} deg and {reach.mean[1]:.0f} rpm"
        )
    if ball_speed_mph is None or reach.ratio_lo is None or reach.ratio_hi is None:
        return None
    ratio = ball_speed_mph / club_speed_mph
    if reach.ratio_lo <= ratio <= reach.ratio_hi:
        return None
    return (
        f"ball speed {ball_speed_mph:g} mph is a speed ratio of {ratio:.2f}; "
        f"drives near {club_speed_mph:g} mph have {reach.ratio_lo:.2f} to {reach.ratio_hi:.2f}"
    )
