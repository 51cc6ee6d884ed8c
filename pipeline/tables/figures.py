"""Tables of what was fitted and of the benchmarks: calibrations, terms, scores, bands."""

import dataframely as dy
import polars as pl


class Calibrations(dy.Schema):
    """Coefficient sets of flight fitted to the study's drives, one row each: flight/calibrations.csv."""

    coefficients = dy.String(nullable=False, primary_key=True)
    drag = dy.Float64(nullable=False, description="multiplier")
    drag_std_error = dy.Float64(nullable=True, description="clustered by golfer")
    lift = dy.Float64(nullable=False, description="multiplier")
    lift_std_error = dy.Float64(nullable=True)
    residual_sd_yd = dy.Float64(nullable=True)
    drives = dy.Int64(nullable=False)
    golfers = dy.Int64(nullable=False)
    kept = dy.Bool(nullable=False)
    note = dy.String(nullable=False)


class Coefficients(dy.Schema):
    """Terms of every candidate model, one row each: model/coefficients.csv.

    Estimates belong to centred and scaled terms; `centre` and `scale` of the three inputs stand in the card.
    Standard errors are clustered by golfer; the interval is the 90 % one.
    """

    model = dy.String(nullable=False, primary_key=True)
    term = dy.String(nullable=False, primary_key=True)
    estimate = dy.Float64(nullable=False)
    std_error = dy.Float64(nullable=False, min=0)
    lo90 = dy.Float64(nullable=False)
    hi90 = dy.Float64(nullable=False)


class Scores(dy.Schema):
    """Candidate models on golfers held out of the fit, one row each: model/scores.csv."""

    model = dy.String(nullable=False, primary_key=True)
    terms = dy.Int64(nullable=False, min=1)
    golfers = dy.Int64(nullable=False, min=1)
    shots = dy.Int64(nullable=False, min=1)
    rmse_yd = dy.Float64(nullable=False, min=0)
    rmse_std_error_yd = dy.Float64(nullable=False, min=0, description="clustered by golfer")
    mae_yd = dy.Float64(nullable=False, min=0)
    bias_yd = dy.Float64(nullable=False, description="predicted minus measured")
    coverage90 = dy.Float64(nullable=False, min=0, max=1, description="of the interval for one drive")
    chosen = dy.Bool(nullable=False)
    note = dy.String(nullable=True)


class BandTable(dy.Schema):
    """Speed bands, one row per quarter and band: benchmarks/bands.csv. A suppressed row has null figures."""

    quarter = dy.String(nullable=False, primary_key=True)
    band_mph = dy.Float64(nullable=False, primary_key=True, description="centre of the band")
    golfers = dy.Int64(nullable=True, min=1)
    shots = dy.Int64(nullable=True, min=1)
    carry_p25_yd = dy.Float64(
        nullable=True,
        description="over golfers, each moved to the band's centre: mean of the nearest ranks, whole yards",
    )
    carry_p50_yd = dy.Float64(nullable=True)
    carry_p75_yd = dy.Float64(nullable=True)
    carry_p90_yd = dy.Float64(nullable=True)
    efficient_carry_yd = dy.Float64(nullable=True)
    efficient_lo90_yd = dy.Float64(nullable=True)
    efficient_hi90_yd = dy.Float64(nullable=True)
    total_p25_yd = dy.Float64(nullable=True, description="typical carry and run over golfers, at the band's centre")
    total_p50_yd = dy.Float64(nullable=True)
    total_p75_yd = dy.Float64(nullable=True)
    total_p90_yd = dy.Float64(nullable=True)
    efficient_total_yd = dy.Float64(nullable=True, description="largest expected carry and run together")
    launch_lo_deg = dy.Float64(nullable=True)
    launch_hi_deg = dy.Float64(nullable=True)
    spin_lo_rpm = dy.Float64(nullable=True)
    spin_hi_rpm = dy.Float64(nullable=True)
    total_launch_lo_deg = dy.Float64(nullable=True, description="of the window for carry and run together")
    total_launch_hi_deg = dy.Float64(nullable=True)
    total_spin_lo_rpm = dy.Float64(nullable=True)
    total_spin_hi_rpm = dy.Float64(nullable=True)
    speed_ratio_p50 = dy.Float64(nullable=True)
    in_window_share = dy.Float64(nullable=True, min=0, max=1, description="golfers with their delivery in the window")
    suppressed = dy.Bool(nullable=False)
    note = dy.String(nullable=True)

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
            pl.col("^(carry|total)_p[0-9]+_yd$").is_null(),
        )
