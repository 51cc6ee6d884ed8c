"""What a day's form adds to a golfer's figure, beside the luck of the drives.

The drives of one day are not independent: on a good day all of them are a little better. A golfer of two or three days
can't tell how much days differ, but all golfers together can: the variance between days is pooled over them, a golfer's
own days count as far as golfers are seen to differ in it, and each figure has the error that this gives for the days on
which its drives were struck.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import KEYS, Drives
from pipeline.fit.usual_delivery import MEDIAN_VARIANCE
from pipeline.statistics.arrays import Array
from pipeline.statistics.shrinkage import moderated_variance, paule_mandel

# Of a normal distribution: standard deviation over median absolute deviation, and the share of the drives that the
# median absolute deviation makes use of (Rousseeuw and Croux, J. Am. Stat. Assoc. 88 (1993) 1273).
NORMAL_OVER_MAD = 1.4826
MAD_EFFICIENCY = 0.37
# Squared, it is the variance to 6 % from ten drives on (by simulation), a little low.

# The median of few normal drives is a little better than pi / (2 n) of their variance: pi / (2 n + pi - 2), which is
# right for one drive and to 6 % from twelve on (by simulation), a little high.
MEDIAN_MORE = MEDIAN_VARIANCE - 1

# Days tell how much they differ where a golfer's quarter has this many drives more than days: with fewer, the spread
# within days is too unsure to be divided by.
MIN_SPARE_DRIVES = 10

# Days of one quarter are asked alone from this many degrees of freedom on: the variance between days is then known to
# half of itself (root of 2 / 8). With fewer, a golfer's quarters are taken together, and what golfers truly gained or
# lost between them counts as form. A reason alone: its sensitivity was not measured.
MIN_FREEDOM = 8

# What is assumed of a day's form counts as much as this many degrees of freedom: known to within a factor of two or so
# (root of 2 / 4 is 0.7). Days that tell something have it outweighed soon: seventy golfers of two days by 1 to 7.
ASSUMED_FREEDOM = 4.0

# A day's form is worth a note from this share of its variance on: a tenth is ten days with as many drives each.
EXPOSED_FROM = 0.1

# A quarter stands for a day from this exposure on: what of a day's variance its figure has. Two days as long have 0.5.
OF_A_DAY = 0.6

FORM = ("form_variance", "form_freedom")

# days: of one quarter. quarters: of several quarters together. assumed: taken from the study's settings. unknown: none.
Source = Literal["days", "quarters", "assumed", "unknown"]


@dataclass(frozen=True)
class DayForm:
    """What a day adds to all of a golfer's drives of it.

    Attributes
    ----------
    variance : float
        Between a golfer's days, pooled, in squared units of the measure; 0 where it can't be told.
    source : Source
        What tells it. From `quarters` it is too large rather than too small: real changes are in it.
    golfers : DataFrame
        Golfers whose days tell something: golfer, form_variance (their own days beside the pooled variance) and
        form_freedom, its degrees of freedom.
    others : tuple of float
        The two for all other golfers.
    """

    variance: float
    source: Source
    golfers: pl.DataFrame
    others: tuple[float, float]

    @property
    def told(self) -> bool:
        """Whether the logs show how a golfer's days differ."""
        return self.source in ("days", "quarters")

    def times(self, factor: float) -> "DayForm":
        """Give the same in other squared units."""
        golfers = self.golfers.with_columns(pl.col("form_variance") * factor)
        return DayForm(self.variance * factor, self.source, golfers, (self.others[0] * factor, self.others[1]))


