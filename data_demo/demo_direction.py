"""How straight the demo study's golfers drive: plane, path and face, and start direction and spin axis from them.

Only the bay's device reads directions, so only its drives have any. Everything is drawn from streams of its own: no
other value of the demo depends on it but the bay's carry, through what curvature costs. All angles are to the right
positive; all golfers are right-handed.

Impact is the rigid oblique one (Penner, Am. J. Phys. 69 (2001) 563; second-hand) in the tilted plane of path and face:
the ball takes one share of the head's velocity along the face's normal and a smaller one of the velocity across it. So
it starts near the face's direction and spins about the line that is square to path and normal.
"""

from typing import NamedTuple

import numpy as np
import polars as pl
from demo_flight import Array

SEED = 20265
# Kinds of direction among the golfers who stay at the bay. "wilder" are golfers who gain speed: as straight as others
# until 2026Q2, then their spreads are this many times as wide.
USUAL, WILD, PUSH, CURVE, WILDER = "usual", "wild", "push", "curve", "wilder"
PUSH_DEG = (4.5, 4.0, -4.5)  # path and face alike: these start aside and fly straight
CURVE_DEG, CURVE_PATH = (3.8, -3.4, 3.2, -3.8), -1.1  # face to path; the path points that much of it to the other side
WILD_COUNT, WILD_FACTOR, WILDER_COUNT, WILDER_FACTOR, WILDER_FROM = 4, 1.9, 2, 2.0, "2026Q3"
SPREAD_FACTOR = (0.8, 1.2)  # of the other golfers, evenly
# Golfers' means: path (mean, sd), and face to path, which leans against it: golfers who swing out close the face.
PATH_DEG, FACE_BY_PATH, FACE_TO_PATH_SD_DEG, MEANS_CUT = (0.5, 1.6), -0.3, 0.6, 1.8
PLANE_DEG = (47.0, 57.0)  # inclination of the swing plane, evenly
# From swing to swing: the plane, the direction in which its base line points, face to path; and a day's direction.
PLANE_SD_DEG, SWING_SD_DEG, FACE_SD_DEG, DAY_SD_DEG = 0.6, 1.3, 1.1, 0.6
# Swing to swing: the part of attack that goes with nothing else. With it launch goes with attack one to one.
ATTACK_OWN_SD_DEG, ATTACK_SD_DEG = 0.55, 0.8  # of the swing itself; of the reading as the demo draws it
READ_PATH_SD_DEG, READ_FACE_SD_DEG, READ_PLANE_SD_DEG = 0.4, 0.5, 0.8
READ_SIDE_SD_DEG, READ_AXIS_SD_DEG, READ_OFFLINE_SD_YD, READ_OFFLINE_SHARE = 0.2, 1.0, 0.5, 0.01
RESTITUTION, BALL_OVER_HEAD = 0.80, 0.04593 / 0.200  # common practice for a driver, no source
ALONG = (1 + RESTITUTION) / (1 + BALL_OVER_HEAD)  # share of the head's velocity along the face's normal
ACROSS = 1 / (1 + BALL_OVER_HEAD + 5 / 2)  # and across it; a sphere's m r^2 is 5/2 of its moment of inertia
LOFT_SHARE = 1 - ACROSS / ALONG  # of the way from attack to dynamic loft at which the ball launches, for small angles


def _unit(up_deg: Array, right_deg: Array) -> Array:
    """Give unit vectors (forward, up, right), shape (..., 3)."""
    up, right = np.radians(up_deg), np.radians(right_deg)
    return np.stack([np.cos(up) * np.cos(right), np.sin(up), np.cos(up) * np.sin(right)], axis=-1)


def path_deg(direction_deg: Array, attack_deg: Array, plane_deg: Array) -> Array:
    """Give the path of a right-handed swing in a plane whose base line points in a direction.

    The head moves in the plane, and rises by the attack: part of its way goes up the plane's steepest line, which on
    the ground leads to the left.
    """
    attack, plane = np.radians(attack_deg), np.radians(plane_deg)
    climb = np.sin(attack) / np.sin(plane)
    ahead, left = np.sqrt(1 - climb * climb), climb * np.cos(plane)
    return np.asarray(direction_deg - np.degrees(np.arctan2(left, ahead)))


