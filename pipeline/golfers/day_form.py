"""What a day's form adds to a golfer's figure, beside the luck of the drives.

The drives of one day are not independent: on a good day all of them are a little better. A golfer of two or three days
can't tell how much days differ, but all golfers together can: the variance between days is pooled over them, a golfer's
own days count as far as golfers are seen to differ in it, and each figure has the error that this gives for the days on
which its drives were struck.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import KEYS, Drives
from pipeline.fit.usual_delivery import MEDIAN_VARIANCE
from pipeline.statistics.arrays import Array
from pipeline.statistics.shrinkage import Moderation, paule_mandel

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


def shows_days(source: Source) -> bool:
    """Say whether the logs show how a golfer's days differ."""
    return source in ("days", "quarters")


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
        return shows_days(self.source)

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
    figure = Figure("value", median)

    def own(frame: pl.DataFrame) -> FigureSums:
        return figure_sums(frame.select(*KEYS, "struck_on", (pl.col(name) / size).alias("value")), [figure])

    sums = FigureSums.joined(Drives.of(drives).each(own))
    pooled = pool(sums, figure, (assumed / size) ** 2)
    return errors_of(sums, figure, pooled, size)


@dataclass(frozen=True)
class Figure:
    """A mean or median of each golfer's quarter: the measure's column, and whether its median is meant."""

    name: str
    median: bool


@dataclass(frozen=True)
class FigureSums:
    """What golfers' own drives give of figures, before a golfer is seen beside others; no golfer depends on another.

    Attributes
    ----------
    quarters : DataFrame
        One row per golfer and quarter, sorted, with columns of each figure, its name in front: `_days`, `_known`
        (drives used), `_share` (sum of the squared shares of the drives on each day), `_middle` (the figure), `_spread`
        (of the drives: a variance where it is a mean, a standard deviation where it is a median).
    days : DataFrame
        One row per golfer, quarter and day, sorted: golfer, quarter and, of each figure, `_middle`, `_squares` (about
        it) and `_n`, of the drives' values where it is a mean. Where it is a median, they are of the side of it on
        which each drive lies.
    """

    quarters: pl.DataFrame
    days: pl.DataFrame

    @classmethod
    def joined(cls, parts: "Iterable[FigureSums]") -> "FigureSums":
        """Put those of several sets of golfers under each other."""
        found = list(parts)
        return cls(pl.concat([one.quarters for one in found]), pl.concat([one.days for one in found]))


def figure_sums(drives: pl.DataFrame, figures: Sequence[Figure]) -> FigureSums:
    """Sum up golfers' drives for figures.

    Parameters
    ----------
    drives : DataFrame
        golfer, quarter, struck_on and the figures' columns; all of a golfer's drives. Null values are left out.
    figures : sequence of Figure
    """
    # Groups in order throughout: in what order numbers are summed shows in the last digit.
    by_day = [*KEYS, "struck_on"]
    parts = [
        _sums_of(drives.select(*by_day, pl.col(one.name).alias("value")).drop_nulls("value"), one) for one in figures
    ]
    quarters, days = drives.select(KEYS).unique().sort(KEYS), drives.select(by_day).unique().sort(by_day)
    for of_quarters, of_days in parts:
        quarters = quarters.join(of_quarters, on=KEYS, how="left", maintain_order="left")
        days = days.join(of_days, on=by_day, how="left", maintain_order="left")
    return FigureSums(quarters, days.drop("struck_on"))


