"""Comparing devices' readings: at golfers who hit on both, else at the two groups of golfers.

At the same golfers all readings are compared with each other; at two groups only what golfers can't differ in: see
`pipeline.flight.device_doubt`.
"""

from dataclasses import dataclass, field

import numpy as np
import polars as pl

from pipeline.flight.device_doubt import (
    CLEAR_ERRORS,
    LEAST_RATIO,
    LIKELY,
    Causes,
    left_over,
    still_misread,
    unseen,
    weigh_causes,
)
from pipeline.flight.devices import READINGS
from pipeline.flight.offsets import UNSTATED
from pipeline.physics.air import Air
from pipeline.physics.air_of_drives import AIR_COLUMNS, air_of_drives
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch, Wind, fly
from pipeline.statistics.arrays import Array
from pipeline.statistics.quantile import Points
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

# Fewer drives say little of a golfer on a device; 5 or 15 change no verdict of the proving ground's worlds.
MIN_DRIVES = 8
# Golfers that a comparison needs: with 4 on both devices a difference must be 9 standard errors to be clear; of two
# groups the upper quartile of fewer than 5 is hardly more than the second best.
MIN_SAME, MIN_GROUP = 4, 5
BETTER = 0.75  # of a golfer's drives, and of golfers: mishits and poor strikers leave it where it is
DRAWS = 400  # of a bootstrap: its standard error is known to 3.5 %
CLEAR_P = 0.0027  # two-sided, as `CLEAR_ERRORS` of a normal error
# Smaller differences of the same golfers are left: half a percent of club speed is worth about 1 yd, and so are 0.3 deg
# of launch and 3 % of spin near the usual delivery (surfaces of flight, tests/flight).
LEAST = np.array([0.005, 0.005, 0.3, 0.03])
USUAL_ELASTICITY = 1.5  # where no spin is measured; carry isn't compared there, so that any would do
FAR_BEYOND = 1.0  # launch and spin of two groups: in standard deviations over golfers of one device


@dataclass(frozen=True)
class Difference:
    """A device's reading against the reference's: a log, or deg for launch; NaN where it isn't known."""

    value: float
    std_error: float
    freedom: float


@dataclass(frozen=True)
class Comparison:
    """One device against the reference.

    Attributes
    ----------
    device : str
    compared_by : str
        same golfers, population or none.
    golfers : int
        On both devices, or on this one.
    differences : dict of str to Difference
        By `READINGS`, and of two groups also speed_ratio and carry_over_flight.
    correction, doubt : ndarray, shape (4,) and (4, 4)
        As for `DeviceReadings`.
    freedom : float
    causes : Causes or None
        Of two groups whose speed ratios could be compared.
    reason : str
        Why nothing was compared; else empty.
    beyond : tuple of str
        Readings in which two groups of golfers differ more than golfers do.
    """

    device: str
    compared_by: str
    golfers: int
    differences: dict[str, Difference]
    correction: Array
    doubt: Array
    freedom: float
    causes: Causes | None = None
    reason: str = ""
    beyond: tuple[str, ...] = field(default=())


def choose_reference(drives: pl.DataFrame, named: str | None) -> str | None:
    """Choose the device whose readings are taken as they are: the one named if it is there, else that of most drives.

    Parameters
    ----------
    drives : DataFrame
        device and drives; a device may stand there more than once.
    named : str or None
    """
    counted = drives.group_by(pl.col("device").fill_null(UNSTATED)).agg(pl.col("drives").sum())
    ranked = counted.sort("drives", "device", descending=[True, False]).get_column("device").to_list()
    return named if named in ranked else ranked[0] if ranked else None


