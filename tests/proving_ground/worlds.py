"""The worlds of the proving ground: academies that differ in one thing each, and what is known of them."""

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class World:
    """An academy that doesn't exist; shares are of 1 unless they say otherwise.

    Attributes
    ----------
    golfers : int
    speed_mph : tuple of float
        Mean and standard deviation of golfers' club speeds.
    shots : tuple of int
        Fewest and most drives of a golfer in a quarter; drawn evenly on a log scale.
    device_b, device_b_share : float
        Share of golfers on the second device, and by how much its carry reads long.
    range_balls, range_ball_share : float
        Share of golfers who hit range balls, and by how much those fly farther (negative: shorter).
    spin_noise : float
        Standard deviation of a spin reading, as a share of spin.
    mishits : tuple of float
        Least and largest share of mishits among a golfer's drives.
    faulty : float
        Share of golfers with a fault, the same number of each kind.
    scatter : float
        Standard deviation of what no reading explains, as a share of carry.
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
    """

    golfers: int = 70
    speed_mph: tuple[float, float] = (91.0, 9.0)
    shots: tuple[int, int] = (15, 60)
    device_b: float = 0.4
    device_b_share: float = 0.02
    range_balls: float = 0.0
    range_ball_share: float = -0.05
    spin_noise: float = 0.04
    mishits: tuple[float, float] = (0.04, 0.10)
    faulty: float = 0.30
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


PLAIN = World()
WORLDS = {
    "plain": PLAIN,
    "large": replace(PLAIN, golfers=200),
    "few-golfers": replace(PLAIN, golfers=32),
    "fast": replace(PLAIN, speed_mph=(104.0, 6.0)),
    "slow": replace(PLAIN, speed_mph=(77.0, 6.0)),
    "quiet-spin": replace(PLAIN, spin_noise=0.02),
    "noisy-spin": replace(PLAIN, spin_noise=0.08),
    "many-mishits": replace(PLAIN, mishits=(0.10, 0.15)),
    "range-balls": replace(PLAIN, range_balls=0.35),
    "devices-disagree": replace(PLAIN, device_b_share=-0.04),
    "uneven-shots": replace(PLAIN, shots=(8, 200)),
    "guessed-spin": replace(PLAIN, guessed_spin=0.5),
    "altitude": replace(PLAIN, altitude_m=1400.0, temp_c=22.0),
    "altitude-unknown": replace(PLAIN, altitude_m=1400.0, temp_c=22.0, air_known=False),
    "no-ball-speed": replace(PLAIN, ball_speed=False),
    "calm-air": replace(PLAIN, scatter=0.010),
    "changed": replace(PLAIN, cured=0.5, faster_mph=1.0),
}

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
