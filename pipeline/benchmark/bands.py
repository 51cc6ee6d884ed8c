"""The speed-band table: golfers of a quarter, each moved to the band's centre, beside what is efficient there."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.disclosure import (
    coarse_count,
    coarse_sum,
    modelled,
    protected_percentiles,
    protected_ratio,
    protected_share,
)
from pipeline.benchmark.efficient import Efficient
from pipeline.benchmark.percentiles import Published, gaps_of, intervals, low_percentile, weights_near
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.benchmark.window import Window
from pipeline.drives import KEYS, Drives, typical_drives
from pipeline.fit.model import CarryModel, Delivery
from pipeline.statistics.arrays import Array
from pipeline.tables.columns import PERCENTILES
from pipeline.tables.figures import BandTable
from pipeline.tables.types import types_of

# Moves golfers' carry to a band's center; gives it and, where it is known, the total, yd.
Move = Callable[[pl.DataFrame, float], tuple[pl.Series, pl.Series | None]]

NO_FLIGHT = "results by hand have no launch and spin: carry as measured, no efficient carry, no windows, no totals"


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
    return moved_table(
        typical, lambda golfers, centre: at_centre(model, golfers, centre, roller), efficient, bands, min_golfers
    )


def moved_table(
    typical: pl.DataFrame,
    move: Move,
    efficient: Mapping[float, Efficient] | None,
    bands: SpeedBands,
    min_golfers: int,
) -> pl.DataFrame:
    """Build the table `BandTable` of golfers whom `move` moves to a band's center.

    Parameters
    ----------
    typical, bands, min_golfers
        As for `band_table`.
    move : callable
        As `at_centre` does it; total is None where it isn't known.
    efficient : mapping of float to Efficient, or None
        None where nothing can be said of efficient carry.

    Returns
    -------
    DataFrame
    """
    quarters = sorted(typical.get_column("quarter").unique().to_list())
    rows = []
    for quarter in quarters:
        there = _Quarter.of(move, typical.filter(pl.col("quarter") == quarter), bands, min_golfers)
        for centre in bands.centres_mph:
            named = {"quarter": quarter, "band_mph": float(centre)}
            known = NO_FLIGHT if efficient is None else efficient.get(centre)
            rows.append(named | _row(there, centre, known))
    schema = types_of(BandTable)
    return pl.DataFrame(rows, schema=schema, orient="row")


@dataclass(frozen=True)
class _Quarter:
    """The golfers of a quarter, and what of their carry may be published.

    Attributes
    ----------
    min_golfers : int
    by_band : dict of float to DataFrame
        Golfers of each band, by its centre.
    percentiles : dict of float to dict
        Of each band that isn't suppressed, by its centre: percentiles by column.
    has_intervals : bool
    """

    min_golfers: int
    by_band: dict[float, pl.DataFrame]
    percentiles: dict[float, dict[str, float | None]]
    has_intervals: bool

    @classmethod
    def of(cls, move: Move, golfers: pl.DataFrame, bands: SpeedBands, min_golfers: int) -> "_Quarter":
        """Sort golfers into bands and work out percentiles of those bands that have enough."""
        speed = golfers.get_column("club_speed_mph").to_numpy()
        inside = {centre: bands.holds(centre, speed) for centre in bands.centres_mph}
        by_band = {centre: golfers.filter(pl.Series(held)) for centre, held in inside.items()}
        counts = {c: coarse_count(by_band[c].height, min_golfers) for c in inside if by_band[c].height >= min_golfers}
        if not counts:
            return cls(min_golfers, by_band, {}, False)
        # The fullest first, as published; of equal ones the slowest.
        shown = sorted(counts, key=lambda c: -counts[c])
        # Golfers of no band that is shown count nowhere: nothing published changes with them.
        counting = golfers.filter(pl.Series(np.any([inside[centre] for centre in shown], axis=0)))
        moved = {c: [None if one is None else one.to_numpy() for one in move(counting, c)] for c in shown}
        near = {
            c: weights_near(counting.get_column("club_speed_mph").to_numpy(), c, bands.half_width_mph) for c in shown
        }
        carry, total = (
            {c: _percentiles(moved[c][kind], near[c], by_band[c].height, min_golfers) for c in shown} for kind in (0, 1)
        )
        # Of bands that are published as equally full, one may have too few golfers for its 25th percentile.
        shown.sort(key=lambda c: carry[c][PERCENTILES[0]] is None)
        published = [Published(counts[c], carry[c]) for c in shown]
        fullest = moved[shown[0]][0]
        gaps = gaps_of(published, None if fullest is None else low_percentile(fullest, min_golfers))
        percentiles = {c: _columns(carry[c], total[c], intervals(carry[c], gaps, near[c])) for c in shown}
        return cls(min_golfers, by_band, percentiles, gaps is not None)


def _percentiles(values_yd: Array | None, weights: Array, golfers: int, min_golfers: int) -> dict[int, float | None]:
    if values_yd is None:
        return dict.fromkeys(PERCENTILES)
    return protected_percentiles(values_yd, weights, golfers, min_golfers)


def _columns(
    carry_yd: dict[int, float | None],
    total_yd: dict[int, float | None],
    carry_ends_yd: dict[int, tuple[float | None, float | None]],
) -> dict[str, float | None]:
    part = {f"carry_p{p}_yd": value for p, value in carry_yd.items()}
    part |= {f"total_p{p}_yd": value for p, value in total_yd.items()}
    for p, (low, high) in carry_ends_yd.items():
        part |= {f"carry_p{p}_lo90_yd": low, f"carry_p{p}_hi90_yd": high}
    return part


def _row(there: _Quarter, centre: float, efficient: Efficient | str | None) -> dict[str, Any]:
    """Give the figures of a band's row."""
    here, min_golfers = there.by_band[centre], there.min_golfers
    row: dict[str, Any] = {"suppressed": centre not in there.percentiles}
    notes = []
    if row["suppressed"]:
        notes.append(f"fewer than {min_golfers} golfers: their figures are suppressed")
    else:
        row |= _golfers_part(there, centre)
        gone = [f"{p}th" for p in PERCENTILES if row[f"carry_p{p}_yd"] is None]
        if gone:
            notes.append(f"too few golfers for the {', '.join(gone)} percentile")
        if not there.has_intervals:
            notes.append("too few golfers in each band of the quarter for intervals of percentiles")
    if isinstance(efficient, str):
        notes.append(efficient)
    elif efficient is None:
        notes.append("too few golfers of about this speed for an efficient carry")
    else:
        row |= _efficient_part(efficient)
        if efficient.window is None:
            notes.append("no efficient window: the deliveries near the best leave no box")
        elif not row["suppressed"]:
            measured = here.drop_nulls("spin_rpm")
            row["in_window_share"] = protected_share(_inside(measured, efficient.window), min_golfers)
            if row["in_window_share"] is None:
                notes.append("too few golfers in the window or outside it for their share")
    row["note"] = "; ".join(notes) or None
    return row


def _golfers_part(there: _Quarter, centre: float) -> dict[str, Any]:
    """Give what is told of a band's golfers, who are enough."""
    here = there.by_band[centre]
    ratios = here.get_column("speed_ratio").cast(pl.Float64).to_numpy()
    return {
        "golfers": coarse_count(here.height, there.min_golfers),
        "shots": coarse_sum(int(here.get_column("shots").sum()), here.height, there.min_golfers),
        **there.percentiles[centre],
        "speed_ratio_p50": protected_ratio(ratios, there.min_golfers),
    }


def _efficient_part(efficient: Efficient) -> dict[str, Any]:
    """Give what is efficient; it rests on golfers of weight `min_golfers` at least, of all quarters."""
    part: dict[str, Any] = {
        "efficient_carry_yd": modelled(efficient.carry_yd),
        "efficient_lo90_yd": modelled(efficient.lo90_yd),
        "efficient_hi90_yd": modelled(efficient.hi90_yd),
        "efficient_total_yd": modelled(efficient.total_yd),
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
