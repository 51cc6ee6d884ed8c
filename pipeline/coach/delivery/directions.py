"""How start direction and spin axis go with face and path, and path with attack, swing to swing inside golfers.

Only drives of one golfer, day and device are held beside each other: where a device is aimed shifts path, face and
start alike, and it is aimed anew each day. Rigid impact and the geometry of a swing plane stand beside the slopes.

Readings of face and path have errors, which flatten slopes on them, and nothing tells those errors apart from swings.
But a swing turned as a whole turns the ball's start as much, so the slopes of start direction on face and path add up
to one. What they lack tells how much errors of the face flatten its share; where that is much, slopes are shown and not
used. A device may also work the face out from the ball's start; its share
of the face is then what the device takes it to be, which shows in no error here.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.coach.delivery.impact_slopes import LOFT_DOUBT, loft_difference_deg
from pipeline.coach.delivery.slopes import MIN_GOLFERS
from pipeline.coach.delivery.sums import struck_soundly
from pipeline.physics.impact import face_share, strike_in_space
from pipeline.physics.swing_geometry import USUAL_PLANE_DEG, path_turn_deg
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import t_reach
from pipeline.statistics.least_squares import Fit, Solved
from pipeline.tables.delivery import DeliverySlopes
from pipeline.units import MPS_PER_MPH

DIRECTION_COLUMNS = (
    "golfer",
    "quarter",
    "struck_on",
    "device",
    "club_speed_mph",
    "ball_speed_mph",
    "launch_deg",
    "attack_deg",
    "loft_deg",
    "path_deg",
    "face_deg",
    "plane_deg",
    "launch_side_deg",
    "spin_axis_deg",
    "spin_measured",
)
DAY = ["golfer", "struck_on", "device"]

# How much of the face's share errors of its readings may have taken. ASSUMED: a share wrong by less changes an expected
# start by less than half a degree for a face 10 deg from the path.
SHARE_DOUBT = 0.05
# Stated loft about which the axis goes with face and path, deg: a round number near a driver's.
LOFT_ORIGIN_DEG = 10.0


@dataclass(frozen=True)
class DirectionFit:
    """What is regressed on what, and which of the predictors the table shows."""

    response: str
    predictors: tuple[str, ...]
    shown: tuple[str, ...]
    spun: bool = False  # whether drives whose spin is guessed are left out

    def sums(self, drives: pl.DataFrame) -> pl.DataFrame:
        """Give a golfer's sums of squares and products about the means of the days; see `within_days`."""
        measured = pl.col("spin_measured").fill_null(True) if self.spun else pl.lit(True)
        return within_days(drives.filter(measured), self.predictors, self.response)


START = DirectionFit("launch_side_deg", ("face_deg", "path_deg"), ("face_deg", "path_deg"))
AXIS = DirectionFit("spin_axis_deg", ("face_to_path_deg",), ("face_to_path_deg",), spun=True)
AXIS_BY_LOFT = DirectionFit(
    "spin_axis_deg", ("face_to_path_deg", "face_to_path_by_loft"), ("face_to_path_by_loft",), spun=True
)
PATH = DirectionFit("path_deg", ("attack_deg",), ("attack_deg",))
FITS = (START, AXIS, AXIS_BY_LOFT, PATH)


def directed(drives: pl.DataFrame, golfers: pl.DataFrame) -> pl.DataFrame:
    """Keep the sound drives with a path, and add face less path, and that times loft.

    Parameters
    ----------
    drives : DataFrame
        The columns `DIRECTION_COLUMNS`.
    golfers : DataFrame
        The table `Golfers`: its typical ball speed tells mishits.

    Returns
    -------
    DataFrame
    """
    face_to_path = pl.col("face_deg") - pl.col("path_deg")
    return struck_soundly(drives.filter(pl.col("path_deg").is_not_null()), golfers).with_columns(
        face_to_path_deg=face_to_path, face_to_path_by_loft=face_to_path * (pl.col("loft_deg") - LOFT_ORIGIN_DEG)
    )


def within_days(drives: pl.DataFrame, predictors: Sequence[str], response: str) -> pl.DataFrame:
    """Sum up squares and products of complete drives about the means of their golfer, day and device.

    Parameters
    ----------
    drives : DataFrame
        With the columns `DAY`, predictors and response; all drives of a golfer.
    predictors : sequence of str
    response : str

    Returns
    -------
    DataFrame
        One row per golfer with two complete drives on a day, sorted: n, days, and the products of the columns k and l
        of (predictors, response), `k*l` for k at most l. A day's single drive counts for nothing.
    """
    names = [*predictors, response]
    many = pl.len().over(DAY) > 1
    complete = drives.drop_nulls(names).filter(many)
    about = complete.select(*DAY, *(pl.col(name) - pl.col(name).mean().over(DAY) for name in names))
    products = (
        (pl.col(names[k]) * pl.col(names[m])).sum().alias(f"{k}*{m}")
        for k in range(len(names))
        for m in range(k, len(names))
    )
    return (
        about.group_by("golfer", maintain_order=True)
        .agg(
            pl.len().cast(pl.Int64).alias("n"),
            pl.struct("struck_on", "device").n_unique().cast(pl.Int64).alias("days"),
            *products,
        )
        .sort("golfer")
    )