def figure_errors(
    drives: pl.DataFrame | Drives, name: str, *, median: bool, size: float = 1.0, assumed: float = 0.0
) -> tuple[pl.DataFrame, DayForm]:
    """Work out the error of a mean or median of each golfer and quarter.

    Parameters
    ----------
    drives : DataFrame or Drives
        golfer, quarter, struck_on and the measure; null values are left out.
    name : str
        The measure's column.
    median : bool
        Whether the figure is the median of the drives; else their mean.
    size : float
        Tenths of it are taken as the step of the readings, below which no spread is believed.
    assumed : float
        Standard deviation of a day's form, in the measure's unit, to go by as far as days don't tell it; 0 is none.

    Returns
    -------
    errors : DataFrame
        One row per golfer and quarter with a value, sorted: days, own_variance (of the figure, if days were all alike)
        and own_freedom, both null for a single drive; form_variance and form_freedom (between the golfer's days),
        exposure (what of form_variance is added to own_variance) and known (drives used).
    form : DayForm

    Notes
    -----
    A mean has the sample variance of its drives over their number n. A median has about pi / 2 times the variance of
    normal drives of the same median absolute deviation, steadied by that of the other golfers, over n, so that mishits
    hardly count.
    With shares w of the drives on each day and W the sum of their squares, a variance between days B adds B W to the
    error but is also in the sample variance; left to add is B (n W - 1) / (n - 1): zero where each drive has a day of
    its own, all of B where there is one day, be it of one drive.
    """
    values = Drives.of(drives).mapped(
        lambda frame: frame.select(*KEYS, "struck_on", (pl.col(name) / size).alias("value")).drop_nulls("value")
    )
    # Groups in order throughout: in what order numbers are summed shows in the last digit.
    by_day = [*KEYS, "struck_on"]
    days = values.gathered(lambda frame: frame.group_by(by_day, maintain_order=True).agg(pl.len().alias("n")))
    spread = days.group_by(KEYS, maintain_order=True).agg(
        pl.len().cast(pl.Int64).alias("days"),
        pl.col("n").sum().cast(pl.Int64).alias("known"),
        ((pl.col("n") / pl.col("n").sum()) ** 2).sum().alias("share"),
    )
    spread = spread.join(_of_a_drive(values, median=median), on=KEYS).sort(KEYS)
    n, several = pl.col("known"), pl.col("known") > 1
    shown = pl.when(several).then((n * pl.col("share") - 1) / (n - 1)).otherwise(1.0)
    spread = spread.with_columns(
        pl.when(several).then(pl.col("variance") / (n + MEDIAN_MORE * median)).alias("own_variance"),
        pl.when(several).then(pl.col("freedom")).alias("own_freedom"),
        shown.clip(0).alias("exposure"),
    )
    if median:
        # What a drive adds to the error of a median: which side of it the drive lies on, times the same for all.
        side = (pl.col("value") - pl.col("middle")).sign() * pl.col("variance").sqrt()
        sides = spread.select(*KEYS, "middle", "variance")
        values = values.mapped(
            lambda frame: frame.join(sides, on=KEYS, maintain_order="left").select(*by_day, side.alias("value"))
        )
    spread = spread.with_columns(pl.col("quarter").cast(pl.String))
    form = _form_of(_days_of(values), _quarters_of(spread), (assumed / size) ** 2).times(size**2)
    usual = (pl.col(name).fill_null(value) for name, value in zip(FORM, form.others, strict=True))
    errors = spread.join(form.golfers, on="golfer", how="left").with_columns(usual)
    own = pl.col("own_variance") * size**2
    return errors.select(*KEYS, "days", "known", own, "own_freedom", "exposure", *FORM), form


