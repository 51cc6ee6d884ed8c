"""What more attack does to each golfer's path, how far the swing would have to turn, and where face and path start it.

The change of path goes by the golfer's own slope, swing to swing, where the golfer varies the attack enough to tell it;
else by the geometry of a head that moves in a plane, with the plane as read or as usual.
"""

from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.coach.delivery.directions import AXIS, START, DirectionModel
from pipeline.coach.delivery.impact_slopes import SPIN_DOUBT, loft_difference_deg
from pipeline.coach.delivery.loft_change import ATTACK_CHANGE_DEG
from pipeline.coach.delivery.slopes import MIN_RELIABILITY, DeliveryModel
from pipeline.coach.delivery.start_doubt import MIN_DAY_FREEDOM, Impacts, day_products, start_and_axis_reach
from pipeline.coach.delivery.sums import ATTACK, Sums
from pipeline.physics.impact import strike_in_space
from pipeline.physics.swing_geometry import USUAL_PLANE_DEG, path_turn_deg
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import Z90, t_reach
from pipeline.tables.delivery import PATH_BY
from pipeline.units import MPS_PER_MPH

# Standard deviations of the plane's inclination, deg, where it is read and where it is taken as usual. ASSUMED: good to
# 2 deg where read, and golfers' planes with a driver differ by some 5 deg (common practice, no source).
READ_PLANE_DOUBT_DEG = 2.0
USUAL_PLANE_DOUBT_DEG = 5.0
# A golfer's own slope of path on attack is used where its standard error is smaller: about what geometry is wrong by
# where the plane is taken as usual.
MOST_OWN_ERROR = 0.15
MIN_OWN_FREEDOM = 20  # drives less days for a golfer's own slope

BY_GOLFER, BY_PLANE_READ, BY_PLANE_USUAL = PATH_BY
TRY_IT = "Try it with a coach"
OWN = f"{TRY_IT}: in the golfer's own swings, path and attack went together like this."
READ = f"{TRY_IT}: this is geometry, for a right-handed swing in the plane as read."
USUAL = (
    f"{TRY_IT}: this is geometry, for a right-handed swing in a plane of {USUAL_PLANE_DEG:g} deg (common practice, no "
    "source)."
)

_NUMBERS = (
    "path_deg",
    "face_deg",
    "plane_deg",
    "path_after_attack_deg",
    "path_after_attack_lo90_deg",
    "path_after_attack_hi90_deg",
    "swing_direction_turn_deg",
    "start_direction_deg",
    "start_direction_lo90_deg",
    "start_direction_hi90_deg",
    "spin_axis_deg",
    "spin_axis_lo90_deg",
    "spin_axis_hi90_deg",
)
_TEXTS = ("path_by", "direction_note")


class AttackErrors(NamedTuple):
    """Errors of the readings of attack inside golfers.

    Attributes
    ----------
    variance : float
        deg^2; NaN where not known.
    doubt : float
        Standard error of that variance, deg^2, from the doubt of rigid impact.
    """

    variance: float
    doubt: float

    @classmethod
    def of(cls, sums: Sums, fitted: DeliveryModel | None) -> "AttackErrors":
        """Take the part of the scatter inside golfers, quarters and devices that isn't attack."""
        if fitted is None or not fitted.attack.known:
            return cls(np.nan, np.nan)
        scatter = float(sums.within_cells()[:, ATTACK, ATTACK].sum() / max(sums.n.sum() - len(sums.n), 1.0))
        by_loft = fitted.impact["loft_deg"]
        doubt = abs(SPIN_DOUBT * by_loft[0] / by_loft[1] * fitted.attack.as_read[1])
        return cls((1 - fitted.attack.reliability) * scatter, float(doubt) * scatter)

    def worth(self, sums: pl.DataFrame) -> float | None:
        """Give the share of the readings' variance within days that is attack; None where it isn't known or small.

        `sums` is `PATH.sums` of all golfers.
        """
        freedom = sums.select(pl.col("n").sum() - pl.col("days").sum()).item()
        scatter = sums.get_column("0*0").sum()
        worth = 1 - self.variance * freedom / scatter if scatter > 0 else np.nan
        return float(worth) if worth >= MIN_RELIABILITY else None