def compare_all(
    summaries: pl.DataFrame, devices: list[str], reference: str, air: tuple[float, float], seed: int
) -> list[Comparison]:
    """Compare each device with the reference.

    Parameters
    ----------
    summaries : DataFrame
        One row per golfer, quarter, device and ball, from `golfer_summaries`.
    devices : list of str
        Every device but the reference.
    reference : str
    air : tuple of float
        Temperature, deg C, and pressure, hPa, where a drive's aren't known.
    seed : int
        Of the bootstrap.
    """
    known = summaries.with_columns(pl.col("device", "ball").fill_null(UNSTATED)).filter(pl.col("drives") >= MIN_DRIVES)
    known = known.with_columns(_logs(known, *air))
    return [_compared(known, device, reference, seed) for device in devices]


def _logs(known: pl.DataFrame, temp_c: float, hpa: float) -> list[pl.Series | pl.Expr]:
    """Give what is compared: logs of speeds, spin, ratio and of carry over the flight of the typical drive."""
    ball = known.get_column("ball_speed_mph").cast(pl.Float64).to_numpy()
    launch, spin, carry = (
        known.get_column(c).cast(pl.Float64).to_numpy() for c in ("launch_deg", "spin_rpm", "carry_yd")
    )
    over = np.full(known.height, np.nan)
    rows = np.flatnonzero(np.isfinite(ball) & np.isfinite(spin))
    if len(rows):
        air, wind = air_of_drives(known[rows].select(AIR_COLUMNS), temp_c, hpa)
        shots = Launch.straight(ball[rows] * MPS_PER_MPH, launch[rows], spin[rows])
        flown = fly(shots, Ball(), air, Wind(along_mps=wind)).carry_m / METRES_PER_YARD
        over[rows] = np.log(carry[rows] / flown)
    return [
        pl.Series("carry_over_flight", over).fill_nan(None),
        pl.col("club_speed_mph", "ball_speed_mph", "spin_rpm").log(),
        pl.col("better_ratio").log().alias("speed_ratio"),
    ]


def _compared(known: pl.DataFrame, device: str, reference: str, seed: int) -> Comparison:
    pair = known.filter(pl.col("device").is_in([device, reference]))
    shared = _shared_ball(pair, device, reference)
    if shared is None:
        other = pair.filter(pl.col("device") == device).height > 0
        reason = f"its golfers hit no ball that those of {reference} hit" if other else "too few drives of any golfer"
        return _uncompared(device, reason)
    pair = pair.filter(pl.col("ball") == shared)
    same, groups = _same_golfers(pair, device, reference), _groups(pair, device, reference, seed)
    if same is not None and (groups is None or _ratio_error(same) <= _ratio_error(groups)):
        return same
    if groups is not None:
        return groups
    return same or _uncompared(device, _why_not(pair, device, reference))


def _shared_ball(pair: pl.DataFrame, device: str, reference: str) -> str | None:
    """Give the ball that most golfers hit on the device of the two with fewer of them; None where no ball is common."""
    counted = pair.group_by("ball", "device").agg(pl.col("golfer").n_unique().alias("golfers"))
    here, there = (counted.filter(pl.col("device") == one).drop("device") for one in (device, reference))
    both = here.join(there, on="ball", suffix="_there").with_columns(pl.min_horizontal("golfers", "golfers_there"))
    return None if both.is_empty() else str(both.sort("golfers", "ball", descending=[True, False]).item(0, "ball"))


def _why_not(pair: pl.DataFrame, device: str, reference: str) -> str:
    here = pair.filter(pl.col("device") == device)
    if here.get_column("ball_speed_mph").is_null().all():
        return f"its logs lack ball speed and hardly any golfer hits on {reference} too"
    if here.get_column("golfer").n_unique() < MIN_GROUP:
        return f"fewer than {MIN_GROUP} golfers, and hardly any of them hits on {reference} too"
    return f"{reference} has too few golfers with ball speed"


def _uncompared(device: str, reason: str) -> Comparison:
    return Comparison(device, "none", 0, {}, np.zeros(4), _speeds_alone(unseen()), np.inf, reason=reason)


