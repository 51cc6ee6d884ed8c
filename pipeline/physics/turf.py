"""Turf: how far a ball bounces and rolls after it has landed.

Source: Penner, Can. J. Phys. 80 (2002) 931-940, doi 10.1139/p02-035, by way of a reading of it (second-hand). His
values are for a green. What this module uses for a fairway is ASSUMED and stands in `SOFT`, `NORMAL` and `FIRM`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.physics.ball import DIAMETER_M
from pipeline.physics.trajectory import GRAVITY_MPS2
from pipeline.statistics.arrays import SMALL, Array

BALL_RADIUS_M = DIAMETER_M / 2
# More than any landing on the named turfs needs (tested); a ball that still hops then rolls from there.
MOST_BOUNCES = 60
_BLOCK = SMALL // 2  # balls at a time: the dozen arrays of more of them leave the processor's cache


@dataclass(frozen=True)
class Turf:
    """A turf by the constants of Penner's model. The defaults are his values for a green.

    Attributes
    ----------
    friction : float
        Coefficient of sliding friction of ball and turf.
    tilt_deg, tilt_speed_mps, tilt_incidence_deg : float
        The turf gives way and acts as a rigid surface that is tilted against the ball by
        ``tilt_deg (v / tilt_speed_mps) (t / tilt_incidence_deg)``; v impact speed, t incidence from the vertical.
    most_tilt_deg : float
        Most that it is tilted. The law has no end, so that a fast, flat landing in a tail wind would meet a wall and
        come back. ASSUMED: usual drives in calm air make 24 to 30 deg and stay as they are. At 97 mph in a tail wind of
        30 mph a drive runs 50 yd; 61 with 32 deg, 38 with 38 deg and 11 without an end.
    restitution : tuple of three floats
        Coefficients of the normal speed's powers 0, 1 and 2 (m/s), below `restitution_end_mps`.
    restitution_end : float
        Coefficient of restitution at and above `restitution_end_mps`.
    restitution_end_mps : float
        Normal speed, m/s.
    restitution_scale : float
        Factor on the whole of it: below 1 is softer.
    rolling_g : float
        Deceleration of a rolling ball in units of g.
    grass_m : float
        A rebound that rises less than this is no flight: it stays within the grass, and the ball rolls on. ASSUMED.
    """

    friction: float = 0.40
    tilt_deg: float = 15.4
    tilt_speed_mps: float = 18.6
    tilt_incidence_deg: float = 44.4
    most_tilt_deg: float = 35.0
    restitution: tuple[float, float, float] = (0.510, -0.0375, 0.000903)
    restitution_end: float = 0.120
    restitution_end_mps: float = 20.0
    restitution_scale: float = 1.0
    rolling_g: float = 5 / 7 * 0.131
    grass_m: float = 0.005


# ASSUMPTIONS, no source: a fairway's grass stands 15 mm high and slows a rolling ball half as much again as a
# green; a soft one gives way a tenth more, rebounds a tenth less and slows more, a firm one the reverse. With them a
# drive that lands at 27 m/s, 40 deg and 250 rad/s runs about 15, 22 and 31 yd.
SOFT = Turf(tilt_deg=15.4 * 1.1, restitution_scale=0.9, rolling_g=5 / 7 * 0.25, grass_m=0.015)
NORMAL = Turf(rolling_g=5 / 7 * 0.20, grass_m=0.015)
FIRM = Turf(tilt_deg=15.4 * 0.9, restitution_scale=1.1, rolling_g=5 / 7 * 0.17, grass_m=0.015)
FIRMNESS: dict[str, Turf] = {"soft": SOFT, "normal": NORMAL, "firm": FIRM}

# ASSUMED, no source: nine times in ten a turf that somebody calls soft, normal or firm lies within half a step of the
# named one, all its constants together. So each has a softer and a firmer neighbor: half the way to the next named
# turf, and beyond soft and firm half a step farther on. With them the drive above runs 12 to 19, 19 to 27 and 27 to
# 37 yd.
_BELOW_SOFT = Turf(tilt_deg=15.4 * 1.15, restitution_scale=0.85, rolling_g=5 / 7 * 0.275, grass_m=0.015)
_SOFT_TO_NORMAL = Turf(tilt_deg=15.4 * 1.05, restitution_scale=0.95, rolling_g=5 / 7 * 0.225, grass_m=0.015)
_NORMAL_TO_FIRM = Turf(tilt_deg=15.4 * 0.95, restitution_scale=1.05, rolling_g=5 / 7 * 0.185, grass_m=0.015)
_ABOVE_FIRM = Turf(tilt_deg=15.4 * 0.85, restitution_scale=1.15, rolling_g=5 / 7 * 0.155, grass_m=0.015)
NEIGHBORS: dict[Turf, tuple[Turf, Turf]] = {
    SOFT: (_BELOW_SOFT, _SOFT_TO_NORMAL),
    NORMAL: (_SOFT_TO_NORMAL, _NORMAL_TO_FIRM),
    FIRM: (_NORMAL_TO_FIRM, _ABOVE_FIRM),
}


def restitution(normal_mps: npt.ArrayLike, turf: Turf) -> Array:
    """Coefficient of restitution of ball and turf.

    Parameters
    ----------
    normal_mps : array_like
        Speed of approach along the normal of the (tilted) surface, m/s, 0 or more.
    turf : Turf

    Returns
    -------
    ndarray
        Rebound speed over speed of approach, at most 1.
    """
    v = np.asarray(normal_mps, dtype=np.float64)
    c0, c1, c2 = turf.restitution
    raw = np.where(v < turf.restitution_end_mps, c0 + c1 * v + c2 * v**2, turf.restitution_end)
    return np.minimum(turf.restitution_scale * raw, 1.0)


def bounce(along_mps: Array, down_mps: Array, spin_rad_s: Array, turf: Turf) -> tuple[Array, Array, Array]:
    """One impact of a ball on turf, in the vertical plane of its motion.

    Parameters
    ----------
    along_mps : ndarray
        Horizontal speed before the impact, m/s, positive along the line of flight.
    down_mps : ndarray
        Vertical speed before the impact, m/s, positive downwards, 0 or more.
    spin_rad_s : ndarray
        Spin before the impact, rad/s, backspin positive (to a ball that moves along the line of flight).
    turf : Turf

    Returns
    -------
    tuple of three ndarrays
        Horizontal speed, vertical speed (positive upwards) and spin after the impact, in the same units.

    Notes
    -----
    Friction acts against the slip of the contact point, at most until the ball rolls. Written with the slip's sign,
    the law covers balls that run backwards and balls with topspin as well.
    """
    speed_mps = np.sqrt(along_mps**2 + down_mps**2)
    incidence_rad = np.arctan2(along_mps, down_mps)
    tilt_rad = np.radians(turf.tilt_deg) * speed_mps / turf.tilt_speed_mps
    tilt_rad = tilt_rad * incidence_rad / np.radians(turf.tilt_incidence_deg)
    # The crater's wall can't lean past the path of the ball that makes it.
    most_rad = np.minimum(np.radians(turf.most_tilt_deg), np.abs(incidence_rad))
    tilt_rad = np.clip(tilt_rad, -most_rad, most_rad)
    sine, cosine = np.sin(tilt_rad), np.cos(tilt_rad)
    tangential_mps = along_mps * cosine - down_mps * sine
    normal_mps = down_mps * cosine + along_mps * sine
    e = restitution(normal_mps, turf)
    slip_mps = tangential_mps + BALL_RADIUS_M * spin_rad_s
    # 2/7 of the slip ends it, for a uniform sphere (moment of inertia 2/5 m r^2); friction may allow less.
    most_mps = turf.friction * (1 + e) * normal_mps
    kick_mps = -np.clip(2 / 7 * slip_mps, -most_mps, most_mps)
    tangential_mps = tangential_mps + kick_mps
    spin_after_rad_s = spin_rad_s + 5 / 2 * kick_mps / BALL_RADIUS_M
    normal_mps = e * normal_mps
    along_after_mps = tangential_mps * cosine - normal_mps * sine
    up_mps = tangential_mps * sine + normal_mps * cosine
    return along_after_mps, up_mps, spin_after_rad_s


def roll_m(along_mps: npt.ArrayLike, spin_rad_s: npt.ArrayLike, turf: Turf) -> Array:
    """Distance of a ball on the ground: it slides until it rolls, then rolls until it lies still.

    Parameters
    ----------
    along_mps : array_like
        Speed along the ground, m/s; backwards negative.
    spin_rad_s : array_like
        Spin, rad/s, backspin positive.
    turf : Turf

    Returns
    -------
    ndarray
        Distance, m; negative for a ball that ends behind its start.

    Notes
    -----
    A rolling ball covers v^2 / 2a. Sliding changes the speed by 2/7 of the slip at friction times g. On a turf
    without friction the ball keeps its spin and only the rolling resistance slows it.
    """
    v = np.asarray(along_mps, dtype=np.float64)
    slip_mps = v + BALL_RADIUS_M * np.asarray(spin_rad_s, dtype=np.float64)
    if turf.friction == 0:
        rolling_mps, slid_m = v, np.zeros_like(slip_mps)
    else:
        rolling_mps = v - 2 / 7 * slip_mps
        slid_s = 2 / 7 * np.abs(slip_mps) / (turf.friction * GRAVITY_MPS2)
        slid_m = (v + rolling_mps) / 2 * slid_s
    rolled_m: Array = np.sign(rolling_mps) * rolling_mps**2 / (2 * turf.rolling_g * GRAVITY_MPS2)
    return slid_m + rolled_m


def run_m(
    landing_speed_mps: npt.ArrayLike,
    descent_deg: npt.ArrayLike,
    spin_rad_s: npt.ArrayLike,
    turf: Turf = NORMAL,
) -> Array:
    """Distance of bounces and roll after the first landing, on level turf, along the line of flight.

    Parameters
    ----------
    landing_speed_mps : array_like
        Speed at landing, m/s, 0 or more.
    descent_deg : array_like
        Angle of the path below the horizontal at landing, deg, 0 to 90.
    spin_rad_s : array_like
        Spin at landing, rad/s, backspin positive.
    turf : Turf, optional
        `FIRMNESS` holds the named ones.

    Returns
    -------
    ndarray
        Run, m, in the broadcast shape; negative for a ball that spins back behind its pitch mark; NaN where an
        input is NaN.

    Raises
    ------
    ValueError
        If a speed is negative or an angle is outside 0 to 90 deg.

    Notes
    -----
    Between bounces the ball flies without air: drag would take a few per cent of the first hop, less of the others.
    A rebound that rises less than the grass, `Turf.grass_m`, ends the bounces. The last low hops slow a ball about
    as much as rolling does, so that the height moves the whole little: the drive of the named turfs runs 23.5 yd
    with 10 mm, 22.4 with 15 mm and 21.7 with 20 mm (but 25 with 5 mm).

    Not to be trusted on slopes, in long or wet grass, or as more than a guide to any one shot. The tilt law grows
    with speed and incidence without bound, so that it makes faster landings at the same angle run less than slower
    ones; its use for fast, flat landings and for the later, flat bounces is an extrapolation.
    """
    speed, descent, spin = np.broadcast_arrays(
        *(np.asarray(a, dtype=np.float64) for a in (landing_speed_mps, descent_deg, spin_rad_s))
    )
    if np.any(speed < 0) or np.any(descent < 0) or np.any(descent > 90):
        raise ValueError("landing_speed_mps must be 0 or more and descent_deg between 0 and 90.")
    along = np.ravel(speed * np.cos(np.radians(descent)))
    vertical = np.ravel(speed * np.sin(np.radians(descent)))
    spin = np.ravel(spin)
    if along.size <= _BLOCK:
        return _run_m(along, vertical, spin, turf).reshape(speed.shape)
    blocks = [slice(start, start + _BLOCK) for start in range(0, along.size, _BLOCK)]
    found = [_run_m(along[block], vertical[block], spin[block], turf) for block in blocks]
    return np.concatenate(found).reshape(speed.shape)


def _run_m(along: Array, vertical: Array, spin: Array, turf: Turf) -> Array:
    """Give the run of balls, m, shape (n,), by their speeds along and down, m/s, and spin, rad/s, at landing."""
    gone_m = np.zeros_like(along)
    along_end, spin_end = along.copy(), spin.copy()
    least_up_mps = np.sqrt(2 * GRAVITY_MPS2 * turf.grass_m)
    hopping = np.arange(along.size)
    for _ in range(MOST_BOUNCES):
        along, up, spin = bounce(along, vertical, spin, turf)
        along_end[hopping], spin_end[hopping] = along, spin
        flies = up > least_up_mps
        if not flies.any():
            break
        hopping, along, vertical, spin = hopping[flies], along[flies], up[flies], spin[flies]
        gone_m[hopping] += 2 * along * vertical / GRAVITY_MPS2
    return gone_m + roll_m(along_end, spin_end, turf)