def _sums_of(values: pl.DataFrame, figure: Figure) -> tuple[pl.DataFrame, pl.DataFrame]:
    by_day, name = [*KEYS, "struck_on"], figure.name
    value, n = pl.col("value"), pl.col(f"{name}_n")
    of_drive, middle, spread = value, value.mean(), value.var()
    # What is worked out of each drive, or day, beside its group's is a column of its own before groups are summed up:
    # as a part of the sums it would be worked out group by group, which takes several times as long.
    if figure.median:
        values = values.with_columns(value.median().over(KEYS).alias("middle"))
        values = values.with_columns((value - pl.col("middle")).alias("off"))
        values = values.with_columns(pl.col("off").abs().alias("off_size"))
        # What a drive adds to the error of a median: which side of it the drive lies on, times the same for all.
        of_drive = pl.col("off").sign().cast(pl.Float64)
        middle, spread = pl.col("middle").first(), value.std()
    days = (
        values.select(*by_day, of_drive.alias("value"))
        .group_by(by_day, maintain_order=True)
        .agg(
            value.mean().alias(f"{name}_middle"),
            (value.var(ddof=0) * pl.len()).alias(f"{name}_squares"),
            pl.len().cast(pl.Int64).alias(f"{name}_n"),
        )
    )
    # By the inverse of the sum, and 1 where there is one day (49 times the inverse of 49 isn't).
    share = pl.when(n == n.sum().over(KEYS)).then(1.0).otherwise(n * (1 / n.sum().over(KEYS)))
    counted = (
        days.select(*KEYS, n, (share**2).alias("share"))
        .group_by(KEYS, maintain_order=True)
        .agg(
            pl.len().cast(pl.Int64).alias(f"{name}_days"),
            n.sum().alias(f"{name}_known"),
            pl.col("share").alias(f"{name}_share"),
        )
        # Added up one after another, as lists are: sums of groups make up for rounding, and differ in the last digit.
        .with_columns(pl.col(f"{name}_share").list.sum())
    )
    sums = {f"{name}_middle": middle, f"{name}_spread": spread.cast(pl.Float64)}
    if figure.median:
        sums["off"] = pl.col("off_size").median() * NORMAL_OVER_MAD
    own = values.group_by(KEYS, maintain_order=True).agg(**sums)
    if figure.median:
        # Coarse readings may have most drives on the median itself; the plain spread is the better guess then.
        off = pl.when(pl.col("off") > 0).then("off").otherwise(f"{name}_spread")
        own = own.select(*KEYS, f"{name}_middle", off.alias(f"{name}_spread"))
    return counted.join(own, on=KEYS), days


@dataclass(frozen=True)
class Pooled:
    """What all golfers together tell of a figure: all that one golfer's errors need of the others.

    Attributes
    ----------
    spread : Moderation or None
        What steadies the spread of a median's drives; None of a mean, which goes by the golfer's own.
    variance, source : float, Source
        As in `DayForm`, in the units of the sums.
    others : tuple of float
        As there.
    own : Moderation or None
        What steadies a golfer's own days; None where all have what `others` says.
    freedom : float
        With which `variance` is known.
    """

    spread: Moderation | None
    variance: float
    source: Source
    others: tuple[float, float]
    own: Moderation | None
    freedom: float


def pool(sums: FigureSums, figure: Figure, assumed: float = 0.0) -> Pooled:
    """Learn from all golfers how drives and days differ.

    Parameters
    ----------
    sums : FigureSums
        Of all golfers in their order. Of `golfer` any values in that order will do.
    figure : Figure
    assumed : float
        Variance of a day's form to go by as far as days don't tell it; 0 is none.

    Notes
    -----
    The form is taken from days, or where hardly a quarter has several of them from golfers' quarters. From quarters all
    golfers have the pooled variance: a golfer whose figure really moved would else count that as form and never be told
    of it.
    """
    spread = Moderation.of(*_spreads(sums.quarters, figure)) if figure.median else None
    figures = _figures(sums.quarters, figure, spread)
    return _pooled(_days_of(sums.days, figure, figures), _quarters_of(figures), assumed, spread)


def errors_of(sums: FigureSums, figure: Figure, pooled: Pooled, size: float = 1.0) -> tuple[pl.DataFrame, DayForm]:
    """Give golfers' errors, each golfer's without a look at another; see `figure_errors`.

    Parameters
    ----------
    sums : FigureSums
        Of some or all golfers.
    figure : Figure
    pooled : Pooled
        Of all golfers.
    size : float
        Unit of the sums, in that of the measure.
    """
    spread = _figures(sums.quarters, figure, pooled.spread)
    golfers = _alike(spread)
    if pooled.own is not None:
        golfers = _own_form(_days_of(sums.days, figure, spread), pooled)
    form = DayForm(pooled.variance, pooled.source, golfers, pooled.others).times(size**2)
    usual = (pl.col(name).fill_null(value) for name, value in zip(FORM, form.others, strict=True))
    spread = spread.with_columns(pl.col("quarter").cast(pl.String))
    errors = spread.join(form.golfers, on="golfer", how="left", maintain_order="left").with_columns(usual)
    own = pl.col("own_variance") * size**2
    return errors.select(*KEYS, "days", "known", own, "own_freedom", "exposure", *FORM), form


def _spreads(quarters: pl.DataFrame, figure: Figure) -> tuple[Array, npt.NDArray[np.int64]]:
    """Give squared standard deviations of medians' drives, and how many drives would show a variance as well."""
    counts = quarters.get_column(f"{figure.name}_known").fill_null(0).to_numpy()
    worth = (1 + np.maximum(np.rint(MAD_EFFICIENCY * (counts - 1.0)), 1)).astype(np.int64)
    spread = np.where(counts > 1, quarters.get_column(f"{figure.name}_spread").to_numpy(), np.nan)
    return spread**2, np.where(counts > 1, worth, 1)