def quarter_paths(directed: pl.DataFrame, quarter: str) -> pl.DataFrame:
    """Average golfers' paths, faces and planes of a quarter.

    Parameters
    ----------
    directed : DataFrame
        From `directions.directed`; all drives of a golfer.
    quarter : str

    Returns
    -------
    DataFrame
        One row per golfer with a path, sorted: path_deg, plane_deg, face_deg and path_beside_face_deg (over the drives
        with a face), days, day_squares (deg^2, of the days' mean paths about their own mean) and concentration (the sum
        of the squares of the days' shares of the drives); and, of those with a face, the columns of `day_products`.
    """
    drives = directed.filter(pl.col("quarter") == quarter)
    faced = pl.col("path_deg").filter(pl.col("face_deg").is_not_null())
    means = drives.group_by("golfer", maintain_order=True).agg(
        pl.col("path_deg", "face_deg", "plane_deg").mean(), path_beside_face_deg=faced.mean()
    )
    by_day = drives.group_by("golfer", "struck_on", maintain_order=True).agg(pl.len(), pl.col("path_deg").mean())
    share = pl.col("len") / pl.col("len").sum()
    days = by_day.group_by("golfer", maintain_order=True).agg(
        days=pl.len().cast(pl.Int64),
        day_squares=pl.col("path_deg").var(ddof=0) * pl.len(),
        concentration=(share**2).sum(),
    )
    faced_days = day_products(drives.drop_nulls("face_deg"))
    every = means.join(days, on="golfer", maintain_order="left")
    return every.join(faced_days, on="golfer", how="left", maintain_order="left").sort("golfer")


def own_slopes(sums: pl.DataFrame, errors: AttackErrors) -> pl.DataFrame:
    """Give golfers' own slopes of path on attack, with the errors of attack's readings taken out.

    Parameters
    ----------
    sums : DataFrame
        `PATH.sums` of all golfers.
    errors : AttackErrors

    Returns
    -------
    DataFrame
        golfer, own_slope, own_error (its standard error) and own_freedom, of those who vary their attack enough:
        `MOST_OWN_ERROR`, `MIN_OWN_FREEDOM`, and `MIN_RELIABILITY` of the golfer's own readings.
    """
    freedom = pl.col("n") - pl.col("days") - 1
    # Of the readings' variance, what isn't error; errors are as large for everybody.
    variance = pl.col("0*0") / (pl.col("n") - pl.col("days"))
    worth = 1 - errors.variance / variance
    slope = pl.col("0*1") / pl.col("0*0") / worth
    noise = (pl.col("1*1") - pl.col("0*1") ** 2 / pl.col("0*0")).clip(0) / freedom / pl.col("0*0") / worth**2
    doubt = (slope * errors.doubt / (variance * worth)) ** 2
    told = sums.filter((freedom >= MIN_OWN_FREEDOM) & (pl.col("0*0") > 0)).filter(worth >= MIN_RELIABILITY)
    own = told.select("golfer", own_slope=slope, own_error=(noise + doubt).sqrt(), own_freedom=freedom)
    return own.filter(pl.col("own_error") <= MOST_OWN_ERROR)


def with_paths(
    advice: pl.DataFrame, means: pl.DataFrame, own: pl.DataFrame, model: DirectionModel | None
) -> pl.DataFrame:
    """Add to rows of `Delivery` what path, face and plane tell.

    Parameters
    ----------
    advice : DataFrame
        Schema Delivery, those columns empty.
    means : DataFrame
        From `quarter_paths`, of all golfers.
    own : DataFrame
        From `own_slopes`.
    model : DirectionModel or None

    Returns
    -------
    DataFrame
        The same rows; the columns are null where attack or path isn't known. All others are as they were.
    """
    made = (*_NUMBERS, *_TEXTS)
    table = advice.drop(made).join(means, on="golfer", how="left", maintain_order="left")
    table = table.join(own, on="golfer", how="left", maintain_order="left")
    attack, path, plane = (_floats(table, name) for name in ("attack_deg", "path_deg", "plane_deg"))
    read = ~np.isnan(plane)
    plane = np.where(read, plane, USUAL_PLANE_DEG)
    change, error, reach, by_golfer = _change(table, attack, plane, read)
    after = path + change
    half = np.hypot(reach * error, _path_reach(table, means))
    starts = _starts(table, attack, means, model)
    known = ~np.isnan(attack) & ~np.isnan(path)
    beside = (after, after - half, after + half, 0.0 - after, *starts)
    values = (path, _floats(table, "face_deg"), plane, *beside)
    told = known & ~np.isnan(after)
    way = np.where(by_golfer, BY_GOLFER, np.where(read, BY_PLANE_READ, BY_PLANE_USUAL))
    note = np.where(by_golfer, OWN, np.where(read, READ, USUAL))
    columns = [
        pl.Series(name, np.where(known, value, np.nan)).fill_nan(None)
        for name, value in zip(_NUMBERS, values, strict=True)
    ] + [
        pl.Series(name, words.tolist()).set(pl.Series(~told), None)
        for name, words in zip(_TEXTS, (way, note), strict=True)
    ]
    return advice.with_columns(columns).cast({"path_by": advice.schema["path_by"]})


