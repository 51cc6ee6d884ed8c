"""The bands' figures, the curve of efficient carry, and golfers' newest drives beside it."""

from collections.abc import Iterator
from typing import Any

import polars as pl

from pipeline.benchmark.frontier import WINDOW_EDGES
from pipeline.benchmark.window import Window
from pipeline.report.page.ground import Ground, Row
from pipeline.report.page.in_full import counts_of, with_counts, with_efficient
from pipeline.report.page.straight_figures import bands_figures
from pipeline.shown import window_parts
from pipeline.tables.columns import PERCENTILES
from pipeline.tables.figures import BandTable

# Of the curve, which is drawn and not written.
DIGITS = 2


def bands_of(ground: Ground) -> list[dict[str, Any]]:
    """Give the band table, the newest quarter first, bands by rising speed; a suppressed band has its name alone.

    How straight its golfers drive, where a log says it, keeps to a suppression of its own: see `bands_figures`.

    Golfers, drives and what is efficient are in full here: bands.csv, which may be published, rounds them.

    Figures are whole floats: one that is rounded here and again where it is shown could end a yard off (215.4999 yd).
    """
    table = ground.tables[BandTable].sort("quarter", "band_mph", descending=[True, False])
    straight = bands_figures(ground)
    counts = counts_of(ground.golfers.filter(pl.col("shots") >= ground.min_shots), ground.bands)
    least = int(ground.settings["privacy"]["min_golfers"])
    rows = [with_efficient(with_counts(row, counts, least), ground.frontier) for row in table.iter_rows(named=True)]
    return [_band(row, straight.get((row["quarter"], row["band_mph"]))) for row in rows]


def _band(row: Row, straight: dict[str, Any] | None) -> dict[str, Any]:
    hidden = row["suppressed"]

    def known(name: str) -> float | None:
        return None if hidden or row[name] is None else row[name]

    window = None if hidden or None in (edges := [row[name] for name in WINDOW_EDGES]) else window_parts(Window(*edges))
    return {
        "band_mph": row["band_mph"],
        "quarter": row["quarter"],
        "golfers": None if hidden else row["golfers"],
        "shots": None if hidden else row["shots"],
        **{f"carry_p{p}": known(f"carry_p{p}_yd") for p in PERCENTILES},
        **{f"carry_p{p}_{end}": known(f"carry_p{p}_{end}90_yd") for p in PERCENTILES for end in ("lo", "hi")},
        "efficient": {
            "value": known("efficient_carry_yd"),
            "lo": known("efficient_lo90_yd"),
            "hi": known("efficient_hi90_yd"),
        },
        "efficient_total_yd": known("efficient_total_yd"),
        "window": None if window is None else {"launch": window.launch, "spin": window.spin},
        "speed_ratio_p50": None if hidden else row["speed_ratio_p50"],
        "in_window_share": None if hidden or row["in_window_share"] is None else row["in_window_share"],
        "straight": straight,
        "suppressed": hidden,
    }


def curve_of(ground: Ground) -> list[dict[str, float]]:
    """Give efficient carry with its 90 % interval over the club speeds that the benchmarks reach."""
    frontier = ground.frontier
    columns = (frontier.speed_mph, frontier.carry_yd, frontier.lo90_yd, frontier.hi90_yd)
    names = ("speed_mph", "efficient_yd", "lo", "hi")
    return [
        {name: round(float(value), DIGITS) for name, value in zip(names, row, strict=True)}
        for row in zip(*columns, strict=True)
    ]


def dots_of(ground: Ground) -> Iterator[list[Any]]:
    """Make dots of golfers of the newest quarter, in bands that aren't suppressed: club speed, carry and golfer."""
    bands = ground.tables[BandTable].filter((pl.col("quarter") == ground.newest) & ~pl.col("suppressed"))
    here = ground.now.filter(pl.col("band_mph").is_in(bands["band_mph"].implode()))
    for speed, carry, golfer in here.select("club_speed_mph", "shown_carry_yd", "golfer").iter_rows():
        yield [round(speed, 4), ground.yd(carry), golfer]
