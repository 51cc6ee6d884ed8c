"""Tables of what was fitted and of the benchmarks: calibrations, terms, scores, bands."""

import dataframely as dy
import polars as pl

from pipeline.tables import columns as cols


class Calibrations(cols.Table):
    """Coefficient sets of ball flight, each fitted to the study's drives or left out with the reason."""

    FILES = ("flight/calibrations.csv",)
    ROW = "coefficient set"

    coefficients = cols.text("Coefficient set", "Published set of drag and lift coefficients.", primary_key=True)
    drag = cols.number("Drag multiplier", "What the set's drag is multiplied by to fit the study's drives.", decimals=3)
    drag_std_error = cols.number(
        "Drag, standard error", "Of the multiplier, by golfers. Empty if not fitted.", decimals=3, nullable=True
    )
    lift = cols.number("Lift multiplier", "What the set's lift is multiplied by to fit the study's drives.", decimals=3)
    lift_std_error = cols.number(
        "Lift, standard error", "Of the multiplier, by golfers. Empty if not fitted.", decimals=3, nullable=True
    )
    residual_sd_yd = cols.number(
        "Scatter of drives about flight",
        "Standard deviation of measured carry about the flights of the fitted set.",
        decimals=1,
        nullable=True,
    )
    drives = cols.count("Drives", "Drives of the fit.")
    golfers = cols.count("Golfers", "Golfers of the fit.")
    kept = cols.flag(
        "Kept", "Whether flight uses this set: the one nearest to the drives, or the one study.yaml names."
    )
    note = cols.note("How the set was fitted, or why not.", nullable=False)


class TypicalDrives(cols.Table):
    """The typical drives of the golfers in the fit, by which benchmarks know which deliveries golfers produce."""

    FILES = ("model/typical.parquet",)
    ROW = "golfer of the fit"

    golfer = cols.pseudonym()
    shots = cols.count("Drives", "Accepted drives of the golfer, over all quarters.", min=1)
    club_speed_mph = cols.number("Club speed", "Mean club speed of the drives.")
    speed_ratio = cols.number(
        "Speed ratio",
        "Ball speed over club speed of the typical sound drive; empty if not known.",
        decimals=3,
        nullable=True,
    )
    speed_ratio_var = cols.number(
        "Variance of speed ratio",
        "Over drives, its squared standard error; empty if not known.",
        decimals=6,
        nullable=True,
        min=0,
    )
    launch_deg = cols.number("Launch", "Median launch angle of the drives.")
    spin_rpm = cols.number("Spin", "Median of measured backspins; empty where it is guessed.", nullable=True)


class HeldOut(cols.Table):
    """Drives as the chosen model predicts them from other golfers' drives, for the diagnostics."""

    FILES = ("model/held_out.parquet",)
    ROW = "drive, in the order of drives.parquet"
    STORED = "held_out"

    golfer = cols.pseudonym(primary_key=False)
    source = cols.source(primary_key=True)
    row = cols.row(primary_key=True)
    measured_yd = cols.number(
        "Measured carry", "At standard conditions, on the reference device and ball by a fit without the golfer.",
        decimals=1,
    )  # fmt: skip
    predicted_yd = cols.number("Predicted carry", "By a fit without the golfer.", decimals=1)
    predicted_by_club_speed_yd = cols.number(
        "Predicted by club speed", "The same as if ball speed were not known.", decimals=1
    )
    fold = cols.count("Fold", "Which fold of golfers the drive is in.")


class Coefficients(cols.Table):
    """Terms of every candidate model.

    Built-in ones take inputs that are centered and scaled as model.json says, a study's own take them as they are.
    """

    FILES = ("model/coefficients.csv",)
    ROW = "candidate model and term"

    model = cols.text("Model", "Candidate model.", primary_key=True)
    term = cols.text(
        "Term",
        "Term of the model: a product of scaled inputs, a spline, or one that the study names.",
        primary_key=True,
    )
    estimate = cols.number(
        "Estimate",
        "Fitted coefficient, in yd for one scaled unit of the term; of a device or ball, the share of carry it adds.",
        decimals=3,
    )
    std_error = cols.number("Standard error", "Of the coefficient, clustered by golfer.", decimals=3, min=0)
    lo90, hi90 = cols.ends("Estimate", nullable=False, decimals=3)