def _figures(quarters: pl.DataFrame, figure: Figure, spread: Moderation | None) -> pl.DataFrame:
    """Give the golfers' quarters that have the figure: days, known, middle, variance, own_variance and so on."""
    there = quarters.filter(pl.col(f"{figure.name}_known").is_not_null())
    found = there.select(
        *KEYS, *(pl.col(f"{figure.name}_{one}").alias(one) for one in ("days", "known", "share", "middle"))
    )
    n, several = pl.col("known"), pl.col("known") > 1
    if spread is None:
        variance, freedom = there.get_column(f"{figure.name}_spread"), n - 1.0
    else:
        steadied = spread.steadied(*_spreads(there, figure))
        variance, freedom = pl.Series(MEDIAN_VARIANCE * steadied[0]), pl.lit(pl.Series(steadied[1]))
    shown = pl.when(several).then((n * pl.col("share") - 1) / (n - 1)).otherwise(1.0)
    return found.with_columns(variance.alias("variance"), freedom.alias("freedom")).with_columns(
        pl.when(several).then(pl.col("variance") / (n + MEDIAN_MORE * figure.median)).alias("own_variance"),
        pl.when(several).then(pl.col("freedom")).alias("own_freedom"),
        shown.clip(0).alias("exposure"),
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
    (`Moderation`): where golfers differ no more than chance, all have the pooled variance.
    """
    figure = Figure("value", median=False)
    sums = FigureSums.joined(Drives.of(values).each(lambda frame: figure_sums(frame, [figure])))
    figures = _figures(sums.quarters, figure, None)
    days = _days_of(sums.days, figure, figures)
    pooled = _pooled(days, days.clear(), assumed, None)
    golfers = _alike(figures) if pooled.own is None else _own_form(days, pooled)
    return DayForm(pooled.variance, pooled.source, golfers, pooled.others)


def _days_of(days: pl.DataFrame, figure: Figure, figures: pl.DataFrame) -> pl.DataFrame:
    """Give the days of quarters that tell how much they differ: golfer, group, middle, error, spare, exposure."""
    columns = [pl.col(f"{figure.name}_{one}").alias(one) for one in ("middle", "squares", "n")]
    found = days.select(*KEYS, *columns).drop_nulls("n").with_columns(pl.col("n").cast(pl.Float64))
    if figure.median:
        found = found.join(figures.select(*KEYS, "variance"), on=KEYS, how="left", maintain_order="left")
        found = found.with_columns(pl.col("middle") * pl.col("variance").sqrt(), pl.col("squares") * pl.col("variance"))
    # Added up one after the other, so that a golfer's sums are the same bytes whoever stands beside.
    run = found.select(pl.struct(KEYS).rle_id()).to_series().to_numpy()
    n, squares = (found.get_column(name).cast(pl.Float64).to_numpy() for name in ("n", "squares"))
    sums = {"days": np.bincount(run), "all": np.bincount(run, n), "within": np.bincount(run, squares)}
    found = found.with_columns(pl.Series(name, values[run]) for name, values in sums.items())
    found = found.with_columns((pl.col("all") - pl.col("days")).alias("spare"))
    telling = (pl.col("days") > 1) & (pl.col("spare") >= MIN_SPARE_DRIVES) & (pl.col("within") > 0)
    error = pl.col("within") / pl.col("spare") / pl.col("n")
    return _grouped(found.filter(telling), KEYS, error, "spare", pl.lit(1.0))


def _quarters_of(figures: pl.DataFrame) -> pl.DataFrame:
    """Give the quarters of golfers who have several, each of about a day, with the columns of `_days_of`."""
    telling = (
        (pl.col("exposure") >= OF_A_DAY) & (pl.col("own_freedom") >= MIN_SPARE_DRIVES) & (pl.col("own_variance") > 0)
    )
    found = figures.filter(telling).filter(pl.len().over("golfer") > 1)
    return _grouped(found, ["golfer"], pl.col("own_variance"), "own_freedom", pl.col("exposure"))


def _grouped(found: pl.DataFrame, keys: list[str], error: pl.Expr, spare: str, exposure: pl.Expr) -> pl.DataFrame:
    # Rows stand by golfer and quarter, so that groups are runs.
    group = pl.struct(keys).rle_id().cast(pl.Int64)
    return found.select(
        "golfer",
        group.alias("group"),
        pl.col("middle").cast(pl.Float64),
        error.alias("error"),
        pl.col(spare).cast(pl.Float64).alias("spare"),
        exposure.alias("exposure"),
    )


def _free(found: pl.DataFrame) -> int:
    """Count the days, or quarters, less one of each group."""
    return found.height - found.get_column("group").n_unique()


def _pooled(days: pl.DataFrame, quarters: pl.DataFrame, assumed: float, spread: Moderation | None) -> Pooled:
    """Pool the variance of days, or of quarters; see `pool` and `between_days`."""
    alone = _free(days) >= MIN_FREEDOM or _free(quarters) <= _free(days)
    found, source = (days, "days") if alone else (quarters, "quarters")
    if found.is_empty():
        freedom = ASSUMED_FREEDOM if assumed > 0 else np.inf
        return Pooled(spread, assumed, "assumed" if assumed > 0 else "unknown", (assumed, freedom), None, freedom)
    squares, exposure, error = _between(found), *(found.get_column(name).to_numpy() for name in ("exposure", "error"))
    most = float(np.var(found.get_column("middle").to_numpy())) or 1.0
    variance = paule_mandel(lambda between: float(squares(between).sum()), _free(found), most)
    group = found.get_column("group").to_numpy()
    days_of = np.bincount(group)[group]
    # How well the pooled variance is known: days' squares scatter like chi-squared, unsure days tell less.
    looked_at = max(variance, assumed)
    share = exposure * looked_at / (exposure * looked_at + error)
    pooled = float(np.sum(share**2 * (days_of - 1) / days_of))
    if assumed > 0:
        variance = (pooled * variance + ASSUMED_FREEDOM * assumed) / (pooled + ASSUMED_FREEDOM)
        pooled += ASSUMED_FREEDOM
    pooled = max(pooled, 1.0)
    if variance == 0 or source == "quarters":
        freedom = pooled if variance else np.inf
        return Pooled(spread, variance, source, (variance, freedom), None, freedom)  # type: ignore[arg-type]
    _, ratio, freedom_of = _own_ratios(found, variance)
    own = Moderation.of(ratio, freedom_of + 1)
    other, worth = own.steadied(np.array([np.nan]), np.array([1]))
    others = float(variance * other[0]), float(1 / (1 / worth[0] + 1 / pooled))
    return Pooled(spread, variance, "days", others, own, pooled)


def _own_form(days: pl.DataFrame, pooled: Pooled) -> pl.DataFrame:
    """Give golfers whose days tell something: golfer, form_variance, form_freedom."""
    assert pooled.own is not None
    golfers, ratio, freedom = _own_ratios(days, pooled.variance)
    steadied, worth = pooled.own.steadied(ratio, freedom + 1)
    own, known = pooled.variance * steadied, 1 / (1 / worth + 1 / pooled.freedom)
    return golfers.select("golfer", pl.Series(FORM[0], own), pl.Series(FORM[1], known))


def _own_ratios(days: pl.DataFrame, variance: float) -> tuple[pl.DataFrame, Array, npt.NDArray[np.int64]]:
    """Give how far golfers' own days scatter more than at a variance between days: golfers, ratios, freedom."""
    group = days.get_column("group").to_numpy()
    days_of = np.bincount(group)[group]
    golfer = days.get_column("golfer").rle_id().to_numpy()
    freedom = np.rint(np.bincount(golfer, (days_of - 1) / days_of)).astype(np.int64)
    ratio = np.bincount(golfer, _between(days)(variance)) / np.maximum(freedom, 1)
    return days.select(pl.col("golfer").unique(maintain_order=True)), ratio, freedom


def _between(found: pl.DataFrame) -> Callable[[float], Array]:
    """Give the squares of days, or quarters, by the variance between them."""
    group, middle, error, spare, exposure = (
        found.get_column(name).to_numpy() for name in ("group", "middle", "error", "spare", "exposure")
    )
    return lambda between: _squares(group, middle, exposure * between, error, spare)


def _alike(found: pl.DataFrame) -> pl.DataFrame:
    """Give no golfer a form of the own."""
    return found.clear().select("golfer", *(pl.lit(None, pl.Float64).alias(name) for name in FORM))


def _squares(group: npt.NDArray[np.int64], middle: Array, between: Array, error: Array, spare: Array) -> Array:
    """Square each day's figure about its group's, over its variance: that between days and that by the drives."""
    total = between + error
    weight = (1 - 2 / spare * (error / total) ** 2) / total
    centre = np.bincount(group, weight * middle) / np.bincount(group, weight)
    return np.asarray(weight * (middle - centre[group]) ** 2)
