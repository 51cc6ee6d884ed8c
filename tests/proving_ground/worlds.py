"""The worlds of the proving ground: academies that differ in one thing each, and what is known of them.

An ordinary world has golfers who are watched on a few days a quarter, each day with a form of its own; `many-days`
alone has none.
"""

from dataclasses import dataclass, replace

FAULTS = ("contact", "launch", "spin", "consistency")


@dataclass(frozen=True)
class World:
    """An academy that doesn't exist; shares are of 1 unless they say otherwise.

    Attributes
    ----------
    golfers : int
    speed_mph : tuple of float
        Mean and standard deviation of golfers' club speeds.
    even_mph : tuple of float or None
        Least and largest club speed of golfers who are spread evenly; in place of `speed_mph`.
    curved : bool
        Whether usual ratio, launch and spin are curved functions of club speed (`people.CURVES`).
    correlation : float
        Of launch and spin over golfers of one speed.
    schools : float
        How far two schools of swing lie apart in launch and, the other way, in spin, in the standard deviations of
        each; half of the golfers are of each.
    spread_falls : float
        By what factor the spread of ratio, launch and spin over golfers is wider at 70 mph than at 110 mph.
    lasting : float
        Standard deviation of what golfers carry farther, for good, than their deliveries say; a share of carry.
    shots : tuple of int
        Fewest and most drives of a golfer in a quarter; drawn evenly on a log scale.
    days : tuple of int or None
        Fewest and most days of a golfer in a quarter, drawn evenly; None: each drive on any day of the quarter.
    form_yd : float
        Standard deviation of what a day moves a golfer's carry by at the golfer's own club speed, near 91 mph: in
        ratio, launch, spin and beyond what readings explain. With any form, days also differ in club speed.
    device_b, overlap : float
        Share of golfers on the second device, and of those who use both devices, a day on the one and a day on the
        other.
    device_b_share, device_b_club, device_b_ball : float
        By how much the second device's carry, club speed and ball speed read long.
    device_b_ball_speed : bool
        Whether the second device's logs have ball speed.
    site_b_ratio, site_b_spread : float
        How much the second device's golfers truly differ: added to their ratio, and a factor of their spread.
    range_balls, range_ball_share : float
        Share of golfers who hit range balls, and by how much those fly farther (negative: shorter).
    spin_noise : float
        Standard deviation of a spin reading, as a share of spin.
    mishits : tuple of float
        Least and largest share of mishits among a golfer's drives.
    faulty : float
        Share of golfers with a fault.
    faults : tuple of str
        Kinds of faults; each is as likely.
    faulty_mishits : tuple of float
        Least and largest share of mishits of golfers whose fault is consistency.
    scatter : float
        Standard deviation of what no reading explains from drive to drive, as a share of carry.
    ball_speed : bool
        Whether the logs have ball speed.
    guessed_spin : float
        Share of the second device's drives whose spin is guessed and marked so.
    altitude_m, temp_c : float
        Of the second device's site.
    air_known : bool
        Whether the study says so.
    cured, faster_mph : float
        Share of the faulty who are sound in the second quarter; what everybody gains in club speed.
    attack_slope : float
        How much more upwards faster golfers hit, deg per mph.
    attack_noise_deg : float
        Standard deviation of a reading of attack.
    loft_swaps : float
        Share of golfers who hit every second drive with a club of other loft.
    curving : bool
        Whether drives start to a side and bend (`directions`); else all are straight.
    side_said : tuple of str
        What the logs have of it: columns of start direction, spin axis, offline and cross wind.
    cross_mps : tuple of float
        Least and largest cross wind of a day, from left to right; drawn evenly.
    balls : tuple of str
        True balls, keys of `true_flight.BALLS`, which the world's academies take in turn.
    """

    golfers: int = 70
    speed_mph: tuple[float, float] = (91.0, 9.0)
    even_mph: tuple[float, float] | None = None
    curved: bool = False
    correlation: float = 0.0
    schools: float = 0.0
    spread_falls: float = 1.0
    lasting: float = 0.0
    shots: tuple[int, int] = (15, 60)
    days: tuple[int, int] | None = (2, 6)
    form_yd: float = 2.0
    device_b: float = 0.4
    overlap: float = 0.0
    device_b_share: float = 0.02
    device_b_club: float = 0.0
    device_b_ball: float = 0.0
    device_b_ball_speed: bool = True
    site_b_ratio: float = 0.0
    site_b_spread: float = 1.0
    range_balls: float = 0.0
    range_ball_share: float = -0.05
    spin_noise: float = 0.04
    mishits: tuple[float, float] = (0.04, 0.10)
    faulty: float = 0.30
    faults: tuple[str, ...] = FAULTS
    faulty_mishits: tuple[float, float] = (0.38, 0.38)
    scatter: float = 0.018
    ball_speed: bool = True
    guessed_spin: float = 0.0
    altitude_m: float = 0.0
    temp_c: float = 15.0
    air_known: bool = True
    cured: float = 0.0
    faster_mph: float = 0.0
    attack_slope: float = 0.12
    attack_noise_deg: float = 0.8
    loft_swaps: float = 0.0
    curving: bool = False
    side_said: tuple[str, ...] = ()
    cross_mps: tuple[float, float] = (0.0, 0.0)
    balls: tuple[str, ...] = ("plain", "lively", "steady")