def _speeds_alone(moments: Array) -> Array:
    doubt = np.zeros((len(READINGS),) * 2)
    doubt[:2, :2] = moments
    return doubt


def _ratio_error(found: Comparison) -> float:
    """Give half a 90 % interval of the ratio's difference."""
    from scipy.special import stdtrit

    ratio = found.differences["speed_ratio"]
    return float(np.nan_to_num(stdtrit(ratio.freedom, 0.95) * ratio.std_error, nan=np.inf))


def _same_golfers(pair: pl.DataFrame, device: str, reference: str) -> Comparison | None:
    """Compare all readings at golfers who hit on both within a quarter; None where they are too few.

    Each golfer counts once, by the mean over quarters of differences of medians. Golfers' days differ more than drives
    do, so a golfer with many drives is known little better than one with some: the mean isn't weighted, and its error
    is the golfers' spread, with Student's t.
    """
    names = [*READINGS, "speed_ratio"]
    here, there = (pair.filter(pl.col("device") == one) for one in (device, reference))
    both = here.join(there, on=["golfer", "quarter"], suffix="_there")
    steps = both.select("golfer", *(pl.col(n) - pl.col(f"{n}_there") for n in names))
    # Sorted by value: another key must not sum golfers in another order.
    table = steps.group_by("golfer").agg(pl.col(names).mean()).drop("golfer").sort(names)
    measured = [name for name in names if table.get_column(name).null_count() < table.height]
    table = table.select(measured).drop_nulls()
    if table.height < MIN_SAME:
        return None
    values = table.to_numpy()
    n, mean, errors = len(values), values.mean(axis=0), values.std(axis=0, ddof=1) / np.sqrt(len(values))
    freedom = n - 1.0
    found = {name: Difference(float(m), float(e), freedom) for name, m, e in zip(measured, mean, errors, strict=True)}
    unknown = Difference(np.nan, np.nan, freedom)
    differences = {name: found.get(name, unknown) for name in names}
    own = [name for name in READINGS if name in found]
    clear = [name for name in own if _is_clear(found[name], LEAST[READINGS.index(name)])]
    left, doubt = _settled(found, clear, freedom)
    correction = np.array([-left[name].value if name in clear else 0.0 for name in READINGS])
    return Comparison(device, "same golfers", n, differences | left, correction, doubt, freedom)


def _settled(found: dict[str, Difference], clear: list[str], freedom: float) -> tuple[dict[str, Difference], Array]:
    """Give the differences that are corrected, and second moments of what is still misread then, shape (4, 4).

    Where one of the two speeds is clearly misread and the other isn't, the speed ratio tells by how much: golfers' own
    speed goes up and down with their days, and both speeds with it.
    """
    left, doubt = {name: found[name] for name in clear}, _speeds_alone(unseen())
    speeds = [name for name in READINGS[:2] if name in clear]
    if len(speeds) == 1 and "speed_ratio" in found:
        ratio = found["speed_ratio"]
        sign = -1.0 if speeds == ["club_speed_mph"] else 1.0
        left[speeds[0]] = Difference(sign * ratio.value, ratio.std_error, freedom)
    for name in (name for name in READINGS if name in found):
        place = READINGS.index(name)
        one = left.get(name, found[name])
        unsettled = still_misread(np.array([one.value]), np.array([one.std_error]), (name,))[0]
        doubt[place, place] = one.std_error**2 if name in clear else unsettled
        if len(speeds) == 1 and name in READINGS[:2] and name not in clear:
            # What the other speed misreads was put right in the wrong place: both are then wrong together.
            doubt[:2, :2] += unsettled * (1 - np.eye(2))
            other = 1 - place
            doubt[other, other] += unsettled
    return left, doubt


def _is_clear(one: Difference, least: float) -> bool:
    return bool(abs(one.value) >= least and _clear(np.array(one.value), np.array(one.std_error), one.freedom))