@dataclass(frozen=True)
class Directions:
    """A fit inside golfers.

    Attributes
    ----------
    fitted : Fit or None
        Coefficients in the order of the predictors; None where too few golfers or too alike.
    golfers, drives : int
        Behind it.
    xx : ndarray, shape (terms, terms)
        Sums of squares and products of the predictors.
    """

    fitted: Fit | None
    golfers: int
    drives: int
    xx: Array

    @property
    def reach(self) -> Array:
        """Half of the 90 % intervals, by Student's t of golfers less one."""
        assert self.fitted is not None
        return np.asarray(t_reach(max(self.golfers - 1, 1)) * self.fitted.std_errors)


def fit_within(sums: pl.DataFrame, terms: int) -> Directions:
    """Fit least squares from golfers' sums, with standard errors clustered by golfer.

    Parameters
    ----------
    sums : DataFrame
        From `within_days`, of all golfers.
    terms : int
        Number of predictors.

    Returns
    -------
    Directions
    """
    n = int(sums.get_column("n").sum())
    products = _products(sums, terms + 1)
    whole = products.sum(axis=0)
    xx, xy = whole[:-1, :-1], whole[:-1, -1]
    lengths = np.sqrt(np.diag(xx))
    if sums.height < MIN_GOLFERS or np.any(lengths == 0):
        return Directions(None, sums.height, n, xx)
    unit = xx / np.outer(lengths, lengths)
    if np.linalg.matrix_rank(unit, tol=1e-9) < terms:
        return Directions(None, sums.height, n, xx)
    bread = np.linalg.inv(unit) / np.outer(lengths, lengths)
    slope = bread @ xy
    rss = float(whole[-1, -1] - slope @ xy)
    scores = products[:, :-1, -1] - products[:, :-1, :-1] @ slope
    solved = Solved(slope, bread, max(rss, 0.0), n)
    return Directions(solved.clustered(scores.T @ scores, sums.height), sums.height, n, xx)


def _products(sums: pl.DataFrame, many: int) -> Array:
    """Take the products out of sums, shape (golfers, many, many)."""
    made = np.empty((sums.height, many, many))
    for k in range(many):
        for m in range(k, many):
            made[:, k, m] = made[:, m, k] = sums.get_column(f"{k}*{m}").to_numpy()
    return made


@dataclass(frozen=True)
class MeanDelivery:
    """The drives' mean club speed, mph, and angles, deg, at which slopes by impact and geometry are given."""

    club_speed_mph: float
    attack_deg: float
    launch_deg: float
    plane_deg: float

    @property
    def loft_deg(self) -> float:
        """Dynamic loft by rigid impact."""
        return self.attack_deg + float(loft_difference_deg(self.launch_deg - self.attack_deg))

    def by_impact(self) -> dict[tuple[str, str], float]:
        """Give the slopes by rigid impact, of path on attack by geometry, by response and predictor."""
        share = float(face_share(self.attack_deg, self.loft_deg))
        step = 0.1
        turn = path_turn_deg(self.attack_deg + np.array([-step, step]), self.plane_deg)
        return {
            ("launch_side_deg", "face_deg"): share,
            ("launch_side_deg", "path_deg"): 1 - share,
            ("spin_axis_deg", "face_to_path_deg"): self._axis_slope(0.0),
            ("spin_axis_deg", "face_to_path_by_loft"): (self._axis_slope(step) - self._axis_slope(-step)) / (2 * step),
            ("path_deg", "attack_deg"): float(turn[1] - turn[0]) / (2 * step),
        }

    def _axis_slope(self, more_loft_deg: float) -> float:
        sides = np.array([-1.0, 1.0])
        loft = self.loft_deg + more_loft_deg
        axis = strike_in_space(self.club_speed_mph * MPS_PER_MPH, self.attack_deg, loft, 0.0, sides).spin_axis_deg
        return float(axis[1] - axis[0]) / 2


