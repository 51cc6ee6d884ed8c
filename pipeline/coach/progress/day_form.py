"""How well a golfer's figure of a quarter is known, a day's form included.

The drives of one day are not independent: on a good day all of them are a little faster. A golfer of two or three days
can't tell how much days differ, but all golfers together can: the variance between days is pooled over them, a golfer's
own days count as far as golfers are seen to differ in it, and each figure has the error that this gives for the days on
which its drives were struck.
"""

from dataclasses import dataclass

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

FORM = ("form_variance", "form_freedom")


@dataclass(frozen=True)
class DayForm:
    """What a day adds to all of a golfer's drives of it.

    Attributes
    ----------
    variance : float
        Between a golfer's days, pooled, in squared units of the measure; 0 where it can't be told.
    told : bool
        Whether any golfer's days can tell it.
    golfers : DataFrame
        Golfers whose days tell something: golfer, form_variance (their own days beside the pooled variance) and
        form_freedom, its degrees of freedom.
    others : tuple of float
        The two for all other golfers.
    """

    variance: float
    told: bool
    golfers: pl.DataFrame
    others: tuple[float, float]

    def times(self, factor: float) -> "DayForm":
        """Give the same in other squared units."""
        golfers = self.golfers.with_columns(pl.col("form_variance") * factor)
        return DayForm(self.variance * factor, self.told, golfers, (self.others[0] * factor, self.others[1]))


