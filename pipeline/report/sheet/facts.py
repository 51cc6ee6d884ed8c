"""What a golfer's sheet is made from: which sheets there are, and where each golfer stands in the band."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

import dataframely as dy
import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.bands import at_centre
from pipeline.benchmark.chart import answered_outlines, reachable_at
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.benchmark.window import Window
from pipeline.drives import KEYS, Drives
from pipeline.fit.model import CarryModel
from pipeline.golfers.order import newest_and_worst_first
from pipeline.statistics.arrays import Array, Flags
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers

MOST_DOTS = 150  # drives drawn on one sheet; more would be one blot


def band_column(golfers: pl.DataFrame, bands: SpeedBands) -> pl.Series:
    """Give the centre of each golfer's band, mph, as `band_mph`; null outside every band."""
    return pl.Series("band_mph", bands.band_of(golfers["club_speed_mph"].to_numpy()), dtype=pl.Float64).fill_nan(None)


def moved_to_centre(typical: pl.DataFrame, model: CarryModel, roller: Roller, bands: SpeedBands) -> pl.DataFrame:
    """Move each golfer's typical carry to the centre of the golfer's band, as the band table does.

    Parameters
    ----------
    typical : DataFrame
        One row per golfer and quarter, from `pipeline.benchmark.bands.golfers_by_quarter`.
    model : CarryModel
    roller : Roller
    bands : SpeedBands

    Returns
    -------
    DataFrame
        golfer, quarter, band_mph and moved_yd; golfers outside every band are left out.
    """
    placed = typical.with_columns(band_column(typical, bands))
    parts = []
    for centre in bands.centres_mph:
        here = placed.filter(pl.col("band_mph") == centre)
        if here.height:
            carry, _ = at_centre(model, here, centre, roller)
            parts.append(here.select(pl.col(KEYS).cast(pl.String), "band_mph", carry.alias("moved_yd")))
    schema = {"golfer": pl.String, "quarter": pl.String, "band_mph": pl.Float64, "moved_yd": pl.Float64}
    return pl.concat([pl.DataFrame(schema=schema), *parts]).sort(KEYS)


def sheet_rows(
    golfers: dy.DataFrame[Golfers],
    bands: dy.DataFrame[BandTable],
    moved: pl.DataFrame,
    *,
    sheets: str,
    speed_bands: SpeedBands,
) -> pl.DataFrame:
    """List the sheets to be made with what the tables say of each golfer and band.

    Parameters
    ----------
    golfers, bands : DataFrame
        All quarters.
    moved : DataFrame
        From `moved_to_centre`.
    sheets : str
        flagged or all.
    speed_bands : SpeedBands

    Returns
    -------
    DataFrame
        One row per sheet: the columns of `Golfers`, `band_mph`, `moved_yd`, and the columns of the golfer's row of
        `BandTable` with `band_` before their names. Newest quarter first; in it the flagged, the worst first.
        Of a suppressed band nothing is told of its golfers.
    """
    chosen = golfers if sheets == "all" else golfers.filter("flagged")
    chosen = chosen.with_columns(
        band_column(chosen, speed_bands),
        pl.col("main_cause", "status").cast(pl.String),
    )
    keys = ["quarter", "band_mph"]
    table = bands.rename({name: f"band_{name}" for name in bands.columns if name not in keys})
    of_golfers = pl.col("^band_(carry|total)_p[0-9]+_yd$", "band_golfers", "band_shots", "band_in_window_share")
    table = table.with_columns(pl.when(~pl.col("band_suppressed")).then(of_golfers))
    joined = chosen.join(table, on=keys, how="left").join(moved, on=[*KEYS, "band_mph"], how="left", validate="1:1")
    return newest_and_worst_first(joined)


@dataclass(frozen=True)
class Target:
    """What is efficient at one club speed.

    Attributes
    ----------
    launch_deg, spin_rpm : float
        The delivery that gives efficient carry.
    window : Window or None
    speed_ratio : float or None
        What the better quarter of golfers reach; None where ball speed is not known.
    carry_yd : float
        Efficient carry.
    answered : tuple of ndarray, shape (k, 2)
        Outlines, launch and spin, which together hold the deliveries for which the lookup answers at this speed.
    reach : tuple of ndarray, shapes (m,), (n,) and (m, n), or None
        Launches and spins of a grid, and which of its points golfers of this speed reach.
    expected : callable or None
        Gives expected carry, yd, shape (m, n), over a grid of launches (m) and spins (n).
    """

    launch_deg: float
    spin_rpm: float
    window: Window | None
    speed_ratio: float | None
    carry_yd: float = np.nan
    answered: tuple[Array, ...] = ()
    reach: tuple[Array, Array, Flags] | None = None
    expected: Callable[[Array, Array], Array] | None = None


def target_at(frontier: Frontier, model: CarryModel, club_speed_mph: float) -> Target | None:
    """Give what is efficient at a club speed, as `yardband lookup` does; None where the benchmarks don't reach."""
    if not frontier.reaches(club_speed_mph):
        return None
    best = frontier.best_delivery(club_speed_mph, np.nan)
    ratio = float(model.ratio(best, "better")) if model.by_ball_speed else None
    return Target(
        float(best.launch_deg),
        float(best.spin_rpm),
        frontier.window_at(club_speed_mph),
        ratio,
        float(frontier.at("carry_yd", club_speed_mph)),
        tuple(answered_outlines(frontier, club_speed_mph)),
        (frontier.reach.launch_deg, frontier.reach.spin_rpm, reachable_at(frontier, club_speed_mph)),
        partial(model.better_on_grid, club_speed_mph),
    )


def drives_of(drives: pl.DataFrame | Drives, chosen: pl.DataFrame) -> dict[tuple[str, str], pl.DataFrame]:
    """Pick the drives to draw by golfer and quarter.

    Parameters
    ----------
    drives : DataFrame or Drives
        All drives: golfer, quarter, launch_deg, spin_rpm, spin_measured.
    chosen : DataFrame
        Golfers and quarters with a sheet.

    Returns
    -------
    dict of tuple to DataFrame
        launch_deg and spin_rpm, evenly thinned where there are many. Guessed spins are left out.
    """
    measured = pl.col("spin_measured").fill_null(True)
    named = Drives.of(drives).mapped(lambda frame: frame.filter(measured).cast({"golfer": pl.String}))
    kept = named.gathered(lambda frame: frame.join(chosen, on=KEYS, how="semi", maintain_order="left"))
    place, count = pl.int_range(pl.len()).over(KEYS), pl.len().over(KEYS)
    kept = kept.filter(place % (count / MOST_DOTS).ceil().cast(pl.Int64) == 0)
    parts: dict[Any, pl.DataFrame] = kept.sort(KEYS, maintain_order=True).partition_by(KEYS, as_dict=True)
    return {(key[0], key[1]): part.select("launch_deg", "spin_rpm") for key, part in parts.items()}
