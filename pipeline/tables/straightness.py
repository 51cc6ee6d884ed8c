"""Tables of straightness: each golfer's quarter, and the bands' golfers as they may be published."""

import dataframely as dy
import polars as pl

from pipeline.tables import columns as cols

ASSESSED, NOT_ASSESSED = "assessed", "not_assessed"
SPREAD_PERCENTILES = (25, 50, 75)

_SPREAD = "Standard deviation of offline, over all drives that the golfer might have hit in the quarter."
_OF_DRIVES = "Of the drives with a known offline."
_TESTED = "How often luck alone would bring such a change, either way. progress.csv has its verdict."


class Straightness(cols.Table):
    """Where golfers' drives come down about the target line, by quarter. Empty where no log says it.

    Right of the target is positive. What a known cross wind did is taken out.
    """

    FILES = ("golfers/straightness.csv",)
    ROW = "golfer and quarter"
    STORED = "straightness"

    golfer = cols.pseudonym()
    quarter = cols.quarter(primary_key=True)
    status = cols.word("Status", "not_assessed: too few drives, or too few of known offline.", (ASSESSED, NOT_ASSESSED))
    shots = cols.count("Drives", "Accepted drives in the quarter.", min=1)
    known = cols.count("Drives with offline", "Of them, drives whose offline is logged or can be calculated.")
    calculated = cols.count(
        "Calculated", "Of those, drives whose offline was calculated from start direction and spin axis."
    )
    cross_wind_yd = cols.number(
        "Cross wind",
        "Mean of what was taken out of the logged offlines for the cross wind; empty where no log says it. Flights of "
        "published balls disagree by up to a third of it, which the interval of offline covers.",
        nullable=True,
    )
    days = cols.count("Days", "Days on which the drives with offline were struck.", nullable=True, min=1)
    carry_yd = cols.number("Carry", f"Mean carry at standard conditions. {_OF_DRIVES}", nullable=True)
    offline_mean_yd, offline_mean_lo90_yd, offline_mean_hi90_yd = cols.estimate(
        "Offline", f"Mean distance right of the target line. {_OF_DRIVES}"
    )
    offline_sd_yd, offline_sd_lo90_yd, offline_sd_hi90_yd = cols.estimate("Offline spread", _SPREAD)
    corridor_yd = cols.number("Corridor", "Full width of the corridor about the target line.", min=0, trim=True)
    in_corridor_share = cols.share("In the corridor", f"Share inside the corridor. {_OF_DRIVES}", nullable=True)
    in_corridor_share_lo90, in_corridor_share_hi90 = cols.ends("In the corridor", percent=True, min=0, max=1)
    long_axis_yd = cols.number(
        "Long axis",
        "Standard deviation of where drives come down along the long axis of their ellipse (carry and offline); about "
        "9 in 10 drives lie within 2.1 times both axes if they scatter normally.",
        nullable=True,
        min=0,
    )
    short_axis_yd = cols.number("Short axis", "The same along the short axis.", nullable=True, min=0)
    axis_tilt_deg = cols.number(
        "Tilt",
        "Direction of the long axis against the target line; to the right is positive, 90 is straight across.",
        nullable=True,
        min=-90,
        max=90,
    )
    since = cols.text("Since", "Last earlier quarter in which straightness was assessed.", nullable=True)
    offline_mean_change_yd, offline_mean_change_lo90_yd, offline_mean_change_hi90_yd = cols.estimate(
        "Offline, change", "Change of the mean since then."
    )
    offline_mean_p_value = cols.probability("Offline, p", _TESTED)
    offline_sd_change_yd, offline_sd_change_lo90_yd, offline_sd_change_hi90_yd = cols.estimate(
        "Offline spread, change", "Change of the spread since then; below 0 the drives are closer together."
    )
    offline_sd_p_value = cols.probability("Offline spread, p", _TESTED)
    note = cols.note()

    @dy.rule()
    def drives_are_counted_down(cls) -> pl.Expr:
        """Check that no more drives are known than there are, nor more calculated than known."""
        return (pl.col("calculated") <= pl.col("known")) & (pl.col("known") <= pl.col("shots"))

    @dy.rule()
    def only_the_assessed_have_figures(cls) -> pl.Expr:
        """Check that a row has figures exactly where it is assessed, and a note where it isn't."""
        figures = pl.col("offline_mean_yd", "in_corridor_share", "offline_mean_change_yd", "long_axis_yd")
        there = pl.col("offline_mean_yd").is_not_null() & pl.col("in_corridor_share").is_not_null()
        gone = pl.all_horizontal(figures.is_null()) & pl.col("note").is_not_null()
        return pl.when(pl.col("status") == ASSESSED).then(there).otherwise(gone)

    @dy.rule()
    def intervals_hold_their_figures(cls) -> pl.Expr:
        """Check that figures lie between the ends of their intervals; null passes."""
        held = [
            pl.col(f"{name}{unit}").is_between(f"{name}_lo90{unit}", f"{name}_hi90{unit}")
            for name, unit in (("offline_mean", "_yd"), ("offline_sd", "_yd"), ("in_corridor_share", ""))
        ]
        return pl.all_horizontal(part.fill_null(True) for part in held)

    @dy.rule()
    def short_is_no_longer_than_long(cls) -> pl.Expr:
        """Check the order of the axes; null passes."""
        return (pl.col("short_axis_yd") <= pl.col("long_axis_yd")).fill_null(True)

    @dy.rule()
    def since_is_earlier(cls) -> pl.Expr:
        """Check that a quarter is compared with an earlier one; null passes."""
        return (pl.col("since") < pl.col("quarter")).fill_null(True)