def _of_a_drive(values: Drives, *, median: bool) -> pl.DataFrame:
    """Give the figure, the variance by which a drive enters its error, and the degrees of freedom of that."""
    value, n = pl.col("value"), pl.len()
    if not median:
        plain = (value.mean().alias("middle"), value.var().alias("variance"), (n - 1.0).alias("freedom"))
        return values.gathered(lambda frame: frame.group_by(KEYS, maintain_order=True).agg(*plain))
    off = (value - value.median()).abs().median() * NORMAL_OVER_MAD
    # Coarse readings may have most drives on the median itself; the plain spread is the better guess then.
    wide = pl.when(off > 0).then(off).otherwise(value.std())
    robust = (value.median().alias("middle"), wide.alias("off"), n.alias("n"))
    found = values.gathered(lambda frame: frame.group_by(KEYS, maintain_order=True).agg(*robust)).sort(KEYS)
    counts = found.get_column("n").to_numpy()
    worth = (1 + np.maximum(np.rint(MAD_EFFICIENCY * (counts - 1.0)), 1)).astype(np.int64)
    spread = np.where(counts > 1, found.get_column("off").cast(pl.Float64).to_numpy(), np.nan)
    variance, freedom = moderated_variance(spread**2, np.where(counts > 1, worth, 1))
    return found.select(
        *KEYS, "middle", pl.Series("variance", MEDIAN_VARIANCE * variance), pl.Series("freedom", freedom)
    )


def between_days(values: pl.DataFrame | Drives, assumed: float = 0.0) -> DayForm:
    """Estimate the variance between a golfer's days of one quarter, pooled over golfers and quarters.

    Parameters
    ----------
    values : DataFrame or Drives
        golfer, quarter, struck_on, value: one row a drive.
    assumed : float
        Variance to go by as far as days don't tell it; 0 is none.

    Notes
    -----
    The variance at which the squares of day means about their golfer's mean, each over its variance, are what chance
    makes them (`paule_mandel`), so that golfers count by how well they tell it. One over a sample variance of f degrees
    of freedom is too large by f / (f - 2) in the mean; that is taken out, to second order where the days' own variance
    adds to it. How far a golfer's own days scatter more or less than that is then steadied by the other golfers'
    (`moderated_variance`): where golfers differ no more than chance, all have the pooled variance.
    """
    days = _days_of(values)
    return _form_of(days, days.clear(), assumed)


def _form_of(days: pl.DataFrame, quarters: pl.DataFrame, assumed: float) -> DayForm:
    """Take the form from days, or where hardly a quarter has several of them from golfers' quarters.

    From quarters all golfers have the pooled variance: a golfer whose figure really moved would else count that as form
    and never be told of it.
    """
    alone = _free(days) >= MIN_FREEDOM or _free(quarters) <= _free(days)
    found = days if alone else quarters
    if found.is_empty():
        freedom = ASSUMED_FREEDOM if assumed > 0 else np.inf
        return _alike(found, assumed, "assumed" if assumed > 0 else "unknown", freedom)
    return _pooled(found, assumed, "days" if alone else "quarters")


def _days_of(values: pl.DataFrame | Drives) -> pl.DataFrame:
    """Give the days of quarters that tell how much they differ: golfer, group, middle, error, spare, exposure."""
    of_a_day = (
        pl.col("value").mean().alias("middle"),
        (pl.col("value").var(ddof=0) * pl.len()).alias("squares"),
        pl.len().cast(pl.Float64).alias("n"),
    )
    by_day = [*KEYS, "struck_on"]
    days = Drives.of(values).gathered(lambda frame: frame.group_by(by_day, maintain_order=True).agg(*of_a_day))
    found = days.with_columns(
        pl.len().over(KEYS).alias("days"),
        pl.col("n").sum().over(KEYS).alias("all"),
        pl.col("squares").sum().over(KEYS).alias("within"),
    ).with_columns((pl.col("all") - pl.col("days")).alias("spare"))
    telling = (pl.col("days") > 1) & (pl.col("spare") >= MIN_SPARE_DRIVES) & (pl.col("within") > 0)
    error = pl.col("within") / pl.col("spare") / pl.col("n")
    return _grouped(found.filter(telling).sort(by_day), KEYS, error, "spare", pl.lit(1.0))


