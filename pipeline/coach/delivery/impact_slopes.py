"""What rigid impact makes of a change of loft or of attack: the slopes that stand beside the measured ones."""

import numpy as np
import numpy.typing as npt

from pipeline.physics.impact import strike
from pipeline.statistics.arrays import Array
from pipeline.units import MPS_PER_MPH

# How far from rigid impact a real club and ball may be, as shares of what it says. ASSUMED: practice puts launch at
# 85 % of the way from attack to loft, rigid impact at 82 % (common practice, no source), which goes with a tenth less
# spin; a change of stated loft has beside it what arrives of it at impact.
SPIN_DOUBT = 0.10
LOFT_DOUBT = 0.15

_LOFT_DIFFERENCES_DEG = np.arange(0.0, 60.01, 0.05)
_SMALL_DEG = 0.1


def loft_difference_deg(rise_deg: npt.ArrayLike) -> Array:
    """Give dynamic loft minus attack from launch minus attack, deg; NaN where launch is not above the attack.

    In rigid impact the one follows from the other alone, whatever the speed.
    """
    rise = np.asarray(rise_deg, dtype=float)
    launched = strike(1.0, 0.0, _LOFT_DIFFERENCES_DEG).launch_deg
    return np.where(rise > 0, np.interp(rise, launched, _LOFT_DIFFERENCES_DEG, right=np.nan), np.nan)


def impact_at(club_speed_mph: npt.ArrayLike, attack_deg: npt.ArrayLike, loft_deg: npt.ArrayLike) -> Array:
    """Give launch, deg, spin, rpm, and speed ratio of rigid impact, shape (..., 3); NaN where an input is NaN."""
    speed = np.asarray(club_speed_mph, dtype=float) * MPS_PER_MPH
    given = np.broadcast_arrays(speed, np.asarray(attack_deg, dtype=float), np.asarray(loft_deg, dtype=float))
    known = np.asarray(np.isfinite(np.stack(given)).all(axis=0))
    speed, attack, loft = (np.where(known, part, 1.0) for part in given)
    hit = strike(speed, attack, loft)
    found = np.stack([hit.launch_deg, hit.spin_rpm, hit.ball_speed_mps / speed], axis=-1)
    return np.where(np.expand_dims(known, -1), found, np.nan)


def change_by_loft(
    club_speed_mph: npt.ArrayLike, attack_deg: npt.ArrayLike, launch_deg: npt.ArrayLike, change_deg: Array
) -> Array:
    """Give what more loft changes in launch, deg, spin, rpm, and speed ratio by rigid impact.

    Parameters
    ----------
    club_speed_mph, attack_deg, launch_deg : array_like
        Of the present delivery; dynamic loft follows from launch and attack.
    change_deg : ndarray
        Of the dynamic loft; broadcastable against the others.

    Returns
    -------
    ndarray, shape (..., 3)
        NaN where launch is not above the attack.
    """
    attack = np.asarray(attack_deg, dtype=float)
    loft = attack + loft_difference_deg(np.asarray(launch_deg, dtype=float) - attack)
    return np.asarray(impact_at(club_speed_mph, attack, loft + change_deg) - impact_at(club_speed_mph, attack, loft))


def slopes_by_impact(club_speed_mph: float, attack_deg: float, launch_deg: float) -> dict[str, Array]:
    """Give the slopes of launch, spin and speed ratio on attack and on loft by rigid impact, each of shape (3,).

    That on attack is at the same dynamic loft: the face doesn't turn with the path.
    """
    loft = attack_deg + float(loft_difference_deg(launch_deg - attack_deg))
    steps = {
        "attack_deg": (
            impact_at(club_speed_mph, attack_deg - _SMALL_DEG, loft),
            impact_at(club_speed_mph, attack_deg + _SMALL_DEG, loft),
        ),
        "loft_deg": (
            impact_at(club_speed_mph, attack_deg, loft - _SMALL_DEG),
            impact_at(club_speed_mph, attack_deg, loft + _SMALL_DEG),
        ),
    }
    return {name: np.asarray((after - before) / (2 * _SMALL_DEG)) for name, (before, after) in steps.items()}
