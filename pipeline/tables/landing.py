"""Tables of landing: how balls come down and run on soft, normal and firm turf, and the best delivery for total."""

import dataframely as dy
import polars as pl

from pipeline.tables import columns as cols

TURFS = ("soft", "normal", "firm")

_RUN = (
    "Bounce and roll after landing. Its interval allows for turf half a step softer or firmer; how drives scatter is "
    "not in it."
)
_TOTAL = "Carry and roll. Its interval has the doubt of both."
_ROUNDING_YD = 1e-6


def _best() -> tuple[dy.Float64, ...]:
    launch = cols.number("Launch, best for total", "Launch angle of the delivery with most total.", nullable=True)
    spin = cols.number("Spin, best for total", "Backspin of that delivery.", nullable=True)
    descent = cols.number("Descent, best for total", "Angle at which that drive comes down.", nullable=True)
    carry = cols.number("Carry, best for total", "Expected carry of that delivery, struck as efficient.", nullable=True)
    return launch, spin, descent, carry


def _best_total() -> tuple[dy.Float64, dy.Float64, dy.Float64]:
    return cols.estimate("Total, best", f"Largest expected total over deliveries golfers really produce. {_TOTAL}")


def _carry_cost() -> dy.Float64:
    return cols.number(
        "Carry it costs", "Efficient carry less the carry of the delivery with most total.", nullable=True, min=0
    )


def _total_gain() -> dy.Float64:
    return cols.number(
        "Total it gains", "Most total less the total of the efficient delivery on this turf.", nullable=True, min=0
    )


class LandingBands(cols.Table):
    """How an efficient drive of a band lands and runs on each turf, and what another delivery gives in total.

    Distances are in whole yards and angles of descent in tenths of a degree, since the table may be published.
    """

    FILES = ("benchmarks/landing_bands.csv",)
    ROW = "band and turf"

    band_mph = cols.number("Band center", "Center of the band's range of club speed.", primary_key=True, trim=True)
    turf = cols.word("Turf", "How firm the ground is.", TURFS, primary_key=True)
    efficient_carry_yd = cols.number("Efficient carry", "As in bands.csv.", nullable=True)
    descent_deg = cols.number("Descent", "Angle at which the efficient drive comes down.", nullable=True)
    run_yd, run_lo90_yd, run_hi90_yd = cols.estimate("Run", _RUN)
    total_yd, total_lo90_yd, total_hi90_yd = cols.estimate("Total", _TOTAL)
    best_launch_deg, best_spin_rpm, best_descent_deg, best_carry_yd = _best()
    best_total_yd, best_total_lo90_yd, best_total_hi90_yd = _best_total()
    carry_cost_yd = _carry_cost()
    total_gain_yd = _total_gain()
    suppressed = cols.flag(
        "Suppressed",
        "Whether the figures are left out: where bands.csv leaves out those of the newest quarter's golfers.",
    )
    note = cols.note("What is left out and why.")

    @dy.rule()
    def suppressed_is_empty(cls) -> pl.Expr:
        """Check that a suppressed row tells nothing."""
        told = pl.any_horizontal(pl.col("efficient_carry_yd", "run_yd", "total_yd", "best_total_yd").is_not_null())
        return ~pl.col("suppressed") | ~told


class Landings(cols.Table):
    """How a golfer's typical drive lands and runs on each turf, and the best delivery for total at that club speed."""

    FILES = ("golfers/landing.csv",)
    ROW = "golfer assessed in the newest quarter, and turf"

    golfer = cols.pseudonym()
    quarter = cols.quarter()
    turf = cols.word("Turf", "How firm the ground is.", TURFS, primary_key=True)
    club_speed_mph = cols.number("Club speed", "Mean club speed of the quarter's drives.")
    carry_yd = cols.number("Carry", "Mean carry, as in golfers.csv.")
    descent_deg = cols.number("Descent", "Angle at which the typical drive comes down.", nullable=True)
    run_yd, run_lo90_yd, run_hi90_yd = cols.estimate("Run", _RUN)
    total_yd, total_lo90_yd, total_hi90_yd = cols.estimate("Total", _TOTAL)
    efficient_drive_total_yd = cols.number(
        "Total, efficient drive",
        "Total on this turf of the drive with most carry. What bands and lookups call efficient total is the largest "
        "total instead: the best total here.",
        nullable=True,
    )
    best_launch_deg, best_spin_rpm, best_descent_deg, best_carry_yd = _best()
    best_total_yd, best_total_lo90_yd, best_total_hi90_yd = _best_total()
    carry_cost_yd = _carry_cost()
    total_gain_yd = _total_gain()
    note = cols.note()

    @dy.rule()
    def total_is_carry_and_run(cls) -> pl.Expr:
        """Check that carry and run add up to total; null passes."""
        left = pl.col("carry_yd") + pl.col("run_yd") - pl.col("total_yd")
        return (left.abs() <= _ROUNDING_YD).fill_null(True)