def _quarters_of(figures: pl.DataFrame) -> pl.DataFrame:
    """Give the quarters of golfers who have several, each of about a day, with the columns of `_days_of`."""
    telling = (
        (pl.col("exposure") >= OF_A_DAY) & (pl.col("own_freedom") >= MIN_SPARE_DRIVES) & (pl.col("own_variance") > 0)
    )
    found = figures.filter(telling).filter(pl.len().over("golfer") > 1).sort(KEYS)
    return _grouped(found, ["golfer"], pl.col("own_variance"), "own_freedom", pl.col("exposure"))


def _grouped(found: pl.DataFrame, keys: list[str], error: pl.Expr, spare: str, exposure: pl.Expr) -> pl.DataFrame:
    group = pl.struct(keys).rank("dense").cast(pl.Int64) - 1
    return found.select(
        "golfer",
        group.alias("group"),
        "middle",
        error.alias("error"),
        pl.col(spare).cast(pl.Float64).alias("spare"),
        exposure.alias("exposure"),
    )


def _free(found: pl.DataFrame) -> int:
    """Count the days, or quarters, less one of each group."""
    return found.height - found.get_column("group").n_unique()


def _pooled(found: pl.DataFrame, assumed: float, source: Source) -> DayForm:
    """Pool the days' variance; see `between_days`."""
    group = found.get_column("group").to_numpy()
    middle, error, spare, exposure = (
        found.get_column(name).to_numpy() for name in ("middle", "error", "spare", "exposure")
    )
    most = float(np.var(middle)) or 1.0

    def squares(between: float) -> Array:
        return _squares(group, middle, exposure * between, error, spare)

    variance = paule_mandel(lambda between: float(squares(between).sum()), _free(found), most)
    days = np.bincount(group)[group]
    # How well the pooled variance is known: days' squares scatter like chi-squared, unsure days tell less.
    looked_at = max(variance, assumed)
    share = exposure * looked_at / (exposure * looked_at + error)
    pooled = float(np.sum(share**2 * (days - 1) / days))
    if assumed > 0:
        variance = (pooled * variance + ASSUMED_FREEDOM * assumed) / (pooled + ASSUMED_FREEDOM)
        pooled += ASSUMED_FREEDOM
    pooled = max(pooled, 1.0)
    if variance == 0 or source == "quarters":
        return _alike(found, variance, source, pooled if variance else np.inf)
    each = found.select("golfer", pl.Series("square", squares(variance)))
    each = each.with_columns(pl.Series("freedom", (days - 1) / days))
    golfers = each.group_by("golfer", maintain_order=True).agg(pl.col("square", "freedom").sum()).sort("golfer")
    freedom = np.append(np.rint(golfers.get_column("freedom").to_numpy()), 0).astype(np.int64)
    ratio = np.append(golfers.get_column("square").to_numpy(), np.nan) / np.maximum(freedom, 1)
    ratio, worth = moderated_variance(ratio, freedom + 1)
    own, worth = variance * ratio, 1 / (1 / worth + 1 / pooled)
    table = golfers.select("golfer", pl.Series(FORM[0], own[:-1]), pl.Series(FORM[1], worth[:-1]))
    return DayForm(variance, source, table, (float(own[-1]), float(worth[-1])))


def _alike(found: pl.DataFrame, variance: float, source: Source, freedom: float) -> DayForm:
    """Give all golfers the same form."""
    empty = found.clear().select("golfer", *(pl.lit(None, pl.Float64).alias(name) for name in FORM))
    return DayForm(variance, source, empty, (variance, freedom))


def _squares(group: npt.NDArray[np.int64], middle: Array, between: Array, error: Array, spare: Array) -> Array:
    """Square each day's figure about its group's, over its variance: that between days and that by the drives."""
    total = between + error
    weight = (1 - 2 / spare * (error / total) ** 2) / total
    centre = np.bincount(group, weight * middle) / np.bincount(group, weight)
    return np.asarray(weight * (middle - centre[group]) ** 2)
