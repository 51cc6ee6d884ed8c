"""What two devices' golfers say when none of them hits on both: who or what makes their speed ratios differ.

Golfers at two sites differ, so club speeds can't be compared. Ball over club speed can: however well somebody swings, a
club face gives a ball only so much. A difference of the better golfers' ratios has one of four causes: the golfers of
the two sites are alike, and it is small; those of one site strike worse; club speed is misread; ball speed is misread.
Carry beside the flight of the readings tells the last from the others: it doesn't know club speed, and goes with ball
speed to the power of about 1.5.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.statistics.arrays import Array

# What is taken of devices and sites before the drives are seen, all ASSUMED; shares, standard deviations about zero.
# Halved or doubled one by one they leave what is decided of club speed read 3 % low, of a site that strikes 2 % worse
# and of devices that agree (tests/flight). Ball speed read 2 % low is left as it is if sites differ twice as much; club
# speed read 3 % high is put right if poorer sites differ half as much.
LIKE_SITES = 0.005  # better golfers of two sites like each other
POORER_SITE = 0.02  # of a site that strikes worse
CLUB_MISREAD, BALL_MISREAD = 0.025, 0.02  # a device that misreads
# Launch and spin of the same golfers on two devices, deg and share, likewise.
LAUNCH_MISREAD, SPIN_MISREAD = 1.0, 0.06
# A site that strikes worse is as common as a device that misreads. With 1/6 for each cause but the first and LIKELY at
# 0.75, of 50 far sites (tests/proving_ground) whose device also over-reads carry by 2 %, 23 are taken for misread.
PRIORS = {"alike": 1 / 2, "golfers": 1 / 4, "club": 1 / 8, "ball": 1 / 8}
# A device's carry is mostly as right as its ball speed; now and then it is a few percent off, whatever ball speed is.
CARRY_RIGHT, CARRY_OFF, OFTEN_RIGHT = 0.007, 0.03, 0.5

MISREAD = {
    "club_speed_mph": CLUB_MISREAD,
    "ball_speed_mph": BALL_MISREAD,
    "launch_deg": LAUNCH_MISREAD,
    "spin_rpm": SPIN_MISREAD,
}

# A rigid ball off a 200 g head at the rules' restitution of 0.83 leaves at 1.488 times club speed (impact equations of
# Penner 2001), 1.475 to 1.50 for heads of 190 to 210 g; readings of good strikes scatter half a percent above that.
RATIO_LIMIT, RATIO_LIMIT_SD = 1.495, 0.010

# A difference is corrected when it is clear, large enough to matter, and more likely a misreading than the golfers.
CLEAR_ERRORS = 3.0  # of standard errors: false once in 370
LEAST_RATIO = 0.01  # 1 % of club speed is worth about 2 yd
LIKELY = 2 / 3  # chance of a misreading: twice that of the golfers


@dataclass(frozen=True)
class Causes:
    """How likely each cause of a difference of speed ratios is; they add up to 1."""

    alike: float
    golfers: float
    club: float
    ball: float

    @property
    def misread(self) -> float:
        """Chance that a device misreads."""
        return self.club + self.ball


def _density(at: Array | float, sd: Array | float) -> Array:
    """Give the density of a normal error of mean zero."""
    return np.asarray(np.exp(-((at / sd) ** 2) / 2) / (np.sqrt(2 * np.pi) * sd))


def weigh_causes(
    ratio: float, ratio_error: float, higher: float, carry: tuple[float, float], elasticity: float
) -> Causes:
    """Weigh the causes of a difference between two devices.

    Parameters
    ----------
    ratio, ratio_error : float
        Log of the better golfers' speed ratio on the device over that on the reference, and its standard error.
    higher : float
        The higher one of the two ratios.
    carry : tuple of float
        Log of carry over flown carry on the device, less that on the reference, and its standard error; infinite where
        it isn't known.
    elasticity : float
        Share by which flown carry grows with a share of ball speed.

    Notes
    -----
    Bayes' rule over four causes, with normal errors. A site can only strike worse than another if the other's ratio is
    one that a club face can give.
    """
    from scipy.special import ndtr

    error2 = ratio_error**2 + LIKE_SITES**2
    beside, beside_error = carry

    def carry_density(off: float, error: float) -> float:
        if not np.isfinite(error):
            return 1.0
        usual, far = (_density(off, np.hypot(sd, error)) for sd in (CARRY_RIGHT, CARRY_OFF))
        return float(OFTEN_RIGHT * usual + (1 - OFTEN_RIGHT) * far)

    right = carry_density(beside, beside_error)
    misread = carry_density(beside + elasticity * ratio, float(np.hypot(beside_error, elasticity * np.sqrt(error2))))
    possible = float(ndtr((RATIO_LIMIT - higher) / RATIO_LIMIT_SD))
    likelihood = {
        "alike": _density(ratio, np.sqrt(error2)) * right * possible,
        "golfers": _density(ratio, np.sqrt(error2 + POORER_SITE**2)) * right * possible,
        "club": _density(ratio, np.sqrt(error2 + CLUB_MISREAD**2)) * right,
        "ball": _density(ratio, np.sqrt(error2 + BALL_MISREAD**2)) * misread,
    }
    weight = {name: PRIORS[name] * float(value) for name, value in likelihood.items()}
    total = sum(weight.values())
    return Causes(**{name: value / total for name, value in weight.items()})


def left_over(causes: Causes, ratio: float, ratio_error: float, corrected: str | None) -> Array:
    """Give the second moments of what is still misread in club speed and ball speed, shares, shape (2, 2).

    Parameters
    ----------
    causes : Causes
    ratio, ratio_error : float
        As for `weigh_causes`.
    corrected : str or None
        club or ball, where the whole difference was put right in that reading.

    Notes
    -----
    A difference put right in the wrong reading leaves club and ball speed wrong together, which yards lost hardly see:
    a golfer who is shown slower is expected shorter by about as much as the shown carry is short.
    """
    own = {"club": np.array([-1.0, 0.0]), "ball": np.array([0.0, 1.0])}
    applied = ratio * own[corrected] if corrected else np.zeros(2)
    error2 = ratio_error**2 + LIKE_SITES**2
    moments = (causes.alike + causes.golfers) * np.outer(applied, applied)
    for name, chance, spread in (("club", causes.club, CLUB_MISREAD), ("ball", causes.ball, BALL_MISREAD)):
        share = spread**2 / (spread**2 + error2)
        left = share * ratio * own[name] - applied
        moments = moments + chance * (np.outer(left, left) + share * error2 * np.outer(own[name], own[name]))
    return np.asarray(moments)


def still_misread(difference: Array, std_error: Array, reading: tuple[str, ...]) -> Array:
    """Give the second moment of what readings still misread that no clear difference was found of, shape (n,).

    Parameters
    ----------
    difference, std_error : ndarray, shape (n,)
        Of the same golfers on two devices: logs, or deg for launch.
    reading : tuple of str
        Keys of `MISREAD`.
    """
    spread = np.array([MISREAD[name] for name in reading])
    wrong = PRIORS["club"] * _density(difference, np.hypot(spread, std_error))
    right = (1 - PRIORS["club"]) * _density(difference, std_error)
    share = spread**2 / (spread**2 + std_error**2)
    return np.asarray(wrong / (wrong + right) * ((share * difference) ** 2 + share * std_error**2))


def unseen() -> Array:
    """Give the second moments of misread club and ball speed where nothing could be compared, shares, shape (2, 2)."""
    return np.diag([PRIORS["club"] * CLUB_MISREAD**2, PRIORS["ball"] * BALL_MISREAD**2])
