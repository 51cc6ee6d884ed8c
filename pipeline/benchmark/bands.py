"""The speed-band table: golfers of a quarter, each moved to the band's centre, beside what is efficient there."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.disclosure import PERCENTILES, protected_percentiles, protected_ratio, protected_share
from pipeline.benchmark.efficient import Efficient
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.benchmark.window import Window
from pipeline.drives import KEYS, Drives, typical_drives
from pipeline.fit.model import CarryModel, Delivery
from pipeline.tables.figures import BandTable
from pipeline.tables.types import types_of


def golfers_by_quarter(drives: pl.DataFrame | Drives, model: CarryModel, min_shots: int) -> pl.DataFrame:
    """Give typical drives per golfer and quarter with `carry_p50_yd`, the median of reference carry, yd.

    Golfers with fewer than `min_shots` drives are left out.
    """

    def typical_of(frame: pl.DataFrame) -> pl.DataFrame:
        median = pl.col("carry_reference_yd").median().alias("carry_p50_yd")
        carry = model.with_reference(frame).group_by(KEYS).agg(median)
        typical = typical_drives(frame, KEYS).join(carry, on=KEYS, validate="1:1")
        return typical.filter(pl.col("shots") >= min_shots)

    return Drives.of(drives).gathered(typical_of).sort(KEYS)


def at_centre(
    model: CarryModel, typical: pl.DataFrame, centre_mph: float, roller: Roller
) -> tuple[pl.Series, pl.Series]:
    """Move each golfer's typical carry to the band's centre, keeping ratio, launch and spin.

    Parameters
    ----------
    model : CarryModel
    typical : DataFrame
        One row a golfer with club_speed_mph, speed_ratio, launch_deg, spin_rpm and carry_p50_yd, the median of
        the golfer's drives, yd.
    centre_mph : float
    roller : Roller

    Returns
    -------
    tuple of Series
        Carry, and carry with the run of the typical drive, yd.
    """
    here = model.with_usual(Delivery.of(typical))
    # An unknown ratio is that of the golfer's own speed at the centre too: the strike stays as it is.
    there = here.struck(model.ratio(here)).at(np.full_like(here.club_speed_mph, centre_mph))
    moved = model.expected(there) - model.expected(here)
    carry = typical.get_column("carry_p50_yd").to_numpy() + moved
    run = roller.run_yd(centre_mph * there.speed_ratio, there.launch_deg, there.spin_rpm)
    return pl.Series(carry), pl.Series(carry + run)


def band_table(
    model: CarryModel,
    typical: pl.DataFrame,
    efficient: Mapping[float, Efficient],
    bands: SpeedBands,
    min_golfers: int,
    roller: Roller,
) -> pl.DataFrame:
    """Build the table `BandTable`.

    Parameters
    ----------
    model : CarryModel
    typical : DataFrame
        One row per golfer and quarter, as for `at_centre`, with `golfer`, `quarter` and `shots`.
    efficient : mapping of float to Efficient
        By band centre; a centre that the data don't reach is absent.
    bands : SpeedBands
    min_golfers : int
        A band of fewer golfers is suppressed; no figure of golfers rests on fewer (`pipeline.benchmark.disclosure`).
    roller : Roller

    Returns
    -------
    DataFrame
        One row for each quarter with any golfer and each band.
    """
    quarters = sorted(typical.get_column("quarter").unique().to_list())
    rows = []
    for quarter in quarters:
        there = typical.filter(pl.col("quarter") == quarter)
        for centre in bands.centres_mph:
            here = there.filter(pl.Series(bands.holds(centre, there.get_column("club_speed_mph").to_numpy())))
            rows.append(_row(model, here, quarter, centre, efficient.get(centre), min_golfers, roller))
    schema = types_of(BandTable)
    return pl.DataFrame(rows, schema=schema, orient="row")


def _row(
    model: CarryModel,
    here: pl.DataFrame,
    quarter: str,
    centre: float,
    efficient: Efficient | None,
    min_golfers: int,
    roller: Roller,
) -> dict[str, Any]:
    """Give a band's row; `here` are its golfers of the quarter."""
    few = here.height < min_golfers
    row: dict[str, Any] = {"quarter": quarter, "band_mph": float(centre), "suppressed": few}
    notes = []
    if few:
        notes.append(f"fewer than {min_golfers} golfers: their figures are suppressed")
    else:
        row |= _golfers_part(model, here, centre, min_golfers, roller)
        gone = [f"{p}th" for p in PERCENTILES if row[f"carry_p{p}_yd"] is None]
        if gone:
            notes.append(f"too few golfers for the {', '.join(gone)} percentile")
    if efficient is None:
        notes.append("too few golfers of about this speed for an efficient carry")
    else:
        row |= _efficient_part(efficient)
        if efficient.window is None:
            notes.append("no efficient window: the deliveries near the best leave no box")
        elif not few:
            measured = here.drop_nulls("spin_rpm")
            row["in_window_share"] = protected_share(_inside(measured, efficient.window), min_golfers)
            if row["in_window_share"] is None:
                notes.append("too few golfers in the window or outside it for their share")
    row["note"] = "; ".join(notes) or None
    return row


def _golfers_part(
    model: CarryModel, here: pl.DataFrame, centre: float, min_golfers: int, roller: Roller
) -> dict[str, Any]:
    """Give what is told of a band's golfers, who are enough."""
    part: dict[str, Any] = {"golfers": here.height, "shots": int(here.get_column("shots").sum())}
    for kind, moved in zip(("carry", "total"), at_centre(model, here, centre, roller), strict=True):
        found = protected_percentiles(moved.to_numpy(), min_golfers)
        part |= {f"{kind}_p{p}_yd": value for p, value in found.items()}
    ratios = here.get_column("speed_ratio").cast(pl.Float64).to_numpy()
    return part | {"speed_ratio_p50": protected_ratio(ratios, min_golfers)}


def _efficient_part(efficient: Efficient) -> dict[str, Any]:
    """Give what is efficient; it rests on golfers of weight `min_golfers` at least, of all quarters."""
    part: dict[str, Any] = {
        "efficient_carry_yd": efficient.carry_yd,
        "efficient_lo90_yd": efficient.lo90_yd,
        "efficient_hi90_yd": efficient.hi90_yd,
        "efficient_total_yd": efficient.total_yd,
    }
    if efficient.total_window is not None:
        part |= {f"total_{name}": value for name, value in vars(efficient.total_window).items()}
    if efficient.window is not None:
        part |= vars(efficient.window)
    return part


def _inside(here: pl.DataFrame, window: Window) -> npt.NDArray[np.bool_]:
    inside = here.get_column("launch_deg").is_between(window.launch_lo_deg, window.launch_hi_deg)
    inside &= here.get_column("spin_rpm").is_between(window.spin_lo_rpm, window.spin_hi_rpm)
    return inside.to_numpy()
