"""How clubs are swung and how balls leave them in the proving ground: attack, loft and what both do to a drive.

The impact is of its own: other masses and restitution than the pipeline's, and a ball that takes less spin than one
that rolls off the face, how much less differing from academy to academy (by their balls and faces), as does how much
of a stated loft arrives at impact. All of it is an assumption; what counts is that it isn't the pipeline's.
"""

import numpy as np
import polars as pl
from true_flight import MASS_KG, MPH_MPS, RADIUS_M, Array
from worlds import World

HEAD_KG, RESTITUTION = 0.195, 0.80
GRIP, GRIP_SD = 0.93, 0.06  # of an academy: share of the rolling ball's spin
RPM = 30 / np.pi

# Golfers: attack at 90 mph, and how they differ. Strong golfers hit more upwards though they launch lower.
ATTACK_DEG, ATTACK_SD = 0.5, 1.5
# A golfer whose drives start too low also hits downwards.
LOW_LAUNCH_SHARE = 0.5
LEAST_RISE_DEG = 4.0
LOFT_DEG, LOFT_SLOPE, LOFT_SD = 10.5, -0.06, 0.7
# Swing to swing: spread of attack, and the share of it that the face follows, which differs between golfers.
SWING_SD_DEG, MOST_EXPLAINED = 1.0, 0.9
FOLLOWS, FOLLOWS_SD, FOLLOWS_RANGE = 0.65, 0.10, (0.45, 0.90)
# How much of another stated loft arrives at impact: mean, how academies differ, how golfers do.
ARRIVES, ARRIVES_SD, OWN_ARRIVES_SD = 0.95, 0.08, 0.06
OTHER_LOFT_DEG = 1.5
DEVICE_B_ATTACK_DEG = 0.4


def leave(club_mph: Array, attack_deg: Array, loft_deg: Array, grip: Array) -> Array:
    """Give launch (deg), spin (rpm) and speed ratio, shape (..., 3)."""
    angle = np.radians(loft_deg - attack_deg)
    normal = np.cos(angle) * (1 + RESTITUTION) / (1 + MASS_KG / HEAD_KG)
    along = grip * np.sin(angle) / (1 + MASS_KG / HEAD_KG + 5 / 2)
    launch = loft_deg - np.degrees(np.arctan2(along, normal))
    spin = 5 / 2 * along * club_mph * MPH_MPS / RADIUS_M * RPM
    return np.stack([launch, spin, np.hypot(normal, along)], axis=-1)


def loft_at_impact(golfers: pl.DataFrame) -> Array:
    """Give the dynamic loft that makes each golfer's launch at the golfer's attack, deg; of one academy."""
    attack, launch = (golfers.get_column(c).to_numpy() for c in ("attack_deg", "launch_deg"))
    trial = np.arange(0.0, 50.0, 0.02)
    rise = leave(np.ones(len(trial)), 0 * trial, trial, np.full(len(trial), golfers.get_column("grip")[0]))[:, 0]
    return np.asarray(attack + np.interp(launch - attack, rise, trial))


def swing(world: World, golfers: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Add each golfer's attack, stated loft, how far the face follows the path and how much of a loft arrives."""
    n = world.golfers
    normal, rows = rng.standard_normal((4, n)), np.arange(golfers.height) % n
    grip, arrives = GRIP + GRIP_SD * rng.standard_normal(), ARRIVES + ARRIVES_SD * rng.standard_normal()
    speed, launch = (golfers.get_column(c).to_numpy() for c in ("club_speed_mph", "launch_deg"))
    attack = ATTACK_DEG + world.attack_slope * (speed - 90) + ATTACK_SD * normal[0][rows]
    low = (golfers.get_column("kind") == "launch").to_numpy()
    attack = np.minimum(attack + np.where(low, LOW_LAUNCH_SHARE * -7.0, 0.0), launch - LEAST_RISE_DEG)
    loft = LOFT_DEG + LOFT_SLOPE * (speed - 90) + LOFT_SD * normal[1][rows]
    return golfers.with_columns(
        attack_deg=attack,
        stated_loft_deg=np.round(2 * loft) / 2,
        follows=np.clip(FOLLOWS + FOLLOWS_SD * normal[2], *FOLLOWS_RANGE)[rows],
        arrives=(arrives + OWN_ARRIVES_SD * normal[3])[rows],
        grip=pl.lit(grip),
        swaps=(rng.uniform(size=n) < world.loft_swaps)[rows],
    )


def leave_after(golfers: pl.DataFrame, loft_deg: Array, attack_deg: Array | float = 0.0) -> Array:
    """Give each golfer's launch, spin and ratio by impact after changes of stated loft and of attack.

    Changes are of shape (golfers, ...), what is given of shape (golfers, ..., 3). The face follows the attack by the
    golfer's own share.
    """
    more = (1,) * (np.ndim(loft_deg) - 1)
    speed, attack, follows, arrives, grip, face = (
        x.reshape(-1, *more)
        for x in (
            *(golfers.get_column(c).to_numpy() for c in ("club_speed_mph", "attack_deg", "follows", "arrives", "grip")),
            loft_at_impact(golfers),
        )
    )
    return leave(speed, attack + attack_deg, face + arrives * loft_deg + follows * attack_deg, grip)


def own_slopes(golfers: pl.DataFrame) -> Array:
    """Give each golfer's true slopes of launch, spin and ratio on attack, swing to swing, shape (golfers, 3)."""
    same, h = np.zeros(golfers.height), 0.05
    return np.asarray((leave_after(golfers, same, h) - leave_after(golfers, same, -h)) / (2 * h))


def change_of_loft(golfers: pl.DataFrame, stated_deg: Array) -> Array:
    """Give what another stated loft truly changes in launch, spin and ratio, shape (golfers, ..., 3)."""
    return np.asarray(leave_after(golfers, stated_deg) - leave_after(golfers, 0.0 * stated_deg))


def attack_of_swings(golfers: pl.DataFrame, luck: Array, spread: Array, rng: np.random.Generator) -> Array:
    """Draw each drive's attack given what the drive did, deg.

    Launch, spin and strike of a drive vary with the attack by the golfer's own slopes, and beside it. Since the drives
    are drawn already, the attack is drawn from its normal distribution given them: the same joint distribution.

    Parameters
    ----------
    golfers : DataFrame
        One row a drive.
    luck : ndarray, shape (drives, 3)
        Standard normal departures of launch, spin and ratio.
    spread : ndarray, shape (drives, 3)
        Their standard deviations.
    """
    share = own_slopes(golfers) * SWING_SD_DEG / spread
    explained = (share**2).sum(axis=1)
    # Who varies little in launch and spin varies less in attack: it can't explain more than there is.
    fewer = np.sqrt(np.minimum(1.0, MOST_EXPLAINED / explained))
    swing_luck = fewer * (share * luck).sum(axis=1)
    swing_luck += np.sqrt(1 - fewer**2 * explained) * rng.standard_normal(len(luck))
    return np.asarray(golfers.get_column("attack_deg").to_numpy() + SWING_SD_DEG * fewer * swing_luck)
