"""How attack, path, swing plane and swing direction hang together: plain geometry of a club head that moves in a plane.

Derivation (mechanics, no other source). Let the ground's axes be forward, to the target, right of it, and up. The
plane is inclined by p to the ground and meets it in a base line that points in direction d, right of the target
positive: b = (cos d, sin d, 0). A right-handed golfer stands left of the ball, so the plane rises to the left, and its
steepest line is u = (cos p sin d, -cos p cos d, sin p). A head that moves in the plane, at an angle q to the base line,
has the direction cos q b + sin q u. Its upward part is sin q sin p, which is the sine of the attack a, so

    sin q = sin a / sin p,

and on the ground it goes sqrt(1 - sin^2 a / sin^2 p) along the base line and sin q cos p = sin a / tan p to its left.
So the path points left of the base line, for a right-handed golfer who hits upwards, by

    atan( (sin a / tan p) / sqrt(1 - sin^2 a / sin^2 p) ),

about a / tan p for small a. A left-handed golfer is the mirror image: the path points right of the base line.
"""

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array

# ASSUMED where no plane is read: with it an upward strike of 7 deg turns the path by 5.5 deg, so that a swing 6.5 deg
# to the right has a path of 1 deg, as teachers have it (common practice, no source).
USUAL_PLANE_DEG = 52.0


def path_turn_deg(attack_deg: npt.ArrayLike, plane_deg: npt.ArrayLike, *, right_handed: npt.ArrayLike = True) -> Array:
    """Give how far the path points from the swing direction, deg, to the right positive.

    Parameters
    ----------
    attack_deg : array_like
        Angle of the head's path above the horizontal, deg; downward negative.
    plane_deg : array_like
        Inclination of the swing plane to the ground, deg, above 0 to 90.
    right_handed : array_like of bool, optional

    Returns
    -------
    ndarray
        In the broadcast shape; NaN where an angle is NaN. Left of the direction, so negative, for an upward attack of
        a right-handed golfer; 0 in an upright plane.

    Raises
    ------
    ValueError
        If a plane isn't above 0 and at most 90 deg, or an attack isn't flatter than its plane.

    Notes
    -----
    The head is taken to move in one plane through impact. It moves in a curve near one: the plane meant is the one it
    moves in just before the ball.
    """
    attack, plane = np.radians(np.asarray(attack_deg, dtype=float)), np.radians(np.asarray(plane_deg, dtype=float))
    if np.any(plane <= 0) or np.any(plane > np.pi / 2):
        raise ValueError("plane_deg must be above 0 and at most 90.")
    if np.any(np.abs(attack) >= plane):
        raise ValueError("attack_deg must be flatter than plane_deg.")
    along = np.sqrt(1 - (np.sin(attack) / np.sin(plane)) ** 2)
    across = np.sin(attack) * np.cos(plane) / np.sin(plane)
    # Adding zero makes a positive nil of the negative one.
    return np.asarray(np.degrees(np.arctan2(across, along)) * np.where(right_handed, -1.0, 1.0) + 0.0)


def path_of_deg(
    direction_deg: npt.ArrayLike,
    attack_deg: npt.ArrayLike,
    plane_deg: npt.ArrayLike,
    *,
    right_handed: npt.ArrayLike = True,
) -> Array:
    """Give the path of a swing whose plane's base line points in a direction, deg; see `path_turn_deg`."""
    return np.asarray(direction_deg, dtype=float) + path_turn_deg(attack_deg, plane_deg, right_handed=right_handed)


def direction_of_deg(
    path_deg: npt.ArrayLike, attack_deg: npt.ArrayLike, plane_deg: npt.ArrayLike, *, right_handed: npt.ArrayLike = True
) -> Array:
    """Give the direction in which the plane's base line points where the path is known, deg; see `path_turn_deg`.

    For a path of 0 it is the direction that makes a swing at this attack straight.
    """
    return np.asarray(path_deg, dtype=float) - path_turn_deg(attack_deg, plane_deg, right_handed=right_handed)


def turn_for_straight_path_deg(
    path_deg: npt.ArrayLike,
    attack_deg: npt.ArrayLike,
    plane_deg: npt.ArrayLike,
    *,
    new_attack_deg: npt.ArrayLike,
    right_handed: npt.ArrayLike = True,
) -> Array:
    """Give how far the swing direction must turn, deg, to the right positive, for a path of 0 at a new attack.

    Parameters
    ----------
    path_deg, attack_deg : array_like
        Of the present swing.
    plane_deg : array_like
        Its plane's inclination, which stays.
    new_attack_deg : array_like
        The attack at which the path shall be 0; the present one, if that alone shall be straight.
    right_handed : array_like of bool, optional

    Returns
    -------
    ndarray
    """
    now = direction_of_deg(path_deg, attack_deg, plane_deg, right_handed=right_handed)
    return np.asarray(direction_of_deg(0.0, new_attack_deg, plane_deg, right_handed=right_handed) - now)
