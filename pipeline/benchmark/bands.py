"""The speed-band table: golfers of a quarter, each moved to the band's centre, beside what is efficient there."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.benchmark.disclosure import PERCENTILES, protected_percentiles, protected_ratio, protected_share
from pipeline.benchmark.frontier import Efficient
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.benchmark.window import Window
from pipeline.fit.model import CarryModel
from pipeline.physics.impact import ASSUMED_RATIO
from pipeline.tables import BandTable, types_of


@dataclass(frozen=True)
class BandRules:
    """How bands are made.

    Attributes
    ----------
    centres_mph : tuple of float
    half_width_mph : float
        A golfer belongs to a band from `centre - half_width` up to, not including, `centre + half_width`.
    min_golfers : int
        A band of fewer golfers is suppressed; no figure of golfers rests on fewer (`pipeline.benchmark.disclosure`).
    """

    centres_mph: tuple[float, ...]
    half_width_mph: float
    min_golfers: int


def adjusted_carry(drives: pl.DataFrame, model: CarryModel) -> pl.Series:
    """Carry on the scale of the reference device and ball, yd, one value a drive."""
    carry = drives.get_column("carry_yd").to_numpy() - model.offsets.design(drives) @ model.offset_yd
    return pl.Series("carry_yd", carry)


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
    club = typical.get_column("club_speed_mph").to_numpy()
    launch, spin = typical.get_column("launch_deg").to_numpy(), typical.get_column("spin_rpm").to_numpy()
    ratio = typical.get_column("speed_ratio").to_numpy().astype(float)
    if model.trends.speed_ratio is not None:
        ratio = np.where(np.isnan(ratio), model.trends.speed_ratio(club), ratio)
    here = model.carry(model.speed(club, ratio), launch, spin)
    there = model.carry(model.speed(np.full_like(club, centre_mph), ratio), launch, spin)
    carry = typical.get_column("carry_p50_yd").to_numpy() + there - here
    known = np.where(np.isnan(ratio), ASSUMED_RATIO, ratio)
    return pl.Series(carry), pl.Series(carry + roller.run_yd(centre_mph * known, launch, spin))


def band_table(
    model: CarryModel,
    typical: pl.DataFrame,
    efficient: Mapping[float, Efficient],
    rules: BandRules,
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
    rules : BandRules
    roller : Roller

    Returns
    -------
    DataFrame
        One row for each quarter with any golfer and each band.
    """
    quarters = sorted(typical.get_column("quarter").unique().to_list())
    rows = [
        _row(model, typical.filter(pl.col("quarter") == quarter), quarter, centre, efficient.get(centre), rules, roller)
        for quarter in quarters
        for centre in rules.centres_mph
    ]
    schema = types_of(BandTable)
    return pl.DataFrame(rows, schema=schema, orient="row")


def _row(
    model: CarryModel,
    typical: pl.DataFrame,
    quarter: str,
    centre: float,
    efficient: Efficient | None,
    rules: BandRules,
    roller: Roller,
) -> dict[str, Any]:
    speed = pl.col("club_speed_mph")
    here = typical.filter((speed >= centre - rules.half_width_mph) & (speed < centre + rules.half_width_mph))
    few = here.height < rules.min_golfers
    row: dict[str, Any] = {"quarter": quarter, "band_mph": float(centre), "suppressed": few}
    notes = []
    if few:
        notes.append(f"fewer than {rules.min_golfers} golfers: their figures are suppressed")
    else:
        row |= _golfers_part(model, here, centre, rules, roller)
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
            row["in_window_share"] = protected_share(_inside(here, efficient.window), rules.min_golfers)
            if row["in_window_share"] is None:
                notes.append("too few golfers in the window or outside it for their share")
    row["note"] = "; ".join(notes) or None
    return row


def _golfers_part(
    model: CarryModel, here: pl.DataFrame, centre: float, rules: BandRules, roller: Roller
) -> dict[str, Any]:
    """Give what is told of a band's golfers, who are enough."""
    part: dict[str, Any] = {"golfers": here.height, "shots": int(here.get_column("shots").sum())}
    for kind, moved in zip(("carry", "total"), at_centre(model, here, centre, roller), strict=True):
        found = protected_percentiles(moved.to_numpy(), rules.min_golfers)
        part |= {f"{kind}_p{p}_yd": value for p, value in found.items()}
    ratios = here.get_column("speed_ratio").cast(pl.Float64).to_numpy()
    return part | {"speed_ratio_p50": protected_ratio(ratios, rules.min_golfers)}


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
