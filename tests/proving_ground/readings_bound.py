"""What the readings' errors alone allow: the least rms error that any method can have on a fresh drive.

Let a genie tell a predictor what no study can know of a new golfer: the golfer's own middle of club speed, speed ratio,
launch and spin, how these spread from drive to drive, whether a drive is a mishit and how much speed it lost, the true
flight of the ball and the errors of all readings. Its best prediction of carry is the mean of carry given the readings,
and its variance about that is the least that anybody's can be (the tower rule: to know less can't help on average).
Where priors and errors are normal and carry is straight over an error of a reading, that variance is

    g' (D^-1 + H' R^-1 H)^-1 g

with D the golfer's drive-to-drive variances, H what the readings see, R their errors, and g how carry goes with club
speed, speed ratio, launch and spin. What no reading explains, the oracle's own error, comes on top.
"""

import academy as a
import numpy as np
from true_flight import Array, carry_yd

STEP = np.array([0.5, 0.5, 50.0])  # of ball speed (mph), launch (deg) and spin (rpm), for slopes of carry


def least_variance_yd2(academy: "a.Academy") -> Array:
    """Give the least variance of carry given a drive's readings, yd^2, shape (n,), at sea level."""
    drives, world = academy.drives, academy.world
    club, ball, launch, spin = (
        drives.get_column(f"true_{name}").to_numpy() for name in ("club_mph", "ball_mph", "launch_deg", "spin_rpm")
    )
    by_ball, by_launch, by_spin = _slopes(academy.ball, np.stack([ball, launch, spin]))
    ratio = ball / club
    # A mishit is known by its lost speed; its launch and spin spread more.
    own = academy.golfers.get_column("speed_ratio").to_numpy()[drives.get_column("row").to_numpy()]
    bad = ratio < own - 3 * a.STRIKE_SD
    launch_sd = np.hypot(a.SHOT_LAUNCH_SD, bad * a.MISHIT_LAUNCH_SD)
    spin_sd = spin * np.hypot(a.SHOT_SPIN_SD, bad * a.MISHIT_SPIN_SD)
    n = len(club)
    precision = np.zeros((n, 4, 4))
    places = np.arange(4)
    spread = np.stack([np.full(n, a.CLUB_SD_MPH), np.full(n, a.STRIKE_SD), launch_sd, spin_sd], axis=1)
    precision[:, places, places] = 1 / spread**2
    nothing = np.zeros(n)
    seen = (
        (np.stack([1 + nothing, nothing, nothing, nothing], axis=1), a.CLUB_READ * club),
        (np.stack([ratio, club, nothing, nothing], axis=1), a.BALL_READ * ball),
        (np.stack([nothing, nothing, 1 + nothing, nothing], axis=1), np.full(n, a.LAUNCH_READ_DEG)),
        (np.stack([nothing, nothing, nothing, 1 + nothing], axis=1), world.spin_noise * spin),
    )
    for direction, error in seen:
        precision += direction[:, :, None] * direction[:, None, :] / error[:, None, None] ** 2
    slope = np.stack([by_ball * ratio, by_ball * club, by_launch, by_spin], axis=1)
    return np.asarray(np.sum(slope * np.linalg.solve(precision, slope[:, :, None])[:, :, 0], axis=1))


def least_rmse_yd(academy: "a.Academy", oracle_rmse_yd: float) -> float:
    """Give the least rms error of expected carry over an academy's drives, yd, beside the oracle's."""
    return float(np.sqrt(oracle_rmse_yd**2 + np.mean(least_variance_yd2(academy))))


def _slopes(ball: str, at: Array) -> list[Array]:
    found = []
    for place, step in enumerate(STEP):
        ahead, behind = at.copy(), at.copy()
        ahead[place] += step
        behind[place] -= step
        found.append((carry_yd(ball, *ahead) - carry_yd(ball, *behind)) / (2 * step))
    return found
