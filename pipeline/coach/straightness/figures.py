"""Mean, spread, corridor and landing ellipse of each golfer's quarter."""

import numpy as np
import polars as pl

from pipeline.coach.straightness.other_flights import flight_error
from pipeline.coach.straightness.spread import spread_of
from pipeline.drives import KEYS, Drives
from pipeline.golfers.day_form import DayForm, figure_errors
from pipeline.golfers.doubt import OWN, Doubt
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import LEVEL, Estimate

MEAN, SPREAD = "offline_mean", "offline_sd"

# The long axis has no direction where the squared axes differ by no more than this from their mean: a circle.
ROUND = 1e-6


def figures_of(
    landings: Drives, corridor_yd: float, counts: pl.DataFrame | None = None
) -> tuple[pl.DataFrame, DayForm]:
    """Work out the figures of every golfer and quarter that has a known offline.

    Parameters
    ----------
    landings : Drives
        From `landings_of`.
    corridor_yd : float
        Full width of the corridor about the target line.
    counts : DataFrame, optional
        golfer, quarter and what other flights say of the mean offline, by which its interval is wider (`flight_error`).

    Returns
    -------
    figures : DataFrame
        One row each, sorted: golfer, quarter, known, days, the figures of the table `Straightness` with their
        intervals, and the columns of `OWN` behind offline_mean_ and offline_sd_.
    form : DayForm
        What a day adds to the offline of all its drives.
    """
    errors, form = figure_errors(landings, "offline_yd", median=False)
    plain = landings.gathered(lambda frame: _moments(frame, corridor_yd))
    table = errors.join(plain, on=KEYS, how="left", maintain_order="left", validate="1:1")
    spread = spread_of(landings, table)
    mean = table.get_column("middle").to_numpy()
    shared = [] if counts is None else [flight_error(_in_rows_of(table, counts))]
    columns = _with_ends("offline_mean", Estimate(mean, *Doubt.of(table).of_figure(*shared)), "_yd")
    columns |= dict(zip(_names("offline_sd", "_yd"), (spread.value_yd, *spread.edges90), strict=True))
    share = (table.get_column("inside").to_numpy(), *_corridor_ends(landings, table, corridor_yd))
    columns |= dict(zip(_names("in_corridor_share", ""), share, strict=True))
    columns |= _ellipse(table)
    for name, doubt in ((MEAN, Doubt.of(table)), (SPREAD, spread.doubt)):
        columns |= {f"{name}_{part}": values for part, values in zip(OWN, vars(doubt).values(), strict=True)}
    made = [pl.Series(name, values, pl.Float64).fill_nan(None) for name, values in columns.items()]
    return table.select(*KEYS, "known", "days", "carry_yd", *made), form


def _moments(frame: pl.DataFrame, corridor_yd: float) -> pl.DataFrame:
    """Give means, variances and the covariance of offline and carry, and the share inside the corridor."""
    offline, carry = pl.col("offline_yd"), pl.col("carry_yd")
    return (
        frame.drop_nulls("offline_yd")
        .group_by(KEYS, maintain_order=True)
        .agg(
            offline.mean().alias("middle"),
            offline.var().alias("squares"),
            carry.mean(),
            carry.var().alias("carry_squares"),
            pl.cov(offline, carry).alias("together"),
            _inside(corridor_yd).mean().alias("inside"),
        )
        .with_columns(pl.col("quarter").cast(pl.String))
    )


def _inside(corridor_yd: float) -> pl.Expr:
    return (pl.col("offline_yd").abs() <= corridor_yd / 2).cast(pl.Float64)


def _in_rows_of(table: pl.DataFrame, counts: pl.DataFrame) -> pl.DataFrame:
    text = counts.with_columns(pl.col("quarter").cast(pl.String))
    return table.select(KEYS).join(text, on=KEYS, how="left", maintain_order="left", validate="1:1")


def _names(figure: str, unit: str) -> tuple[str, str, str]:
    return f"{figure}{unit}", f"{figure}_lo90{unit}", f"{figure}_hi90{unit}"


def _with_ends(figure: str, estimate: Estimate, unit: str) -> dict[str, Array]:
    return dict(zip(_names(figure, unit), (estimate.value, *estimate.edges90), strict=True))


def _corridor_ends(landings: Drives, table: pl.DataFrame, corridor_yd: float) -> tuple[Array, Array]:
    """Give the 90 % interval of the share inside the corridor: Wilson's, on as many drives as the days leave.

    Drives of one day go the same way: with an intraclass correlation r, pooled over golfers, n drives tell as much as
    n / (1 + exposure (n - 1) r) of days of their own (the design effect: Kish, Survey Sampling (1965), from memory).
    """
    from statsmodels.stats.proportion import proportion_confint

    inside = landings.mapped(
        lambda frame: frame.drop_nulls("offline_yd").select(*KEYS, "struck_on", _inside(corridor_yd).alias("inside"))
    )
    _, form = figure_errors(inside, "inside", median=False)
    share, n, exposure = (
        table.get_column(name).cast(pl.Float64).to_numpy() for name in ("inside", "known", "exposure")
    )
    scatter = float(np.sum(n * share * (1 - share)) / np.sum(n)) if len(n) else 0.0
    alike = min(form.variance / scatter, 1.0) if scatter > 0 else 0.0
    worth = n / (1 + exposure * (n - 1) * alike)
    low, high = proportion_confint(share * worth, worth, alpha=1 - LEVEL, method="wilson")
    return np.clip(low, 0, share), np.clip(high, share, 1)


def _ellipse(table: pl.DataFrame) -> dict[str, Array]:
    """Give the axes of the covariance ellipse of carry and offline, in standard deviations, and its tilt.

    The tilt is that of the long axis against the target line: to the right is positive, from -90 to 90 deg.
    """
    across, along, together = (
        table.get_column(name).cast(pl.Float64).fill_null(np.nan).to_numpy()
        for name in ("squares", "carry_squares", "together")
    )
    middle, reach = (along + across) / 2, np.hypot((along - across) / 2, together)
    long, short = np.sqrt(middle + reach), np.sqrt(np.maximum(middle - reach, 0))
    tilt = np.degrees(np.arctan2(2 * together, along - across) / 2)
    return {
        "long_axis_yd": long,
        "short_axis_yd": short,
        "axis_tilt_deg": np.where(reach > ROUND * middle, tilt, np.nan),
    }