def _change(table: pl.DataFrame, attack: Array, plane: Array, read: Array) -> tuple[Array, Array, Array, Array]:
    """Give the change of path by more attack, its standard error and reach, and whether it is by the golfer's own."""
    own, own_error, freedom = (_floats(table, name) for name in ("own_slope", "own_error", "own_freedom"))
    by_golfer = ~np.isnan(own)
    doubt = np.where(read, READ_PLANE_DOUBT_DEG, USUAL_PLANE_DOUBT_DEG)
    turn = _turned(attack, plane)
    error = np.abs(_turned(attack, np.minimum(plane + doubt, 90.0)) - _turned(attack, plane - doubt)) / 2
    reach = np.where(by_golfer, t_reach(np.where(by_golfer, freedom, 1.0)), Z90)
    more = ATTACK_CHANGE_DEG
    return np.where(by_golfer, own * more, turn), np.where(by_golfer, own_error * more, error), reach, by_golfer


def _turned(attack: Array, plane: Array) -> Array:
    """Give the change of path by more attack in a plane, deg; NaN where the plane is too flat for it."""
    fits = np.abs(attack) + ATTACK_CHANGE_DEG < plane
    start, held = np.where(fits, attack, 0.0), np.where(fits, plane, USUAL_PLANE_DEG)
    turn = path_turn_deg(start + ATTACK_CHANGE_DEG, held) - path_turn_deg(start, held)
    return np.where(fits, turn, np.nan)


def _path_reach(table: pl.DataFrame, means: pl.DataFrame) -> Array:
    """Give half the 90 % interval of the mean path, deg: how a golfer's days differ is taken from all golfers."""
    days = means.get_column("days").to_numpy()
    freedom = float((days - 1).sum())
    if freedom < MIN_DAY_FREEDOM:
        return np.full(table.height, np.nan)
    variance = float(means.get_column("day_squares").sum()) / freedom
    return np.asarray(t_reach(freedom) * np.sqrt(variance * _floats(table, "concentration")))


def _starts(table: pl.DataFrame, attack: Array, means: pl.DataFrame, model: DirectionModel | None) -> list[Array]:
    """Give start direction and spin axis expected of face and path, deg, each with the ends of its 90 % interval.

    By rigid impact, of which the study's own slopes, where they are used, take the place.
    """
    face, path = _floats(table, "face_deg"), _floats(table, "path_beside_face_deg")
    loft = attack + loft_difference_deg(_floats(table, "launch_deg") - attack)
    given = np.isfinite(face) & np.isfinite(path) & np.isfinite(loft)
    speed = _floats(table, "club_speed_mph")
    club, *angles = (np.where(given, one, 1.0) for one in (speed, attack, loft, path, face))
    at = Impacts(club * MPS_PER_MPH, *angles)
    ball = strike_in_space(*at)
    start, axis = ball.launch_side_deg, ball.spin_axis_deg
    if model is not None:
        start = start + np.column_stack([at.face_deg, at.path_deg]) @ model.beside_impact(START)
        axis = axis + (at.face_deg - at.path_deg) * model.beside_impact(AXIS)[0]
    concentration = np.where(given, _floats(table, "faced_concentration"), np.nan)
    reaches = start_and_axis_reach(at, means.drop_nulls("faced_days"), concentration, model)
    ends = [
        end
        for value, reach in zip((start, axis), reaches, strict=True)
        for end in (value, value - reach, value + reach)
    ]
    return [np.where(given, end, np.nan) for end in ends]


def _floats(table: pl.DataFrame, name: str) -> Array:
    return table.get_column(name).cast(pl.Float64).to_numpy().copy()