PLAIN = World()
# No form of the day: each drive on any day.
MANY_DAYS = replace(PLAIN, days=None, form_yd=0.0)

# What days are like; who comes seldom also hits few drives.
DAYS = {
    "plain": PLAIN,
    "many-days": MANY_DAYS,
    "two-days": replace(PLAIN, days=(2, 2), form_yd=3.5, shots=(8, 60)),
    "one-day": replace(PLAIN, days=(1, 1), shots=(8, 60)),
}
# How many golfers there are, how fast, and what is true of them.
PEOPLE = {
    "large": replace(PLAIN, golfers=200),
    "few-golfers": replace(PLAIN, golfers=32),
    "fast": replace(PLAIN, speed_mph=(104.0, 6.0)),
    "slow": replace(PLAIN, speed_mph=(77.0, 6.0)),
    "even-speeds": replace(PLAIN, golfers=100, even_mph=(66.0, 116.0), curved=True),
    "loft-makes-both": replace(PLAIN, correlation=0.75),
    "anti-correlated": replace(PLAIN, correlation=-0.6),
    "two-schools": replace(PLAIN, schools=3.0),
    "spread-by-speed": replace(PLAIN, spread_falls=2.5),
    "many-mishits": replace(PLAIN, mishits=(0.10, 0.15)),
    "one-mishits": replace(PLAIN, mishits=(0.03, 0.20), faults=("consistency",), faulty_mishits=(0.20, 0.45)),
    "lasting": replace(PLAIN, lasting=0.02),
    "uneven-shots": replace(PLAIN, shots=(8, 200)),
    "changed": replace(PLAIN, cured=0.5, faster_mph=1.0),
}
# What the second device does, and other readings.
DEVICES = {
    "devices-disagree": replace(PLAIN, device_b_share=-0.04),
    "share-short": replace(PLAIN, golfers=100, device_b_share=-0.05, even_mph=(66.0, 116.0)),
    "no-ball-device": replace(PLAIN, device_b_ball_speed=False, device_b_share=-0.04),
    "guesses-spin-device": replace(PLAIN, guessed_spin=1.0, device_b_share=-0.04),
    "club-reads-low": replace(PLAIN, device_b_club=-0.03, device_b_share=0.0),
    "ball-reads-low": replace(PLAIN, device_b_ball=-0.02, device_b_share=0.0),
    "overlap": replace(PLAIN, device_b=0.15, overlap=1 / 3, device_b_club=-0.03, device_b_share=-0.03),
    "six-on-second": replace(PLAIN, device_b=6 / 70, lasting=0.01),
    "far-site": replace(PLAIN, site_b_ratio=-0.03, site_b_spread=1.4, device_b_share=0.0),
    "no-ball-speed": replace(PLAIN, ball_speed=False),
    "noisy-spin": replace(PLAIN, spin_noise=0.08),
}
# What balls and air do.
FLIGHT = {
    "range-balls": replace(PLAIN, range_balls=0.35),
    "altitude": replace(PLAIN, altitude_m=1400.0, temp_c=22.0),
    "altitude-unknown": replace(PLAIN, altitude_m=1400.0, temp_c=22.0, air_known=False),
    "calm-air": replace(PLAIN, scatter=0.010),
    "curved-flight": replace(PLAIN, balls=("curved",)),
}
# Where drives start, how they bend and what the wind does, and what logs say of it: all, no offline, nothing (as most
# academies' do).
START_AND_AXIS = ("launch_side_deg", "spin_axis_deg")
CURVING = replace(PLAIN, curving=True, side_said=(*START_AND_AXIS, "offline_yd"))
DIRECTION = {
    "curving": CURVING,
    "cross-wind": replace(CURVING, cross_mps=(0.0, 6.0), side_said=(*CURVING.side_said, "wind_cross_mps")),
    "curving-calculated": replace(CURVING, side_said=START_AND_AXIS),
    "curving-unsaid": replace(CURVING, side_said=()),
}
WORLDS = DAYS | PEOPLE | DEVICES | FLIGHT | DIRECTION

# Worlds for the coach's figures alone: a poor reading of attack, and golfers who gain so much speed that it gives many
# of them more than their delivery could.
COACH_WORLDS = {
    "noisy-attack": replace(PLAIN, attack_noise_deg=1.5),
    "all-faster": replace(PLAIN, faulty=0.1, faster_mph=3.0),
}

# Worlds that differ in how clubs are swung, for what a change of the delivery brings.
SWING_WORLDS = {
    "plain": PLAIN,
    "large": replace(PLAIN, golfers=200),
    "few-golfers": replace(PLAIN, golfers=32),
    "noisy-attack": COACH_WORLDS["noisy-attack"],
    "loft-swaps": replace(PLAIN, loft_swaps=0.5),
}
