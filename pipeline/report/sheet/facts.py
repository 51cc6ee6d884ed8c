"""What a golfer's sheet is made from: which sheets there are, and where each golfer stands in the band."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import dataframely as dy
import numpy as np
import polars as pl

from pipeline.benchmark.bands import at_centre
from pipeline.benchmark.lookup import Guide
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.drives import Drives
from pipeline.fit.model import CarryModel
from pipeline.tables import BandTable, Golfers

KEYS = ["golfer", "quarter"]
MOST_DOTS = 150  # drives drawn on one sheet; more would be one blot


def nearest_band(speeds_mph: pl.Series, centres_mph: Sequence[float], half_width_mph: float) -> pl.Series:
    """Find the band of each club speed.

    Parameters
    ----------
    speeds_mph : Series, shape (n,)
        Club speeds, mph.
    centres_mph : sequence of float
        Centres of the bands, mph.
    half_width_mph : float
        A band reaches from `centre - half_width` up to, not including, `centre + half_width`.

    Returns
    -------
    Series, shape (n,)
        `band_mph`: where bands overlap the nearest centre, the lower of two as near; null outside every band.
    """
    speed = speeds_mph.to_numpy()[:, None]
    centres = np.sort(np.array(centres_mph, dtype=float))
    inside = (speed >= centres - half_width_mph) & (speed < centres + half_width_mph)
    away = np.where(inside, np.abs(speed - centres), np.inf)
    found = np.where(inside.any(axis=1), centres[np.argmin(away, axis=1)], np.nan)
    return pl.Series("band_mph", found, dtype=pl.Float64).fill_nan(None)


def moved_to_centre(
    typical: pl.DataFrame, model: CarryModel, roller: Roller, centres_mph: Sequence[float], half_width_mph: float
) -> pl.DataFrame:
    """Move each golfer's typical carry to the centre of the golfer's band, as the band table does.

    Parameters
    ----------
    typical : DataFrame
        One row per golfer and quarter, from `pipeline.benchmark.build_bands.golfers_by_quarter`.
    model : CarryModel
    roller : Roller
    centres_mph : sequence of float
    half_width_mph : float

    Returns
    -------
    DataFrame
        golfer, quarter, band_mph and moved_yd; golfers outside every band are left out.
    """
    placed = typical.with_columns(nearest_band(typical["club_speed_mph"], centres_mph, half_width_mph))
    parts = []
    for centre in sorted(float(c) for c in centres_mph):
        here = placed.filter(pl.col("band_mph") == centre)
        if here.height:
            carry, _ = at_centre(model, here, centre, roller)
            parts.append(here.select(*KEYS, "band_mph", carry.alias("moved_yd")))
    schema = {"golfer": pl.String, "quarter": pl.String, "band_mph": pl.Float64, "moved_yd": pl.Float64}
    return pl.concat([pl.DataFrame(schema=schema), *parts]).sort(KEYS)


def sheet_rows(
    golfers: dy.DataFrame[Golfers],
    bands: dy.DataFrame[BandTable],
    moved: pl.DataFrame,
    *,
    sheets: str,
    centres_mph: Sequence[float],
    half_width_mph: float,
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
    centres_mph : sequence of float
    half_width_mph : float

    Returns
    -------
    DataFrame
        One row per sheet: the columns of `Golfers`, `band_mph`, `moved_yd`, and the columns of the golfer's row of
        `BandTable` with `band_` before their names. Newest quarter first; in it the flagged, most yards lost first.
        Of a suppressed band nothing is told of its golfers.
    """
    chosen = golfers if sheets == "all" else golfers.filter("flagged")
    chosen = chosen.with_columns(
        nearest_band(chosen["club_speed_mph"], centres_mph, half_width_mph),
        pl.col("main_cause", "status").cast(pl.String),
    )
    keys = ["quarter", "band_mph"]
    table = bands.rename({name: f"band_{name}" for name in bands.columns if name not in keys})
    of_golfers = pl.col("^band_(carry|total)_p[0-9]+_yd$", "band_golfers", "band_shots", "band_in_window_share")
    table = table.with_columns(pl.when(~pl.col("band_suppressed")).then(of_golfers))
    joined = chosen.join(table, on=keys, how="left").join(moved, on=[*KEYS, "band_mph"], how="left", validate="1:1")
    return joined.sort("quarter", "flagged", "lost_yd", "golfer", descending=[True, True, True, False], nulls_last=True)


@dataclass(frozen=True)
class Target:
    """What is efficient at one club speed.

    Attributes
    ----------
    launch_deg, spin_rpm : float
        The delivery that gives efficient carry.
    window : dict of str to float, or None
        launch_lo_deg, launch_hi_deg, spin_lo_rpm and spin_hi_rpm.
    speed_ratio : float or None
        What the better quarter of golfers reach; None where ball speed is not known.
    """

    launch_deg: float
    spin_rpm: float
    window: dict[str, float] | None
    speed_ratio: float | None


def target_at(guide: Guide, model: CarryModel, club_speed_mph: float) -> Target | None:
    """Give what is efficient at a club speed, as `yardband lookup` does; None where the benchmarks don't reach."""
    if not guide.holds(club_speed_mph):
        return None
    edges = {
        name: guide.at(name, club_speed_mph)
        for name in ("launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm")
    }
    better = model.trends.better_ratio if model.surface.speed == "ball" else None
    return Target(
        guide.at("launch_deg", club_speed_mph),
        guide.at("spin_rpm", club_speed_mph),
        None if np.isnan(list(edges.values())).any() else edges,
        None if better is None else float(better(club_speed_mph)),
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
    kept = Drives.of(drives).gathered(
        lambda frame: frame.filter(measured).join(chosen, on=KEYS, how="semi", maintain_order="left")
    )
    place, count = pl.int_range(pl.len()).over(KEYS), pl.len().over(KEYS)
    kept = kept.filter(place % (count / MOST_DOTS).ceil().cast(pl.Int64) == 0)
    parts: dict[Any, pl.DataFrame] = kept.sort(KEYS, maintain_order=True).partition_by(KEYS, as_dict=True)
    return {(key[0], key[1]): part.select("launch_deg", "spin_rpm") for key, part in parts.items()}