def impact(launch_deg: Array, attack_deg: Array, path_deg: Array, face_deg: Array) -> tuple[Array, Array]:
    """Give the start direction and the tilt of the spin axis of a ball that launches at a given height.

    Parameters
    ----------
    launch_deg, attack_deg, path_deg, face_deg : ndarray
        One shape.

    Returns
    -------
    side, axis : ndarray
        Deg, to the right positive. The axis is square to the ball's first direction; its tilt is about that.
    """
    head = _unit(attack_deg, path_deg)
    normal = _unit(attack_deg + (launch_deg - attack_deg) / LOFT_SHARE, face_deg)
    along = np.sum(head * normal, axis=-1)[..., None] * normal
    ball = ALONG * along + ACROSS * (head - along)
    side = np.arctan2(ball[..., 2], ball[..., 0])
    rise = np.arctan2(ball[..., 1], np.hypot(ball[..., 0], ball[..., 2]))
    # The face drags the ball's rear upwards, off which it looks: the ball turns about head x normal.
    spin = np.cross(head, normal)
    right = np.stack([-np.sin(side), np.zeros_like(side), np.cos(side)], axis=-1)
    up = np.stack([-np.sin(rise) * np.cos(side), np.cos(rise), -np.sin(rise) * np.sin(side)], axis=-1)
    tilt = np.arctan2(-np.sum(spin * up, axis=-1), np.sum(spin * right, axis=-1))
    return np.degrees(side), np.degrees(tilt)


def plant_directions(rows: pl.DataFrame) -> pl.DataFrame:
    """Plant in every golfer kind of direction, mean path, face to path and plane, and what spreads are multiplied by.

    `rows` are the golfers by quarter with site, kind and gainer. All of it is null where the site isn't the bay.
    """
    rng = np.random.RandomState(SEED)
    golfers = rows.group_by("golfer", maintain_order=True).agg(
        at_bay=(pl.col("site") == "bay").all() & (pl.len() == 3),
        efficient=(pl.col("kind") == "efficient").all(),
        few=(pl.col("kind") == "few_shots").any(),
        gainer=pl.col("gainer").first(),
    )
    n = golfers.height
    normal = np.clip(rng.standard_normal((2, n)), -MEANS_CUT, MEANS_CUT)
    path = PATH_DEG[0] + PATH_DEG[1] * normal[0]
    face_to_path = FACE_BY_PATH * path + FACE_TO_PATH_SD_DEG * normal[1]
    plane = rng.uniform(*PLANE_DEG, n)
    spread = rng.uniform(*SPREAD_FACTOR, n)
    order = rng.permutation(n)
    kind = np.full(n, USUAL, dtype=object)

    def choose(name: str, count: int, who: pl.Expr) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
        fit = golfers.select(pl.col("at_bay") & ~pl.col("few") & who).to_series().to_numpy() & (kind == USUAL)
        chosen = order[fit[order]][:count]
        kind[chosen] = name
        return np.asarray(chosen)

    choose(WILDER, WILDER_COUNT, pl.col("gainer"))
    curved = choose(CURVE, len(CURVE_DEG), ~pl.col("efficient") & ~pl.col("gainer"))
    pushed = choose(PUSH, len(PUSH_DEG), ~pl.col("gainer"))
    spread[choose(WILD, WILD_COUNT, ~pl.col("gainer"))] = WILD_FACTOR
    face_to_path[curved], path[curved] = CURVE_DEG, CURVE_PATH * np.array(CURVE_DEG)
    face_to_path[pushed], path[pushed] = 0.0, PUSH_DEG
    numbers = {"path_deg": path, "face_to_path_deg": face_to_path, "plane_deg": plane, "spread_factor": spread}
    numbers = {name: values.round(2) for name, values in numbers.items()}
    own = pl.DataFrame({"golfer": golfers["golfer"], "direction_kind": kind.astype(str), **numbers})
    wilder = (pl.col("direction_kind") == WILDER) & (pl.col("quarter") >= WILDER_FROM)
    factor = pl.col("spread_factor") * pl.when(wilder).then(WILDER_FACTOR).otherwise(1.0)
    names = ("direction_kind", *numbers)
    return (
        rows.join(own, on="golfer", how="left", maintain_order="left")
        .with_columns(factor.round(2))
        .with_columns(pl.when(pl.col("site") == "bay").then(name).alias(name) for name in names)
    )


