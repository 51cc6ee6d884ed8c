"""What each golfer might try with loft or attack, and why nothing can be said where that is so."""

import polars as pl

from pipeline.coach.delivery.loft_change import (
    ATTACK_CHANGE_DEG,
    LEAST_GAIN_YD,
    DeliveryMoves,
    MovedCarry,
    present_of,
    reachable,
)
from pipeline.coach.delivery.slopes import DeliveryModel
from pipeline.coach.delivery.sums import Sums
from pipeline.tables.delivery import Delivery
from pipeline.tables.types import types_of

KEEP_THE_LOFT = "keep the loft"

UNREAD = "no attack readings"
UNSPUN = "spin is guessed, not measured"
UNTOLD = "too few golfers with attack readings that go with launch and spin"
TOO_LOW = "launch is not above the attack reading"
OUTSIDE = "the typical drive lies outside the data"
TOP_OUTSIDE = "more attack would leave the data"
UNSTRUCK = "without ball speed, the effect of more attack isn't known"


def advise(
    golfers: pl.DataFrame, cells: pl.DataFrame, carry: MovedCarry, fitted: DeliveryModel | None, min_shots: int
) -> pl.DataFrame:
    """Work out the table `Delivery`.

    Parameters
    ----------
    golfers : DataFrame
        The table `Golfers`.
    cells : DataFrame
        From `cell_sums`, of all quarters.
    carry : MovedCarry
    fitted : DeliveryModel or None
    min_shots : int
        Drives in the newest quarter that a golfer needs.

    Returns
    -------
    DataFrame
        One row per golfer with enough drives, sorted.
    """
    newest = pl.col("quarter") == golfers.get_column("quarter").max()
    rows = golfers.filter(newest & (pl.col("shots") >= min_shots)).sort("golfer")
    # A guessed spin is no delivery to move: any number stands for it, and what follows from that is not told.
    filled = rows.with_columns(pl.col("spin_rpm").fill_null(pl.col("spin_rpm").median().fill_null(0.0)))
    present, beside = present_of(filled, Sums.of(cells.filter(newest)))
    told = rows.select("golfer", "quarter", "shots", "club_speed_mph", "launch_deg", "spin_rpm").with_columns(
        *beside, pl.Series("speed_ratio", present.delivery[:, 2]).fill_nan(None)
    )
    usable = fitted is not None and fitted.attack.known
    if fitted is not None and usable:
        moved = reachable(present, carry, DeliveryMoves(fitted))
        spun = pl.lit(told.get_column("spin_rpm").is_not_null())
        told = pl.concat([told, moved.select(pl.when(spun).then(pl.all()))], how="horizontal")
    # Carry by club speed takes too little account of launch to tell what comes on top: on an invented academy it was
    # 3 yd off.
    by_ball = carry.model.by_ball_speed
    told = told if by_ball else told.drop(pl.selectors.starts_with("attack_gain", "attack_loft"), strict=False)
    absent = {name: kind for name, kind in types_of(Delivery).items() if name not in told.columns}
    told = told.with_columns(pl.lit(None, kind).alias(name) for name, kind in absent.items())
    given, top = pl.col("gain_yd").is_not_null(), pl.col("attack_gain_yd").is_not_null()
    source = "golfers" if fitted is not None and fitted.loft_measured else "impact"
    return (
        told.with_columns(
            pl.when(given).then(_advice()).alias("advice"),
            pl.when(given).then(pl.lit(source)).alias("loft_by"),
            pl.when(top).then(pl.lit(ATTACK_CHANGE_DEG)).alias("attack_change_deg"),
            _note(usable, by_ball).alias("note"),
        )
        .select(Delivery.column_names())
        .cast({"advice": Delivery.advice.dtype, "loft_by": Delivery.loft_by.dtype, "path_by": Delivery.path_by.dtype})
    )


def _advice() -> pl.Expr:
    """Say what to try with loft: a change only where it surely gains, and enough."""
    worth = (pl.col("gain_lo90_yd") > 0) & (pl.col("gain_yd") >= LEAST_GAIN_YD)
    change = pl.when(pl.col("loft_change_deg") < 0).then(pl.lit("less loft")).otherwise(pl.lit("more loft"))
    return pl.when(worth).then(change).otherwise(pl.lit(KEEP_THE_LOFT))


def _note(usable: bool, by_ball: bool) -> pl.Expr:
    """Say why a figure isn't given: `usable` slopes, and carry that goes by ball speed."""
    return (
        pl.when(pl.col("spin_rpm").is_null())
        .then(pl.lit(UNSPUN))
        .when(pl.col("attack_deg").is_null())
        .then(pl.lit(UNREAD))
        .when(pl.lit(not usable))
        .then(pl.lit(UNTOLD))
        .when(pl.col("launch_deg") <= pl.col("attack_deg"))
        .then(pl.lit(TOO_LOW))
        .when(pl.col("gain_yd").is_null())
        .then(pl.lit(OUTSIDE))
        .when(pl.col("attack_gain_yd").is_null())
        .then(pl.lit(TOP_OUTSIDE if by_ball else UNSTRUCK))
    )
