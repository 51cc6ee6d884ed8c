from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipeline.coach.straightness.offline import COLUMNS, SideFlight, beside_columns, landings_of
from pipeline.coach.straightness.other_flights import flight_error, with_others
from pipeline.coach.straightness.straightness import landed, straightness_of
from pipeline.configuration.study import StandardAir
from pipeline.drives import Drives
from pipeline.physics.air import Air
from pipeline.physics.ball import SETS, Ball
from pipeline.physics.trajectory import Launch, Wind, fly
from pipeline.statistics.intervals import MANY
from pipeline.tables.logs import DriveTable
from pipeline.tables.types import types_of

OURS = SideFlight(Ball("indoor-range-2001", 1.03, 0.97), StandardAir(), 1.45)
SEA_LEVEL = Air.of(np.array(15.0), np.array(101325.0), np.array(0.0))
WIND_MPS = 6.0


def drives(seed=1, golfers=1, n=60, days=30, **known):
    """Straight drives about the target line, with what is known of all of them."""
    rng, count = np.random.default_rng(seed), golfers * n
    columns = {
        "golfer": [f"g{k:016x}" for k in range(golfers) for _ in range(n)],
        "quarter": ["2026Q3"] * count,
        "struck_on": np.datetime64("2026-07-01") + np.tile(np.sort(np.arange(n) % days), golfers),
        "club_speed_mph": rng.normal(95, 6, count),
        "launch_deg": rng.normal(13.5, 1.5, count),
        "spin_rpm": rng.normal(2700, 250, count),
        "carry_standard_yd": rng.normal(225, 10, count),
    }
    columns["ball_speed_mph"] = 1.45 * columns["club_speed_mph"]
    columns |= {name: np.broadcast_to(values, count) for name, values in known.items()}
    kinds = {name: kind for name, kind in types_of(DriveTable).items() if name in COLUMNS}
    nothing = [None] * count
    return pl.DataFrame([pl.Series(n, columns.get(n, nothing), strict=False).cast(k) for n, k in kinds.items()])


def carry_yd(ball, frame):
    return OURS.straight_carry(frame, ball)


def test_other_sets_carry_as_the_studys_flight_does():
    frame = drives(n=400, offline_yd=0.0, wind_cross_mps=3.0)
    found = with_others(OURS, Drives.of(frame))
    assert {ball.coefficients for ball in found.others} == set(SETS) - {OURS.ball.coefficients}
    for ball in found.others:
        apart = carry_yd(ball, frame) - carry_yd(OURS.ball, frame)
        published = carry_yd(Ball(ball.coefficients), frame) - carry_yd(OURS.ball, frame)
        assert abs(apart.mean()) < 0.5
        assert np.sqrt(np.mean(apart**2)) < 0.4 * np.sqrt(np.mean(published**2))


@pytest.mark.parametrize("known", [{}, {"offline_yd": 3.0}, {"launch_side_deg": 1.0}, {"spin_axis_deg": 4.0}])
def test_where_no_offline_rests_on_flight_none_is_in_doubt(known):
    frame = drives(**known)
    found = with_others(OURS, Drives.of(frame))
    assert found == OURS
    variance, freedom = flight_error(landings_of(frame, found))
    assert not variance.any()
    assert (freedom == MANY).all()


def test_what_others_say_is_their_flight_less_ours():
    flight = replace(OURS, others=(Ball("smits-smith-1994", 0.9, 0.8),))
    other = replace(flight, ball=flight.others[0], others=())
    for known in ({"launch_side_deg": 1.0, "spin_axis_deg": 8.0}, {"offline_yd": 9.0, "wind_cross_mps": 5.0}):
        frame = drives(**known)
        ours, theirs = (landings_of(frame, one)["offline_yd"].to_numpy() for one in (flight, other))
        found = landings_of(frame, flight)["beside_0_yd"].to_numpy()
        assert found == pytest.approx(theirs - ours, abs=1e-9)
        assert np.abs(found).mean() > 0.05


def test_the_error_of_a_change_is_of_what_changed():
    now, then = beside_columns(2), [f"{name}_before" for name in beside_columns(2)]
    table = pl.DataFrame([[1.0, 3.0, 1.0], [2.0, -1.0, 2.0], [1.0, 0.0, -1.0], [2.0, 0.0, -2.0]], schema=now + then)
    variance, freedom = flight_error(table)
    assert variance == pytest.approx([2.5, 5.0, 2.5])
    assert freedom == pytest.approx([2.0] * 3)
    assert flight_error(table, "_before")[0] == pytest.approx([0.0, 5.0, 10.0])


@pytest.mark.parametrize("place", [0, 1])
def test_intervals_hold_the_mean_where_the_ball_drifts_otherwise(place):
    """Sixty drives on as many days know their mean to a fifth of a yard or so: then the flight decides."""
    frame = drives(golfers=40, days=60).with_columns(offline_yd=pl.lit(0.0), wind_cross_mps=pl.lit(WIND_MPS))
    # A ball that carries as the study's flight does, and drifts as its own set says.
    ball = with_others(OURS, Drives.of(frame)).others[place]
    speed = frame["ball_speed_mph"].to_numpy() * 0.44704
    shot = Launch.straight(speed, frame["launch_deg"].to_numpy(), frame["spin_rpm"].to_numpy())
    drift = fly(shot, ball, SEA_LEVEL, Wind(0.0, WIND_MPS)).offline_m / 0.9144
    offline = np.random.default_rng(2).normal(0, 1.5, frame.height)
    frame = frame.with_columns(pl.Series("offline_yd", offline + drift))

    def held(flight):
        table = straightness_of(*landed(Drives.of(frame), flight), 12, 30.0)
        return table.select(pl.lit(0.0).is_between("offline_mean_lo90_yd", "offline_mean_hi90_yd").mean()).item()

    assert held(OURS) < 0.5
    assert held(with_others(OURS, Drives.of(frame))) > 0.85
