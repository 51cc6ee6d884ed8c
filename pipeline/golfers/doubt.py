"""How well a figure of a golfer's quarter, or its change, is known: the one place that says so.

A figure has the luck of its drives, what days add to all drives of them, and what it shares with other golfers' figures
(see `SharedErrors`). Each part comes with the degrees of freedom that it is known with; Satterthwaite's rule gives
those of the whole. Intervals, p-values, flags, ranks, changes, progress and goals all ask here.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import KEYS
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import MANY, welch_error

# What `figure_errors` gives of a figure, as a table has it; with a measure's name in front where it has several.
OWN = ("own_variance", "own_freedom", "exposure", "form_variance", "form_freedom")

Part = tuple[Array, Array]  # variances, and their degrees of freedom


@dataclass(frozen=True)
class Doubt:
    """Of n golfers' quarters what makes a figure unsure; all of shape (n,), NaN where it isn't known.

    Attributes
    ----------
    own_variance, own_freedom : ndarray
        Of the figure by the luck of the drives, in squared units of the figure.
    exposure : ndarray
        Share of a day's variance that the figure has beside that: 1 for one day, 0 where each drive has a day of its
        own.
    form_variance, form_freedom : ndarray
        Between the golfer's days.
    """

    own_variance: Array
    own_freedom: Array
    exposure: Array
    form_variance: Array
    form_freedom: Array

    @classmethod
    def of(cls, table: pl.DataFrame, measure: str = "", end: str = "") -> "Doubt":
        """Take it from columns such as `spin_own_variance_before`: a measure's name in front, what ends them behind."""
        names = (f"{measure}_{name}{end}" if measure else f"{name}{end}" for name in OWN)
        return cls(*(table.get_column(name).cast(pl.Float64).fill_null(np.nan).to_numpy() for name in names))

    def rows(self, rows: npt.NDArray[np.int64]) -> "Doubt":
        """Take some of the golfers' quarters."""
        return Doubt(*(values[rows] for values in vars(self).values()))

    @property
    def of_days(self) -> Part:
        """What days add to the figure's variance."""
        return self.exposure * self.form_variance, self.form_freedom

    def of_figure(self, *shared: Part) -> Part:
        """Give a figure's standard error and its degrees of freedom.

        Parameters
        ----------
        *shared : tuple of ndarray, each of shape (n,)
            Variances of errors that other golfers' figures have too, with their degrees of freedom.
        """
        zero = np.zeros_like(self.own_variance)
        # The drives' luck must be known and more than zero: drives all alike have no error that could be told.
        return welch_error((self.own_variance, self.own_freedom), (zero, zero + MANY), self.of_days, *shared)


def of_change(now: Doubt, then: Doubt, *shared: Part) -> Part:
    """Give the standard error of the change between two quarters, and its degrees of freedom.

    Parameters
    ----------
    now, then : Doubt
        Of the same golfers.
    *shared : tuple of ndarray, each of shape (n,)
        Variances of the change by errors that other golfers' figures have too, with their degrees of freedom.

    Notes
    -----
    A golfer's days are as different in one quarter as in the other: what they add is one figure, known with the same
    degrees of freedom for both.
    """
    days = now.of_days[0] + then.of_days[0]
    own = ((one.own_variance, one.own_freedom) for one in (now, then))
    return welch_error(*own, (days, now.form_freedom), *shared)


def with_doubt(figures: pl.DataFrame, errors: pl.DataFrame, shared: Part) -> pl.DataFrame:
    """Add how well yards lost are known.

    Parameters
    ----------
    figures : DataFrame
        golfer, quarter.
    errors : DataFrame
        From `figure_errors`.
    shared : tuple of ndarray, each of shape (n,)
        Variance that the figures have with other golfers', NaN where it isn't known, and its degrees of freedom.

    Returns
    -------
    DataFrame
        With days, the columns of `OWN`, shared_variance and shared_freedom, and std_error_yd with its freedom of them
        all; in the order of `figures`.
    """
    table = figures.join(errors.select(*KEYS, "days", *OWN), on=KEYS, how="left", maintain_order="left", validate="1:1")
    std_error, freedom = Doubt.of(table).of_figure(shared)
    freedom = np.where(np.isnan(std_error), np.nan, freedom)
    columns = {"shared_variance": shared[0], "shared_freedom": shared[1], "std_error_yd": std_error, "freedom": freedom}
    return table.with_columns(pl.Series(name, values, pl.Float64).fill_nan(None) for name, values in columns.items())