def _clear(value: Array, error: Array, freedom: float) -> Array:
    from scipy.special import stdtr

    step = np.divide(np.abs(value), error, out=np.full_like(value, np.inf), where=error > 0)
    return np.asarray(2 * stdtr(freedom, -step) < CLEAR_P)


def _groups(pair: pl.DataFrame, device: str, reference: str, seed: int) -> Comparison | None:
    """Compare two groups of golfers by their better strikes and by carry beside flight; None where they can't be."""
    names = ["speed_ratio", *READINGS, "carry_over_flight"]
    table = pair.group_by("golfer", "device").agg(pl.col(names).mean()).drop("golfer").sort("device", *names)
    rated = table.filter(pl.col("speed_ratio").is_not_null())
    here, there = (rated.filter(pl.col("device") == one) for one in (device, reference))
    if min(here.height, there.height) < MIN_GROUP:
        return None
    freedom = float(here.height + there.height - 3)
    ratio, higher = better_ratios(here, there, seed)
    carry, more = carry_beside_flight(rated.filter(pl.col("carry_over_flight").is_not_null()), device)
    power = elasticity(rated) + more
    causes = weigh_causes(ratio.value, ratio.std_error, higher, (carry.value, carry.std_error), power)
    likely = stands_out(ratio) and causes.misread >= LIKELY
    reading = ("club" if causes.club >= causes.ball else "ball") if likely else None
    correction = np.zeros(4)
    unknown = Difference(np.nan, np.nan, freedom)
    differences = dict.fromkeys(READINGS, unknown) | {"speed_ratio": ratio, "carry_over_flight": carry}
    if reading:
        own = -ratio.value if reading == "club" else ratio.value
        name = f"{reading}_speed_mph"
        correction[READINGS.index(name)] = -own
        differences[name] = Difference(own, ratio.std_error, freedom)
    beyond = []
    for name in ("launch_deg", "spin_rpm"):
        differences[name], far = group_difference(here.get_column(name), there.get_column(name))
        beyond += [name] if far else []
    doubt = _speeds_alone(left_over(causes, ratio.value, ratio.std_error, reading))
    return Comparison(
        device, "population", here.height, differences, correction, doubt, freedom, causes, beyond=tuple(beyond)
    )


def stands_out(ratio: Difference) -> bool:
    """Say whether a difference of two groups' speed ratios is clear and large enough to matter."""
    return abs(ratio.value) >= max(LEAST_RATIO, CLEAR_ERRORS * ratio.std_error)


def better_ratios(here: pl.DataFrame, there: pl.DataFrame, seed: int) -> tuple[Difference, float]:
    """Compare the upper quartiles over golfers of their better ratios, at one club speed.

    Parameters
    ----------
    here, there : DataFrame
        Golfers of the device and of the reference: logs in club_speed_mph and speed_ratio.
    seed : int

    Returns
    -------
    Difference
        Its error by a bootstrap over golfers, of both groups together, each about its own quartile: so few golfers can
        have no shape of their own.
    higher : float
        The higher of the two ratios.
    """
    speed = [one.get_column("club_speed_mph").to_numpy() for one in (here, there)]
    value = [one.get_column("speed_ratio").to_numpy() for one in (here, there)]
    about = [v - np.quantile(v, BETTER) for v in value]
    x = np.concatenate([s - s.mean() for s in speed])
    *_, slope = Points.of(x, np.concatenate(about), BETTER).line(np.ones(len(x)))
    level = [v - slope * (s - s.mean()) for v, s in zip(value, speed, strict=True)]
    quartile = [float(np.quantile(v, BETTER)) for v in level]
    shape = np.sort(np.concatenate([v - q for v, q in zip(level, quartile, strict=True)]))
    rng = np.random.default_rng([seed, 16])
    drawn = [np.quantile(rng.choice(shape, (DRAWS, len(v))), BETTER, axis=1).std() for v in level]
    apart = float(speed[0].mean() - speed[1].mean())
    # A quartile's standard error is 1.36 standard deviations over root n for normal values, and so is a slope's.
    spread = float(np.std(x))
    one = np.sqrt(np.mean([d**2 * len(v) for d, v in zip(drawn, level, strict=True)]))
    slope_error = one / (spread * np.sqrt(len(x))) if spread > 0 else 0.0
    error = float(np.sqrt(drawn[0] ** 2 + drawn[1] ** 2 + (slope_error * apart) ** 2))
    found = Difference(quartile[0] - quartile[1] - float(slope) * apart, error, float(len(x) - 3))
    return found, float(np.exp(max(quartile)))


