"""Yards lost per golfer and quarter, with parts that add up exactly.

Yards lost = efficient carry at the golfer's club speed - mean carry. The way from one to the other goes through
the golfer's typical drive: contact, launch and spin are what is lost from the efficient drive to the typical one,
consistency from the typical drive to the mean of the expected drives, other is the rest: what the drives did
beside what the model expects of them.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
import polars as pl

from pipeline.drives import typical_drives
from pipeline.fit.model import CarryModel
from pipeline.statistics.arrays import Array

KEYS = ["golfer", "quarter"]


@dataclass(frozen=True)
class Frontier:
    """Efficient carry and its delivery on a grid of club speeds.

    Attributes
    ----------
    speed_mph, carry_yd, std_error_yd, launch_deg, spin_rpm : ndarray, shape (n,)
        Rising in speed. Speeds more than half a mph from every grid point are out of reach.
    """

    speed_mph: Array
    carry_yd: Array
    std_error_yd: Array
    launch_deg: Array
    spin_rpm: Array

    def at(self, values: Array, speed_mph: Array) -> Array:
        """Interpolate one of the arrays at club speeds; NaN out of reach, shape (m,)."""
        if len(self.speed_mph) == 0:
            return np.full(speed_mph.shape, np.nan)
        after = np.searchsorted(self.speed_mph, speed_mph).clip(0, len(self.speed_mph) - 1)
        before = (after - 1).clip(0)
        gap = np.minimum(np.abs(self.speed_mph[after] - speed_mph), np.abs(self.speed_mph[before] - speed_mph))
        inside = (speed_mph >= self.speed_mph[0]) & (speed_mph <= self.speed_mph[-1]) & (gap <= 0.5 + 1e-9)
        return np.where(inside, np.interp(speed_mph, self.speed_mph, values), np.nan)


def exchange(value: Callable[..., Array], start: Sequence[Array], end: Sequence[Array]) -> list[Array]:
    """Share out a change among its inputs, averaged over every order of exchanging them (Shapley's value).

    Parameters
    ----------
    value : callable
        Takes one array per input, gives an array.
    start, end : sequence of ndarray, each of shape (n,)
        The inputs before and after.

    Returns
    -------
    list of ndarray, each of shape (n,)
        What each input took away; together exactly value(start) - value(end).

    References
    ----------
    Shapley, A value for n-person games, Contributions to the Theory of Games II (1953) 307-317.
    """
    inputs = range(len(start))
    cache = {
        subset: value(*(end[i] if i in subset else start[i] for i in inputs))
        for subset in {frozenset(order[:k]) for order in permutations(inputs) for k in range(len(start) + 1)}
    }
    orders = list(permutations(inputs))
    taken = [np.zeros_like(cache[frozenset()]) for _ in inputs]
    for order in orders:
        for k, i in enumerate(order):
            taken[i] += cache[frozenset(order[:k])] - cache[frozenset(order[: k + 1])]
    return [part / len(orders) for part in taken]


def losses(drives: pl.DataFrame, model: CarryModel, frontier: Frontier) -> pl.DataFrame:
    """Work out yards lost and their parts.

    Parameters
    ----------
    drives : DataFrame
        All accepted drives, with the columns of `FIT_COLUMNS`; carry_yd already on the scale of the reference
        device and ball (`adjusted_carry`).
    model : CarryModel
    frontier : Frontier

    Returns
    -------
    DataFrame
        One row per golfer and quarter, sorted: the delivery, carry_yd, efficient_yd, lost_yd, the five parts,
        and for tests and intervals own_variance (of the golfer's figure by the luck of the drives, yd^2; null for
        a single drive), own_skewness (of a drive's yards lost; null below three drives), efficient_std_error_yd (which
        golfers of one speed share) and std_error_yd of the two together. Where the benchmarks don't reach the golfer's
        speed, what hangs on them is null.
    """
    expected = _expected_and_own(drives, model, frontier)
    per_golfer = typical_drives(drives, KEYS).join(
        expected.group_by(KEYS).agg(
            pl.col("carry_yd").mean(),
            pl.col("expected_yd").mean(),
            pl.col("steady_yd").mean(),
            (pl.col("own_yd").var() / pl.len()).alias("own_variance"),
            # Of yards lost, whose long tail is where carry is short.
            (-pl.col("own_yd").skew(bias=False)).fill_nan(None).alias("own_skewness"),
        ),
        on=KEYS,
        validate="1:1",
    )
    # In one order before anything is worked out: libraries' sums hang in their last digits on a row's place.
    return _with_parts(per_golfer.sort(KEYS), model, frontier)


def _expected_and_own(drives: pl.DataFrame, model: CarryModel, frontier: Frontier) -> pl.DataFrame:
    """Add per drive: expected carry, the same at the better quarter's strike, and carry less its speed's share."""
    club, launch, spin = (drives.get_column(c).to_numpy() for c in ("club_speed_mph", "launch_deg", "spin_rpm"))
    ball = drives.get_column("ball_speed_mph").cast(pl.Float64).to_numpy()
    usual = model.speed(club)
    speed = np.where(np.isnan(ball), usual, ball) if model.surface.speed == "ball" else club
    carry = drives.get_column("carry_yd").to_numpy()
    # A golfer who happened to swing faster carried farther and had farther to go: only the rest is luck.
    # Beyond the frontier's ends it is taken as flat; that only widens the interval.
    own = carry - np.interp(club, frontier.speed_mph, frontier.carry_yd) if len(frontier.speed_mph) else carry
    return drives.select(*KEYS, "carry_yd").with_columns(
        pl.Series("expected_yd", model.carry(speed, launch, spin)),
        pl.Series("steady_yd", model.carry(model.better_speed(club), launch, spin)),
        pl.Series("own_yd", own),
    )


def _with_parts(golfers: pl.DataFrame, model: CarryModel, frontier: Frontier) -> pl.DataFrame:
    club = golfers.get_column("club_speed_mph").to_numpy()
    launch, spin = golfers.get_column("launch_deg").to_numpy(), golfers.get_column("spin_rpm").to_numpy()
    known = golfers.get_column("speed_ratio").is_not_null().to_numpy() & (model.surface.speed == "ball")
    ratio = golfers.get_column("speed_ratio").cast(pl.Float64).to_numpy()
    best_launch, best_spin = frontier.at(frontier.launch_deg, club), frontier.at(frontier.spin_rpm, club)
    better = model.better_speed(club)
    own = np.where(known, model.speed(club, np.where(known, ratio, 1.0)), better)
    efficient = frontier.at(frontier.carry_yd, club)

    contact, from_launch, from_spin = exchange(model.carry, (better, best_launch, best_spin), (own, launch, spin))
    typical = model.carry(own, launch, spin)
    mean = golfers.get_column("expected_yd").to_numpy()
    # Without ball speed a golfer's own strike is unknown: consistency is what launch and spin show of it.
    consistency = typical - np.where(known, mean, golfers.get_column("steady_yd").to_numpy())
    lost = efficient - golfers.get_column("carry_yd").to_numpy()
    named = np.where(known, contact, 0.0) + from_launch + from_spin + consistency
    shared = frontier.at(frontier.std_error_yd, club)
    std_error = np.sqrt(golfers.get_column("own_variance").cast(pl.Float64).to_numpy() + shared**2)
    columns = {
        "ball_speed_mph": np.where(known, club * ratio, np.nan),
        "efficient_yd": efficient,
        "lost_yd": lost,
        "lost_contact_yd": np.where(known, contact, np.nan),
        "lost_launch_yd": from_launch,
        "lost_spin_yd": from_spin,
        "lost_consistency_yd": np.where(np.isnan(lost), np.nan, consistency),
        "lost_other_yd": lost - named,
        "efficient_std_error_yd": shared,
        "std_error_yd": std_error,
    }
    added = golfers.with_columns(pl.Series(name, values).fill_nan(None) for name, values in columns.items())
    out_of_reach = pl.col("lost_yd").is_null()
    return added.with_columns(pl.when(~out_of_reach).then(pl.col("lost_contact_yd")).alias("lost_contact_yd"))
