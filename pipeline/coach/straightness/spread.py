"""How well the spread of a golfer's drives is known: mishits make it unsure, and so do days that differ."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.drives import KEYS, Drives
from pipeline.golfers.day_form import MEDIAN_MORE, figure_errors
from pipeline.golfers.doubt import OWN, Doubt
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import LEVEL

# Fewest drives of a quarter that tell how often drives are far off; the fourth cumulant of fewer says nothing.
MIN_TAIL_DRIVES = 8

# A flat distribution has -1.2, and no crowd of golfers is more compact: below it, luck speaks.
LEAST_EXCESS = -1.2


@dataclass(frozen=True)
class Spread:
    """Golfers' standard deviations, each of shape (n,), NaN where one can't be told.

    Attributes
    ----------
    value_yd : ndarray
        Of all drives that the golfer might have hit in the quarter, on whatever day.
    doubt : Doubt
        Of it, in squared yards.
    freedom : ndarray
        Its square is known as well as one of so many independent normal drives, and one more.
    """

    value_yd: Array
    doubt: Doubt
    freedom: Array

    @property
    def edges90(self) -> tuple[Array, Array]:
        """Lower and upper ends of the 90 % intervals: chi-square on `freedom`."""
        from scipy.special import chdtri

        tail = (1 - LEVEL) / 2
        low, high = (np.sqrt(self.freedom / chdtri(self.freedom, above)) for above in (tail, 1 - tail))
        return self.value_yd * low, self.value_yd * high


def spread_of(landings: Drives, means: pl.DataFrame) -> Spread:
    """Work out the spread of offline.

    Parameters
    ----------
    landings : Drives
        golfer, quarter, struck_on, offline_yd.
    means : DataFrame
        From `figure_errors` of the mean of offline: the golfers' quarters, and their order, that are asked for; with
        `squares`, the sample variance, yd^2.

    Returns
    -------
    Spread

    Notes
    -----
    The sample variance lacks what days add to the drives of each, as far as the quarter has few days: `exposure` of
    the variance between days is added. Its error is that of a mean of squares. Over its own square, the squares' luck
    is (excess + 2 n / (n - 1)) / n, with the excess kurtosis of all golfers together, since a golfer's own is known
    worse than the spread itself: mishits that didn't happen to come would make too sure (after Bonett, Comput. Stat.
    Data Anal. 50 (2006) 775, from memory, who averages it over samples). What days add to the squares, by their
    means or their spread, is estimated as for any figure (`figure_errors`).
    """
    own, between, exposure, freedom = (
        means.get_column(name).cast(pl.Float64).fill_null(np.nan).to_numpy()
        for name in ("squares", "form_variance", "exposure", "form_freedom")
    )
    n = means.get_column("known").cast(pl.Float64).to_numpy()
    sampled = np.where(own > 0, own, np.nan)
    added = exposure * between
    whole = sampled + added
    days = _days_of_squares(landings, means)
    luck = (excess_kurtosis(landings) + 2 * n / np.maximum(n - 1, 1)) / n
    share = sampled / whole
    # A sum of squares is known to twice its square over the degrees of freedom: so is what days add.
    parts = (luck * share**2, days.exposure * days.form_variance * share**2, 2 * (added / whole) ** 2 / freedom)
    relative = np.asarray(sum(np.nan_to_num(part) for part in parts))
    relative = np.where(np.isnan(whole), np.nan, relative)
    # Half the relative error of the square is that of the root. Squares scatter upwards: their logarithm, and with it
    # the root, has a little less than that, as that of a lognormal figure has.
    logarithm = np.log1p(relative)
    part = whole / 4 * logarithm / relative
    form = (days.form_variance * share**2 * part, days.form_freedom)
    doubt = Doubt((parts[0] + np.nan_to_num(parts[2])) * part, n - 1, days.exposure, *form)
    return Spread(np.sqrt(whole), doubt, 2 / logarithm)


def _days_of_squares(landings: Drives, means: pl.DataFrame) -> Doubt:
    """Give what days add to the mean of squares, each over the golfer's own variance."""
    about = means.select(*KEYS, "middle", "squares").filter(pl.col("squares") > 0)
    square = ((pl.col("offline_yd") - pl.col("middle")) ** 2 / pl.col("squares")).alias("square")
    squares = landings.mapped(
        lambda frame: frame.join(about, on=KEYS, maintain_order="left").select(*KEYS, "struck_on", square)
    )
    errors, _ = figure_errors(squares, "square", median=False)
    return Doubt.of(means.select(KEYS).join(errors.select(*KEYS, *OWN), on=KEYS, how="left", maintain_order="left"))


def excess_kurtosis(landings: Drives) -> float:
    """Say how heavy the tails of golfers' drives are, all golfers together: 0 is normal, mishits make it larger.

    Parameters
    ----------
    landings : Drives
        golfer, quarter, struck_on, offline_yd.

    Returns
    -------
    float
        Mean fourth cumulant over mean squared variance, both unbiased in a quarter (k-statistics: Fisher, Proc. Lond.
        Math. Soc. 30 (1930) 199, from memory). So that wild golfers don't decide alone, each one's drives are first
        divided by a scale that mishits don't move: the robust spread behind the error of a median. 0 where no quarter
        has enough drives.
    """
    robust, _ = figure_errors(landings, "offline_yd", median=True)
    scale = robust.select(*KEYS, (pl.col("own_variance") * (pl.col("known") + MEDIAN_MORE)).alias("scale"))
    found = landings.gathered(_moments).join(scale, on=KEYS, how="left", maintain_order="left")
    found = found.filter((pl.col("n") >= MIN_TAIL_DRIVES) & (pl.col("scale") > 0)).sort(KEYS)
    n, m2, m4, size = (found.get_column(name).to_numpy() for name in ("n", "m2", "m4", "scale"))
    fourth = n**2 * ((n + 1) * m4 - 3 * (n - 1) * m2**2) / ((n - 1) * (n - 2) * (n - 3))
    squared = ((m2 * n / (n - 1)) ** 2 - fourth / n) * (n - 1) / (n + 1)
    below = float(np.sum(n * squared / size**2))
    return max(float(np.sum(n * fourth / size**2)) / below, LEAST_EXCESS) if below > 0 else 0.0


def _moments(frame: pl.DataFrame) -> pl.DataFrame:
    """Give the number of drives and the second and fourth central moment by golfer and quarter."""
    off = pl.col("offline_yd") - pl.col("offline_yd").mean()
    moments = (pl.len().cast(pl.Float64).alias("n"), (off**2).mean().alias("m2"), (off**4).mean().alias("m4"))
    known = frame.drop_nulls("offline_yd").group_by(KEYS, maintain_order=True).agg(*moments)
    return known.with_columns(pl.col("quarter").cast(pl.String))
