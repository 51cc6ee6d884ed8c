"""Yards lost per golfer and quarter, with parts that add up exactly.

Yards lost = efficient carry at the golfer's club speed - mean carry. The way from one to the other goes through
the golfer's typical drive: contact, launch and spin are what is lost from the efficient drive to the typical one,
consistency from the typical drive to the mean of the expected drives, other is the rest: what the drives did
beside what the model expects of them. Of golfers whose spin is guessed, usual spin is expected, and what their own
costs is in other.
"""

import numpy as np
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.drives import KEYS, typical_drives, with_spin_unguessed
from pipeline.fit.model import CarryModel, Delivery
from pipeline.statistics.arrays import Array
from pipeline.statistics.shapley import exchange


def losses(drives: pl.DataFrame, model: CarryModel, frontier: Frontier) -> pl.DataFrame:
    """Work out yards lost and their parts.

    Parameters
    ----------
    drives : DataFrame
        Accepted drives, with the columns of `FIT_COLUMNS`.
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
            pl.col("carry_reference_yd").mean().alias("carry_yd"),
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
    delivery = model.with_usual(Delivery.of(with_spin_unguessed(drives)))
    # A golfer who happened to swing faster carried farther and had farther to go: only the rest is luck.
    # Beyond the frontier's ends it is taken as flat; that only widens the interval.
    own = model.reference_carry(drives) - frontier.carry_beyond(delivery.club_speed_mph)
    return (
        model.with_reference(drives)
        .select(*KEYS, "carry_reference_yd")
        .with_columns(
            pl.Series("expected_yd", model.expected(delivery)),
            pl.Series("steady_yd", model.expected(_better_struck(model, delivery))),
            pl.Series("own_yd", own),
        )
    )


def _better_struck(model: CarryModel, delivery: Delivery) -> Delivery:
    """Give the same drives with the speed ratio of the better quarter; nothing else of their better strike."""
    return delivery.struck(model.ratio(delivery, "better"))


def _with_parts(golfers: pl.DataFrame, model: CarryModel, frontier: Frontier) -> pl.DataFrame:
    typical = Delivery.of(golfers)
    measured = np.isfinite(typical.spin_rpm)
    typical = model.with_usual(typical)
    club = typical.club_speed_mph
    known = np.isfinite(typical.speed_ratio) & model.by_ball_speed
    better = model.ratio(typical, "better")
    own = typical.struck(np.where(known, typical.speed_ratio, better))
    best = frontier.best_delivery(club, better)
    efficient = frontier.at("carry_yd", club)

    def carry(ratio: Array, launch: Array, spin: Array) -> Array:
        return model.expected(Delivery(club, ratio, launch, spin))

    inputs = [(one.speed_ratio, one.launch_deg, one.spin_rpm) for one in (best, own)]
    contact, from_launch, from_spin = exchange(carry, *inputs)
    # Without ball speed a golfer's own strike is unknown: consistency is what launch and spin show of it.
    mean = np.where(known, *(golfers.get_column(name).to_numpy() for name in ("expected_yd", "steady_yd")))
    consistency = model.expected(own) - mean
    lost = efficient - golfers.get_column("carry_yd").to_numpy()
    named = np.where(known, contact, 0.0) + from_launch + np.where(measured, from_spin, 0.0) + consistency
    shared = frontier.at("std_error_yd", club)
    std_error = np.sqrt(golfers.get_column("own_variance").cast(pl.Float64).to_numpy() + shared**2)
    columns = {
        "ball_speed_mph": np.where(known, club * typical.speed_ratio, np.nan),
        "efficient_yd": efficient,
        "lost_yd": lost,
        "lost_contact_yd": np.where(known, contact, np.nan),
        "lost_launch_yd": from_launch,
        "lost_spin_yd": np.where(measured, from_spin, np.nan),
        "lost_consistency_yd": np.where(np.isnan(lost), np.nan, consistency),
        "lost_other_yd": lost - named,
        "efficient_std_error_yd": shared,
        "std_error_yd": std_error,
    }
    added = golfers.with_columns(pl.Series(name, values).fill_nan(None) for name, values in columns.items())
    out_of_reach = pl.col("lost_yd").is_null()
    return added.with_columns(pl.when(~out_of_reach).then(pl.col("lost_contact_yd")).alias("lost_contact_yd"))