@dataclass(frozen=True)
class DirectionModel:
    """What a study's drives say of directions.

    Attributes
    ----------
    fits : dict of DirectionFit to Directions
    impact : dict
        Slopes by rigid impact or geometry, by response and predictor.
    """

    fits: dict[DirectionFit, Directions]
    impact: dict[tuple[str, str], float]

    def beside_impact(self, fit: DirectionFit) -> Array:
        """Give what a fit's slopes have beside those by impact; nil where they aren't used."""
        fitted = self.fits[fit].fitted
        if fitted is None or not self.used(fit):
            return np.zeros(len(fit.predictors))
        return fitted.coefficients - [self.impact[fit.response, name] for name in fit.predictors]

    def used(self, fit: DirectionFit) -> bool:
        """Whether golfers' expected start or axis go by a fit: known well enough, and by readings that add up."""
        if fit not in (START, AXIS) or not self._hardly_flattened():
            return False
        fitted = self.fits[fit].fitted
        first = abs(self.impact[fit.response, fit.predictors[0]])
        return fitted is not None and bool(fitted.std_errors[0] < LOFT_DOUBT * first)

    def _hardly_flattened(self) -> bool:
        lost, error = self.flattened()
        return abs(lost) + error <= SHARE_DOUBT

    def flattened(self) -> tuple[float, float]:
        """Give what errors of the face's readings take from its share of the start, and the standard error of that.

        NaN where it can't be told.

        With errors of the face alone, its slope keeps a part of the share, and the path, with which the face goes by
        some slope, takes over that much of the lost part: the rest is missing from the sum of both slopes. Errors don't
        flatten the slope of face on path, for there the face is the response.
        """
        found = self.fits[START]
        if found.fitted is None:
            return np.nan, np.nan
        beside = 1 - found.xx[0, 1] / found.xx[1, 1]
        lost = (1 - found.fitted.coefficients.sum()) / beside
        return float(lost), float(np.sqrt(found.fitted.covariance.sum()) / abs(beside))


def mean_delivery(drives: pl.DataFrame) -> pl.DataFrame:
    """Sum up what `MeanDelivery` averages over the drives with attack and path; sums of parts add up."""
    known = drives.drop_nulls("attack_deg")
    return known.select(
        pl.len().cast(pl.Int64).alias("n"),
        pl.col("club_speed_mph", "attack_deg", "launch_deg").sum(),
        pl.col("plane_deg").fill_null(USUAL_PLANE_DEG).sum(),
    )


def fit_directions(sums: dict[DirectionFit, pl.DataFrame], totals: pl.DataFrame) -> DirectionModel | None:
    """Fit all that directions go with; None without drives that have attack and path.

    Parameters
    ----------
    sums : dict of DirectionFit to DataFrame
        From `DirectionFit.sums`, of all golfers.
    totals : DataFrame
        From `mean_delivery`, one row per part of the drives.

    Returns
    -------
    DirectionModel or None
    """
    whole = totals.sum()
    n = whole.get_column("n").item() or 0
    if n == 0:
        return None
    mean = MeanDelivery(*(whole.get_column(name).item() / n for name in MeanDelivery.__dataclass_fields__))
    if mean.launch_deg <= mean.attack_deg:
        return None  # no impact that makes the launch
    fits = {fit: fit_within(sums[fit], len(fit.predictors)) for fit in FITS}
    return DirectionModel(fits, mean.by_impact())


def directions_table(model: DirectionModel | None, worth: float | None) -> pl.DataFrame:
    """Gather the rows of `DeliverySlopes` about directions; none where nothing could be fitted.

    Parameters
    ----------
    model : DirectionModel or None
    worth : float or None
        Share of the variance of attack's readings that is no error, which flattens the slope of path; None: not known.
    """
    rows = []
    for fit, found in ({} if model is None else model.fits).items():
        if model is None or found.fitted is None:
            continue
        for k, name in enumerate(fit.predictors):
            if name in fit.shown:
                read, reach = float(found.fitted.coefficients[k]), float(found.reach[k])
                reliability = worth if fit is PATH else None
                kept = reliability or 1.0
                row = {"response": fit.response, "predictor": name, "golfers": found.golfers, "drives": found.drives}
                row |= {"as_read": read, "slope": read / kept, "std_error": float(found.fitted.std_errors[k]) / kept}
                row |= {"lo90": (read - reach) / kept, "hi90": (read + reach) / kept, "reliability": reliability}
                row |= {"impact_slope": model.impact[fit.response, name], "used": model.used(fit)}
                rows.append(row | {"note": _note(fit, model, reliability is not None)})
    if not rows:
        return DeliverySlopes.create_empty()
    table = pl.DataFrame(rows, infer_schema_length=None).with_columns(
        pl.lit(None, pl.Float64).alias("golfer_sd"), pl.lit("within").cast(DeliverySlopes.scope.dtype).alias("scope")
    )
    return table.select(DeliverySlopes.column_names()).cast({"reliability": pl.Float64})


def _note(fit: DirectionFit, model: DirectionModel, corrected: bool) -> str:
    if fit is PATH:
        taken = "errors of attack's readings taken out" if corrected else "readings as they are"
        return f"{taken}; a golfer's own slope or geometry is used instead"
    note = "readings as they are: errors of face and path flatten it"
    if model.used(fit):
        return note
    return f"{note}; rigid impact is used instead"
