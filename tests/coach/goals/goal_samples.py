"""A model, a frontier and golfers in closed form for the tests of goals."""

import numpy as np
from frontiers import frontier_at, near_of
from rows import table_of
from scipy.stats import t

from pipeline.benchmark.drives_near import INSIDE
from pipeline.benchmark.landing import EfficientLandings
from pipeline.benchmark.run_and_conditions import Conditions, Place
from pipeline.coach.goals.needed_speed import DistanceCurve, Present
from pipeline.fit.model import CarryModel, Delivery
from pipeline.fit.surface import Axis, Surface
from pipeline.fit.usual_delivery import Line, UsualDelivery
from pipeline.flight.offsets import Offsets
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.turf import FIRMNESS
from pipeline.tables.golfers import Golfers

USUAL_RATIO = 1.45
EDGES = dict.fromkeys(("ball_speed+launch+spin", "launch+spin", "launch"), (-0.04, 0.02))


def sample_model():
    """Carry = 2 * ball speed - 40 + 3 * (launch - 14), yd."""
    surface = Surface("plane", "ball", (Axis(0, 1), Axis(14, 1), Axis(2800, 1)), ((0, 0, 0), (1, 0, 0), (0, 1, 0)))
    flat = [Line(90, value, 0.0) for value in (USUAL_RATIO, 1.48, 14.0, 2800.0)]
    return CarryModel(
        surface,
        np.array([-40.0, 2.0, 3.0]),
        Offsets({}, ()),
        np.array([]),
        UsualDelivery(*flat),
        EDGES,
        better_share=0.0,
    )


def sample_frontier(speeds=range(80, 111), std_error=0.5):
    """Efficient carry 2.5 yd a mph, give or take 1 yd; 25 yd of run; deliveries within 6 deg of 14 and 1500 of 2800."""
    speed = np.array(speeds, dtype=float)
    reach = np.array([6.0, 1500.0]) / np.sqrt(INSIDE)
    return frontier_at(
        speed,
        near=near_of(speed, (14.0, 2800.0), reach, (1.30, 1.55)),
        study="hill",
        carry_yd=2.5 * speed,
        lo90_yd=2.5 * speed - 1,
        hi90_yd=2.5 * speed + 1,
        std_error_yd=std_error,
        launch_deg=14.0,
        spin_rpm=2800.0,
        total_yd=2.5 * speed + 25,
        total_launch_deg=13.0,
        total_spin_rpm=2600.0,
    )


def sample_place(turf="normal"):
    standard = Conditions(Air.of(15.0, 101325.0, 0.0), 0.0, FIRMNESS["normal"])
    here = standard if turf == "normal" else Conditions(standard.air, 0.0, FIRMNESS[turf])
    return Place(Ball(drag=0.9), standard, here)


def sample_curve(total=False, **frontier):
    found = sample_frontier(**frontier)
    if not total:
        return DistanceCurve.of_carry(found)
    return DistanceCurve.of_total(found, EfficientLandings.of(found, sample_model(), sample_place()))


def sample_present(club=97.0, ratio=1.40, launch=14.0, spin=2800.0, shortfall=0.0, reach=0.0):
    """Golfers with a mean carry that lies `shortfall` below the model's, `reach` yd on either side."""
    club, ratio, launch, spin = np.broadcast_arrays(
        *(np.atleast_1d(x).astype(float) for x in (club, ratio, launch, spin))
    )
    carry = 2 * club * np.where(np.isnan(ratio), USUAL_RATIO, ratio) - 40 + 3 * (launch - 14) - shortfall
    drive = Delivery(club, ratio, launch, spin)
    return Present(drive, carry, carry - reach, carry + reach, np.zeros(club.shape))


def sample_golfers(*rows, std_error=0.5):
    """Rows of the table Golfers; each is a dict with club_speed_mph, carry_yd, own_error_yd and what else differs."""
    made = []
    for number, row in enumerate(rows):
        row = {"golfer": f"g{number:016x}", "shots": 21, "status": "clear"} | row
        efficient = 2.5 * row["club_speed_mph"]
        lost = efficient - row["carry_yd"]
        half = float(t.ppf(0.95, row["shots"] - 1)) * np.hypot(row.pop("own_error_yd"), std_error)
        assessed = row["status"] != "not_assessed"
        made.append(
            {
                "ball_speed_mph": 1.40 * row["club_speed_mph"],
                "launch_deg": 14.0,
                "spin_rpm": 2800.0,
                "efficient_yd": efficient,
                "lost_yd": lost,
                "lost_lo90_yd": lost - half,
                "lost_hi90_yd": lost + half,
                **dict.fromkeys(("lost_contact_yd", "lost_launch_yd", "lost_spin_yd", "lost_consistency_yd"), 0.0),
                "lost_other_yd": lost,
                "main_cause": "none",
                "p_value": 0.5 if assessed else None,
                "q_value": 0.5 if assessed else None,
                "ranked_lost_yd": lost,
                "ranked_lo90_yd": lost - 2.0,
                "ranked_hi90_yd": lost + 2.0,
                **row,
            }
        )
    return table_of(Golfers, made)
