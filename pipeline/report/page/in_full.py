"""What stands behind a band's published figures, in full: the academy's own page needn't round as bands.csv does.

Where the full figure doesn't round to the published one, as with tables of another run, the published one stays.
"""

from collections.abc import Mapping
from typing import Any

import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.disclosure import coarse_count, coarse_sum, modelled
from pipeline.benchmark.frontier import Frontier

Row = Mapping[str, Any]
Counts = Mapping[tuple[str, float], tuple[int, int]]

# Columns of the frontier, by those of the band table.
EFFICIENT = {
    "efficient_carry_yd": "carry_yd",
    "efficient_lo90_yd": "lo90_yd",
    "efficient_hi90_yd": "hi90_yd",
    "efficient_total_yd": "total_yd",
}


def counts_of(golfers: pl.DataFrame, bands: SpeedBands) -> dict[tuple[str, float], tuple[int, int]]:
    """Count golfers and their drives by quarter and band.

    Parameters
    ----------
    golfers : DataFrame
        quarter, club_speed_mph and shots, a row for each golfer and quarter that counts.
    bands : SpeedBands
    """
    speed, found = golfers["club_speed_mph"].cast(pl.Float64).to_numpy(), {}
    for center in bands.centres_mph:
        here = golfers.filter(pl.Series(bands.holds(center, speed), dtype=pl.Boolean))
        for quarter, count, shots in here.group_by("quarter").agg(pl.len(), pl.col("shots").sum()).iter_rows():
            found[str(quarter), float(center)] = (count, shots)
    return found


def with_counts(row: Row, counts: Counts, min_golfers: int) -> dict[str, Any]:
    """Give a published row with its golfers, and its drives where it has them, counted exactly."""
    golfers, shots = counts.get((str(row["quarter"]), row["band_mph"]), (0, 0))
    if golfers < min_golfers or coarse_count(golfers, min_golfers) != row["golfers"]:
        return dict(row)
    same = "shots" in row and coarse_sum(shots, golfers, min_golfers) == row["shots"]
    return {**row, "golfers": golfers, **({"shots": shots} if same else {})}


def with_efficient(row: Row, frontier: Frontier) -> dict[str, Any]:
    """Give a published row with what is efficient as the frontier has it: whole yards aren't whole meters."""
    full = {name: float(frontier.at(column, row["band_mph"])) for name, column in EFFICIENT.items() if row.get(name)}
    return {**row, **{name: value for name, value in full.items() if modelled(value) == row[name]}}