class Swings(NamedTuple):
    """Directions of drives as they were; ndarrays of one shape, NaN away from the bay."""

    attack_deg: Array
    plane_deg: Array
    path_deg: Array
    face_deg: Array
    side_deg: Array
    axis_deg: Array


def swing(
    planted: tuple[Array, ...],
    typical_launch_deg: Array,
    launch_deg: Array,
    attack_own_deg: Array,
    normal: Array,
) -> Swings:
    """Turn a golfer's habits and a drive's luck into directions.

    Parameters
    ----------
    planted : tuple of ndarray
        Mean path, face to path, plane and factor on the spreads.
    typical_launch_deg, launch_deg : ndarray
    attack_own_deg : ndarray
        Part of attack that goes with nothing else.
    normal : ndarray, shape (4, ...)
        Standard normal luck of plane, of swing direction, of face to path, and of the day's direction.
    """
    path, face_to_path, plane, factor = planted
    usual_attack = 0.6 * (typical_launch_deg - 13)
    attack = usual_attack + 0.3 * (launch_deg - typical_launch_deg) + attack_own_deg
    # The base line's direction which gives the planted path at the golfer's usual attack.
    direction = path - path_deg(np.zeros_like(path), usual_attack, plane)
    own_plane = plane + PLANE_SD_DEG * normal[0]
    direction = direction + factor * SWING_SD_DEG * normal[1] + DAY_SD_DEG * normal[3]
    own_path = path_deg(direction, attack, own_plane)
    face = own_path + face_to_path + factor * FACE_SD_DEG * normal[2]
    return Swings(attack, own_plane, own_path, face, *impact(launch_deg, attack, own_path, face))


def planted_of(rows: pl.DataFrame) -> tuple[Array, Array, Array, Array]:
    """Give what `swing` takes of the golfers, one value per row; NaN away from the bay."""
    names = ("path_deg", "face_to_path_deg", "plane_deg", "spread_factor")
    a, b, c, d = (rows[name].cast(pl.Float64).to_numpy() for name in names)
    return a, b, c, d


def attack_of_swing(rng: np.random.RandomState, read: Array) -> Array:
    """Split the scatter of readings of attack, in its standard deviations, and give the swing's own part in deg.

    What is left over is the reading's error, and the two are independent.
    """
    share = ATTACK_OWN_SD_DEG / ATTACK_SD_DEG
    return np.asarray(ATTACK_OWN_SD_DEG * (share * read + np.sqrt(1 - share * share) * rng.standard_normal(read.shape)))


def readings(rng: np.random.RandomState, swings: Swings, offline_yd: Array) -> dict[str, Array]:
    """Read directions and offline as the bay's device does."""
    e = rng.standard_normal((7, *offline_yd.shape))
    return {
        "path_deg": swings.path_deg + READ_PATH_SD_DEG * e[0],
        "face_deg": swings.face_deg + READ_FACE_SD_DEG * e[1],
        "plane_deg": swings.plane_deg + READ_PLANE_SD_DEG * e[2],
        "launch_side_deg": swings.side_deg + READ_SIDE_SD_DEG * e[3],
        "spin_axis_deg": swings.axis_deg + READ_AXIS_SD_DEG * e[4],
        "offline_yd": offline_yd * (1 + READ_OFFLINE_SHARE * e[5]) + READ_OFFLINE_SD_YD * e[6],
    }


def even_normals(rng: np.random.RandomState, parts: int, count: int) -> Array:
    """Draw standard normals, shape (parts, count), whose parts are each spread evenly over the distribution."""
    fine = np.sort(rng.standard_normal(201 * count))[100::201]
    even = (fine - fine.mean()) / fine.std()
    return np.stack([even[rng.permutation(count)] for _ in range(parts)])