def _spread(percent: int, below: str) -> dy.Float64:
    return cols.number(
        f"Offline spread, {percent}th percentile",
        f"{below} of the band's golfers have a smaller spread. A mean of the golfers nearest in rank, in steps of "
        "2 yd; empty where they are too few.",
        nullable=True,
        short=f"{percent}th percentile",
        group="Offline spread",
    )


class StraightnessBands(cols.Table):
    """How straight the golfers of a band drive, as published. A suppressed row has no figures."""

    FILES = ("benchmarks/straightness_bands.csv",)
    ROW = "quarter and band"
    STORED = "straightness_bands"

    quarter = cols.quarter(primary_key=True)
    band_mph = cols.number("Band center", "Center of the band's range of club speed.", primary_key=True, trim=True)
    golfers = cols.count(
        "Golfers",
        "Golfers of the band whose straightness is assessed, to a multiple of the fewest that a figure may rest on.",
        nullable=True,
        min=1,
    )
    offline_sd_p25_yd = _spread(25, "A quarter")
    offline_sd_p50_yd = _spread(50, "Half")
    offline_sd_p75_yd = _spread(75, "Three quarters")
    corridor_yd = cols.number("Corridor", "Full width of the corridor about the target line.", min=0, trim=True)
    in_corridor_p50 = cols.share(
        "In the corridor, 50th percentile",
        "Half of the band's golfers have a smaller share of drives inside the corridor. In tenths.",
        nullable=True,
    )
    suppressed = cols.flag(
        "Suppressed", "Whether the figures are left out because there are too few golfers to publish them."
    )
    note = cols.note("What is left out and why.")

    @dy.rule()
    def percentiles_rise(cls) -> pl.Expr:
        """Check that percentiles rise with their rank; null passes."""
        low, middle, high = (pl.col(f"offline_sd_p{p}_yd") for p in SPREAD_PERCENTILES)
        return (low <= middle).fill_null(True) & (middle <= high).fill_null(True)

    @dy.rule()
    def suppressed_is_empty(cls) -> pl.Expr:
        """Check that a suppressed row tells nothing of its golfers."""
        told = pl.any_horizontal(pl.col("golfers", "in_corridor_p50", "^offline_sd_p[0-9]+_yd$").is_not_null())
        return ~pl.col("suppressed") | ~told