def figure_errors(
    drives: pl.DataFrame | Drives, name: str, *, median: bool, size: float = 1.0
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

    Returns
    -------
    errors : DataFrame
        One row per golfer and quarter that has two drives or more, sorted: days, own_variance (of the figure, if days
        were all alike), freedom (of own_variance), form_variance and form_freedom (between the golfer's days),
        exposure (what of form_variance is added to own_variance) and known (drives used).
    form : DayForm

    Notes
    -----
    A mean has the sample variance of its drives over their number n. A median has about pi / 2 times the variance of
    normal drives of the same median absolute deviation, steadied by that of the other golfers, over n, so that mishits
    hardly count.
    With shares w of the drives on each day and W the sum of their squares, a variance between days B adds B W to the
    error but is also in the sample variance; left to add is B (n W - 1) / (n - 1): nil where each drive has a day of
    its own, all of B where there is one day.
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
    spread = spread.filter(pl.col("known") > 1).join(_of_a_drive(values, median=median), on=KEYS).sort(KEYS)
    n = pl.col("known")
    spread = spread.with_columns(
        (pl.col("variance") / (n + MEDIAN_MORE * median)).alias("own_variance"),
        ((n * pl.col("share") - 1) / (n - 1)).clip(0).alias("exposure"),
    )
    if median:
        # What a drive adds to the error of a median: which side of it the drive lies on, times the same for all.
        side = (pl.col("value") - pl.col("middle")).sign() * pl.col("variance").sqrt()
        sides = spread.select(*KEYS, "middle", "variance")
        values = values.mapped(
            lambda frame: frame.join(sides, on=KEYS, maintain_order="left").select(*by_day, side.alias("value"))
        )
    spread = spread.with_columns(pl.col("quarter").cast(pl.String))
    form = between_days(values).times(size**2)
    usual = (pl.col(name).fill_null(value) for name, value in zip(FORM, form.others, strict=True))
    errors = spread.join(form.golfers, on="golfer", how="left").with_columns(usual)
    own = pl.col("own_variance") * size**2
    return errors.select(*KEYS, "days", "known", own, "freedom", "exposure", *FORM), form


def _of_a_drive(values: Drives, *, median: bool) -> pl.DataFrame:
    """Variance by which a drive enters the figure's error, with its degrees of freedom; for a median its middle too."""
    value, n = pl.col("value"), pl.len()
    if not median:
        plain = (value.var().alias("variance"), (n - 1.0).alias("freedom"))
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


def between_days(values: pl.DataFrame | Drives) -> DayForm:
    """Estimate the variance between a golfer's days, pooled over golfers and quarters.

    Parameters
    ----------
    values : DataFrame or Drives
        golfer, quarter, struck_on, value: one row a drive.

    Notes
    -----
    The variance at which the squares of day means about their golfer's mean, each over its variance, are what chance
    makes them (`paule_mandel`), so that golfers count by how well they tell it. One over a sample variance of f degrees
    of freedom is too large by f / (f - 2) in the mean; that is taken out, to second order where the days' own variance
    adds to it. How far a golfer's own days scatter more or less than that is then steadied by the other golfers'
    (`moderated_variance`): where golfers differ no more than chance, all have the pooled variance.
    """
    of_a_day = (
        pl.col("value").mean().alias("mean"),
        (pl.col("value").var(ddof=0) * pl.len()).alias("var"),
        pl.len().cast(pl.Float64).alias("n"),
    )
    days = Drives.of(values).gathered(
        lambda frame: frame.group_by(*KEYS, "struck_on", maintain_order=True).agg(*of_a_day)
    )
    found = days.with_columns(
        pl.len().over(KEYS).alias("days"), pl.col("n").sum().over(KEYS).alias("all"), pl.col("var").sum().over(KEYS)
    ).with_columns((pl.col("all") - pl.col("days")).alias("spare"))
    telling = (pl.col("days") > 1) & (pl.col("spare") >= MIN_SPARE_DRIVES) & (pl.col("var") > 0)
    found = found.filter(telling).sort(*KEYS, "struck_on")
    if found.is_empty():
        return _alike(found, told=False)
    spare = found.get_column("spare").to_numpy()
    error = found.get_column("var").to_numpy() / spare / found.get_column("n").to_numpy()
    quarter = found.select(pl.struct(KEYS).rank("dense")).to_series().to_numpy().astype(np.int64) - 1
    mean = found.get_column("mean").to_numpy()
    free = len(mean) - quarter.max() - 1
    most = float(np.var(mean)) or 1.0
    variance = paule_mandel(lambda between: float(_squares(quarter, mean, between, error, spare).sum()), free, most)
    if variance == 0:
        return _alike(found, told=True)
    each = found.select("golfer", pl.Series("square", _squares(quarter, mean, variance, error, spare)))
    days = np.bincount(quarter)[quarter]
    each = each.with_columns(pl.Series("freedom", (days - 1) / days))
    golfers = each.group_by("golfer", maintain_order=True).agg(pl.col("square", "freedom").sum()).sort("golfer")
    # How well the pooled variance is known: days' squares scatter like chi-squared, unsure days tell less.
    pooled = max(float(np.sum((variance / (variance + error)) ** 2 * (days - 1) / days)), 1.0)
    freedom = np.append(np.rint(golfers.get_column("freedom").to_numpy()), 0).astype(np.int64)
    ratio = np.append(golfers.get_column("square").to_numpy(), np.nan) / np.maximum(freedom, 1)
    ratio, worth = moderated_variance(ratio, freedom + 1)
    own, worth = variance * ratio, 1 / (1 / worth + 1 / pooled)
    table = golfers.select("golfer", pl.Series(FORM[0], own[:-1]), pl.Series(FORM[1], worth[:-1]))
    return DayForm(variance, True, table, (float(own[-1]), float(worth[-1])))


def _alike(found: pl.DataFrame, *, told: bool) -> DayForm:
    empty = found.clear().select("golfer", *(pl.lit(None, pl.Float64).alias(name) for name in FORM))
    return DayForm(0.0, told, empty, (0.0, np.inf))


def _squares(quarter: npt.NDArray[np.int64], mean: Array, variance: float, error: Array, spare: Array) -> Array:
    """Square each day's mean about its golfer's and quarter's, over its variance: `variance` and that by the drives."""
    total = variance + error
    weight = (1 - 2 / spare * (error / total) ** 2) / total
    centre = np.bincount(quarter, weight * mean) / np.bincount(quarter, weight)
    return np.asarray(weight * (mean - centre[quarter]) ** 2)
