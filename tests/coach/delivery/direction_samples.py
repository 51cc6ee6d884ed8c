"""Golfers whose path follows their attack by a plane or by a slope of their own; their balls start as by impact."""

from datetime import date

import numpy as np
import polars as pl

from pipeline.coach.delivery.impact_slopes import loft_difference_deg
from pipeline.physics.impact import strike_in_space
from pipeline.physics.swing_geometry import path_of_deg
from pipeline.units import MPS_PER_MPH

DAYS = 6


def directed_swings(
    drives, plane_deg=None, slope=None, *, share=None, noise_deg=0.0, face_noise_deg=0.0, day_deg=1.0, seed=11
):
    """Give swings path, face and what follows.

    `drives` have true attacks; `noise_deg` is put on their readings. Path follows attack by `plane_deg`, or by `slope`
    (a number, or one per golfer). Start is by rigid impact, or by a `share` of the face. Each day shifts path, face
    and start alike, as an aim does.
    """
    rng = np.random.default_rng(seed)
    n = drives.height
    who = drives["golfer"].rank("dense").to_numpy().astype(int) - 1
    day = np.arange(n) % DAYS
    attack = drives["attack_deg"].to_numpy()
    if slope is None:
        path = path_of_deg(3 + rng.normal(0, 0.8, n), attack, plane_deg)
    else:
        path = 2 + rng.normal(0, 0.8, n) + np.broadcast_to(slope, who.max() + 1)[who] * attack
    face = 0.4 * path + rng.normal(0, 2.0, n)
    loft = attack + loft_difference_deg(np.maximum(drives["launch_deg"].to_numpy() - attack, 3.0))
    ball = strike_in_space(drives["club_speed_mph"].to_numpy() * MPS_PER_MPH, attack, loft, path, face)
    start = ball.launch_side_deg if share is None else path + share * (face - path)
    aim = rng.normal(0, day_deg, (who.max() + 1, DAYS))[who, day]
    return drives.with_columns(
        struck_on=pl.Series([date(2026, 8, 1 + d) for d in range(DAYS)]).gather(day),
        attack_deg=attack + rng.normal(0, noise_deg, n),
        path_deg=path + aim,
        face_deg=face + aim + rng.normal(0, face_noise_deg, n),
        plane_deg=pl.lit(plane_deg, pl.Float64),
        launch_side_deg=start + aim + rng.normal(0, 0.2, n),
        spin_axis_deg=pl.Series(ball.spin_axis_deg + rng.normal(0, 0.5, n)),
    )