class Scores(cols.Table):
    """Candidate models on golfers held out of the fit."""

    FILES = ("model/scores.csv",)
    ROW = "candidate model"

    model = cols.text("Model", "Candidate model.", primary_key=True)
    terms = cols.count("Terms", "Coefficients that were fitted.", min=1)
    golfers = cols.count("Golfers", "Golfers held out in turn.", min=1)
    shots = cols.count("Drives", "Their drives.", min=1)
    rmse_yd = cols.number("RMS error", "Root mean square of predicted less measured carry.", decimals=2, min=0)
    rmse_std_error_yd = cols.number(
        "RMS error, standard error", "Of the RMS error, clustered by golfer.", decimals=2, min=0
    )
    mae_yd = cols.number("Mean absolute error", "Mean of the errors without their signs.", decimals=2, min=0)
    bias_yd = cols.number("Bias", "Mean of predicted less measured carry.", decimals=2)
    coverage90 = cols.share(
        "Drives inside the 90 % interval", "Share of drives inside the model's 90 % interval for one drive.", decimals=1
    )
    chosen = cols.flag("Chosen", "Whether benchmarks are built with it.")
    note = cols.note("Why it was chosen or not.")


class RegressorTable(cols.Table):
    """What further columns of the logs do to carry, beyond what the chosen model knows of a drive."""

    FILES = ("model/regressors.csv",)
    ROW = "regressor of study.yaml"

    regressor = cols.text("Regressor", "Column of the logs, in its own unit.", primary_key=True)
    known_drives = cols.count("Drives with a value", "Drives of the fit whose value is known; others count as average.")
    golfers = cols.count("Golfers with a value", "Golfers who hit them.")
    center = cols.number("Center", "Mean of golfers' means.", decimals=2, nullable=True)
    sd = cols.number("Standard deviation", "Of the values, over drives.", decimals=2, nullable=True, min=0)
    varies_within = cols.share(
        "Varies within golfers", "Share of the values' variance that is within golfers.", nullable=True
    )
    estimate = cols.number("Estimate", "Share of carry that one unit more adds.", decimals=5, nullable=True)
    std_error = cols.number("Standard error", "Of the estimate, by golfers.", decimals=5, nullable=True, min=0)
    lo90, hi90 = cols.ends("Estimate", decimals=5)
    yd_per_sd = cols.number(
        "Yards for one standard deviation", "Estimate times standard deviation times mean carry.", decimals=1,
        nullable=True,
    )  # fmt: skip
    p_value = cols.probability("p-value", "Of the estimate against no effect, by Student's t over golfers.")
    q_value = cols.probability("q-value", "The p-value, adjusted for all regressors of the study.")
    within_estimate = cols.number(
        "Estimate within golfers",
        "The same from each golfer's drives about the golfer's own mean: how golfers differ doesn't enter.",
        decimals=5,
        nullable=True,
    )
    within_std_error = cols.number(
        "Estimate within golfers, standard error", "By golfers.", decimals=5, nullable=True, min=0
    )
    rmse_without_yd = cols.number(
        "RMS error without it",
        "Root mean square of predicted less measured carry of golfers held out, over the drives with a value, by the "
        "model without this regressor.",
        decimals=3,
        nullable=True,
        min=0,
    )
    rmse_with_yd = cols.number(
        "RMS error with it", "The same by the model with all regressors.", decimals=3, nullable=True, min=0
    )
    difference_yd = cols.number(
        "Change of the RMS error", "With less without; below zero, it predicts better.", decimals=3, nullable=True
    )
    difference_std_error_yd = cols.number(
        "Change of the RMS error, standard error", "By golfers.", decimals=3, nullable=True, min=0
    )
    verdict = cols.word(
        "Verdict",
        "matters: the q-value is below 0.05. not_shown: it isn't. not_estimable: the note says why.",
        ("matters", "not_shown", "not_estimable"),
    )
    note = cols.note()


_NO_INTERVAL = (
    "For golfers like these at the band's center, in whole yards. Empty without the percentile, or where the quarter's "
    "golfers are too few."
)