def carry_beside_flight(golfers: pl.DataFrame, device: str) -> tuple[Difference, float]:
    """Compare carry over flown carry, at one ball speed, launch and spin: what flight misses goes with them.

    Parameters
    ----------
    golfers : DataFrame
        device, carry_over_flight, and logs in ball_speed_mph and spin_rpm, launch_deg.

    Returns
    -------
    Difference
    more : float
        By how much more than flown carry these golfers' carry grows with ball speed: a difference of elasticities.
    """
    on = (golfers.get_column("device") == device).to_numpy().astype(float)
    y = golfers.get_column("carry_over_flight").to_numpy()
    more = [golfers.get_column(c).to_numpy() for c in ("ball_speed_mph", "launch_deg", "spin_rpm")]
    X = np.column_stack([np.ones(len(y)), on, *(m - m.mean() for m in more)])
    freedom = len(y) - X.shape[1]
    if freedom < 1 or np.linalg.matrix_rank(X) < X.shape[1]:
        return Difference(0.0, np.inf, 1.0), 0.0
    found, *_ = np.linalg.lstsq(X, y, rcond=None)
    variance = float(np.sum((y - X @ found) ** 2)) / freedom
    error = float(np.sqrt(variance * np.linalg.inv(X.T @ X)[1, 1]))
    return Difference(float(found[1]), error, float(freedom)), float(found[2])


def elasticity(golfers: pl.DataFrame) -> float:
    """Give the share by which flown carry grows with a share of ball speed, at the golfers' usual drive.

    With the default coefficients it falls from 1.5 at 70 mph of club speed to 0.9 at 115 mph.
    """
    usual = golfers.select(pl.col("ball_speed_mph", "launch_deg", "spin_rpm").median()).row(0)
    speed, launch, spin = (np.nan if value is None else float(value) for value in usual)
    if np.isnan(speed + spin):
        return USUAL_ELASTICITY
    speeds = np.exp(speed) * MPS_PER_MPH * np.array([0.99, 1.01])
    slow, fast = fly(Launch.straight(speeds, launch, np.exp(spin)), Ball(), Air.of(15.0, 101325.0, 0.0)).carry_m
    return float(np.log(fast / slow) / np.log(1.01 / 0.99))


def group_difference(here: pl.Series, there: pl.Series) -> tuple[Difference, bool]:
    """Compare the medians of two groups of golfers; say whether they differ by far more than golfers do."""
    both = [one.drop_nulls().sort().to_numpy() for one in (here, there)]
    if min(len(one) for one in both) < MIN_GROUP:
        return Difference(np.nan, np.nan, 1.0), False
    # Standard deviations by quartiles, which faults of a few golfers don't reach.
    spread = [float(np.subtract(*np.quantile(one, [0.75, 0.25]))) / 1.349 for one in both]
    error = float(np.sqrt(sum(np.pi / 2 * s**2 / len(one) for s, one in zip(spread, both, strict=True))))
    value = float(np.median(both[0]) - np.median(both[1]))
    far = abs(value) > max(CLEAR_ERRORS * error, FAR_BEYOND * max(spread))
    return Difference(value, error, float(min(map(len, both)) - 1)), bool(far)