class BandTable(cols.Table):
    """Speed bands, as published. A suppressed row has no figures of its golfers."""

    FILES = ("benchmarks/bands.csv", "benchmarks/bands.parquet")
    ROW = "quarter and band"
    STORED = "bands"

    quarter = cols.quarter(primary_key=True)
    band_mph = cols.number("Band center", "Center of the band's range of club speed.", primary_key=True, trim=True)
    golfers = cols.count(
        "Golfers", "Golfers of the band, to a multiple of the fewest that a figure may rest on.", nullable=True, min=1
    )
    shots = cols.count("Drives", "Their drives, rounded so that one golfer hardly changes it.", nullable=True, min=1)
    carry_p25_yd, carry_p50_yd, carry_p75_yd, carry_p90_yd = cols.percentiles(
        "Carry",
        "Each golfer's typical drive, moved to the band's center, at standard conditions. Golfers of other bands that "
        "are shown count too, the less the farther they are. A mean of the golfers nearest in rank, in whole yards; "
        "empty where the band's are too few.",
    )
    carry_p25_lo90_yd, carry_p25_hi90_yd = cols.ends("Carry, 25th percentile", why_empty=_NO_INTERVAL)
    carry_p50_lo90_yd, carry_p50_hi90_yd = cols.ends("Carry, 50th percentile", why_empty=_NO_INTERVAL)
    carry_p75_lo90_yd, carry_p75_hi90_yd = cols.ends("Carry, 75th percentile", why_empty=_NO_INTERVAL)
    carry_p90_lo90_yd, carry_p90_hi90_yd = cols.ends("Carry, 90th percentile", why_empty=_NO_INTERVAL)
    efficient_carry_yd = cols.number(
        "Efficient carry",
        "Largest carry to be expected at the band's center over deliveries that golfers of about that speed really "
        "produce, struck with a ratio that the better quarter of them reach. In whole yards, as the interval is.",
        nullable=True,
    )
    efficient_lo90_yd, efficient_hi90_yd = cols.ends("Efficient carry")
    total_p25_yd, total_p50_yd, total_p75_yd, total_p90_yd = cols.percentiles(
        "Total", "As for carry, with the roll of each golfer's typical drive, which is calculated, not measured."
    )
    efficient_total_yd = cols.number(
        "Efficient total",
        "Largest carry and roll together to be expected over the same deliveries. In whole yards.",
        nullable=True,
    )
    launch_lo_deg, launch_hi_deg = cols.interval(
        "Launch window",
        "drives inside the windows of launch and spin are expected close to the efficient carry.",
        inward=True,
    )
    spin_lo_rpm, spin_hi_rpm = cols.interval(
        "Spin window",
        "drives inside the windows of launch and spin are expected close to the efficient carry.",
        inward=True,
    )
    total_launch_lo_deg, total_launch_hi_deg = cols.interval(
        "Launch window for total",
        "drives inside the windows for total are expected close to the efficient total.",
        inward=True,
    )
    total_spin_lo_rpm, total_spin_hi_rpm = cols.interval(
        "Spin window for total",
        "drives inside the windows for total are expected close to the efficient total.",
        inward=True,
    )
    speed_ratio_p50 = cols.number(
        "Speed ratio, 50th percentile",
        "Ball speed over club speed: half of the golfers stay below it. In hundredths.",
        decimals=2,
        nullable=True,
    )
    in_window_share = cols.share(
        "Golfers in window",
        "Share of the golfers whose typical launch and spin lie inside both windows for carry. In tenths; empty where "
        "it would show too few golfers inside or outside.",
        nullable=True,
    )
    suppressed = cols.flag(
        "Suppressed", "Whether the figures are left out because there are too few golfers to publish them."
    )
    note = cols.note("What is left out and why.")

    @dy.rule()
    def percentiles_rise(cls) -> pl.Expr:
        """Check that percentiles rise with their rank; null passes."""
        rising = [
            pl.col(f"{kind}_p{low}_yd") <= pl.col(f"{kind}_p{high}_yd")
            for kind in ("carry", "total")
            for low, high in ((25, 50), (50, 75), (75, 90))
        ]
        return pl.all_horizontal(part.fill_null(True) for part in rising)

    @dy.rule()
    def intervals_hold_their_percentile(cls) -> pl.Expr:
        """Check that an interval of carry has both ends, and its percentile between them; null passes."""
        held = []
        for p in cols.PERCENTILES:
            low, figure, high = (pl.col(f"carry_p{p}_{end}yd") for end in ("lo90_", "", "hi90_"))
            held.append(pl.when(low.is_null()).then(high.is_null()).otherwise(figure.is_between(low, high)))
        return pl.all_horizontal(part.fill_null(False) for part in held)

    @dy.rule()
    def share_tells_of_nobody(cls) -> pl.Expr:
        """Check that a share isn't all or none of the golfers, which would tell of each of them; null passes."""
        share = pl.col("in_window_share")
        return ((share > 0) & (share < 1)).fill_null(True)

    @dy.rule()
    def outer_percentiles_stand_about_the_middle(cls) -> pl.Expr:
        """Check that other percentiles of carry are given only with the middle one."""
        outer = pl.any_horizontal(pl.col("carry_p25_yd", "carry_p75_yd", "carry_p90_yd").is_not_null())
        return ~outer | pl.col("carry_p50_yd").is_not_null()

    @dy.rule()
    def suppressed_is_empty(cls) -> pl.Expr:
        """Check that a suppressed row tells nothing of its golfers."""
        return ~pl.col("suppressed") | pl.all_horizontal(
            pl.col("golfers", "shots", "in_window_share", "speed_ratio_p50").is_null(),
            pl.col("^(carry|total)_p[0-9]+_.*yd$").is_null(),
        )
