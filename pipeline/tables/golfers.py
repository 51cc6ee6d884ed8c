"""Tables of golfers: yards lost by quarter, and what changed."""

import dataframely as dy
import polars as pl

CAUSES = ("contact", "launch", "spin", "consistency", "mixed", "none")
PARTS = ("lost_contact_yd", "lost_launch_yd", "lost_spin_yd", "lost_consistency_yd", "lost_other_yd")


class Golfers(dy.Schema):
    """Golfers, one row per golfer and quarter: golfers/golfers.csv; flagged.csv has the same columns."""

    golfer = dy.String(nullable=False, primary_key=True, description="pseudonym")
    quarter = dy.String(nullable=False, primary_key=True)
    shots = dy.Int64(nullable=False, min=1)
    club_speed_mph = dy.Float64(nullable=False, description="mean of the drives")
    ball_speed_mph = dy.Float64(nullable=True, description="of the typical drive")
    launch_deg = dy.Float64(nullable=False, description="of the typical drive")
    spin_rpm = dy.Float64(nullable=False, description="of the typical drive")
    carry_yd = dy.Float64(nullable=False, description="mean, at standard conditions, reference device and ball")
    efficient_yd = dy.Float64(nullable=True)
    lost_yd = dy.Float64(nullable=True)
    lost_lo90_yd = dy.Float64(nullable=True, description="by Student's t, mended for the long tail of mishits")
    lost_hi90_yd = dy.Float64(nullable=True)
    lost_contact_yd = dy.Float64(nullable=True, description="null where ball speed is not known")
    lost_launch_yd = dy.Float64(nullable=True)
    lost_spin_yd = dy.Float64(nullable=True)
    lost_consistency_yd = dy.Float64(nullable=True)
    lost_other_yd = dy.Float64(nullable=True)
    main_cause = dy.Enum(list(CAUSES), nullable=False)
    p_value = dy.Float64(nullable=True, min=0, max=1, description="against: lost no more than the threshold")
    q_value = dy.Float64(nullable=True, min=0, max=1, description="Benjamini and Hochberg, study and quarter")
    flagged = dy.Bool(nullable=False)
    status = dy.Enum(["flagged", "clear", "not_assessed"], nullable=False)
    ranked_lost_yd = dy.Float64(
        nullable=True, description="yards lost shrunk towards golfers of like speed and scatter; to rank by"
    )
    ranked_lo90_yd = dy.Float64(nullable=True)
    ranked_hi90_yd = dy.Float64(nullable=True)
    note = dy.String(nullable=True)

    @dy.rule()
    def parts_add_up(cls) -> pl.Expr:
        """Check that the parts add up to yards lost, to rounding; null where nothing could be worked out."""
        gap = pl.sum_horizontal(*PARTS) - pl.col("lost_yd")
        return (gap.abs() <= 1e-6).fill_null(True)

    @dy.rule()
    def lost_is_the_difference(cls) -> pl.Expr:
        """Check that yards lost are efficient minus mean carry; null passes."""
        return ((pl.col("efficient_yd") - pl.col("carry_yd") - pl.col("lost_yd")).abs() <= 1e-6).fill_null(True)

    @dy.rule()
    def ranked_lies_in_its_interval(cls) -> pl.Expr:
        """Check that only yards lost are ranked, each with an interval around it."""
        inside = pl.col("ranked_lost_yd").is_between("ranked_lo90_yd", "ranked_hi90_yd").fill_null(False)
        return pl.col("ranked_lost_yd").is_null() | (inside & pl.col("lost_yd").is_not_null())

    @dy.rule()
    def unassessed_has_no_p(cls) -> pl.Expr:
        """Check that a golfer has p and q values exactly when assessed."""
        assessed = pl.col("status") != "not_assessed"
        return (assessed == pl.col("p_value").is_not_null()) & (assessed == pl.col("q_value").is_not_null())


MOVEMENTS = ("new", "persisting", "resolved", "none")


class Changes(dy.Schema):
    """Golfers in two assessed quarters, one row per golfer and later quarter: golfers/changes.csv.

    A change is the later figure less the earlier one; fewer yards lost are a gain.
    """

    golfer = dy.String(nullable=False, primary_key=True, description="pseudonym")
    quarter = dy.String(nullable=False, primary_key=True)
    since = dy.String(nullable=False, description="the last earlier quarter in which the golfer was assessed")
    shots = dy.Int64(nullable=False, min=1)
    shots_before = dy.Int64(nullable=False, min=1)
    club_speed_change_mph = dy.Float64(nullable=False)
    carry_change_yd = dy.Float64(nullable=False)
    lost_change_yd = dy.Float64(nullable=False)
    lost_change_lo90_yd = dy.Float64(nullable=True, description="null where all drives of both quarters were alike")
    lost_change_hi90_yd = dy.Float64(nullable=True)
    p_value = dy.Float64(nullable=True, min=0, max=1, description="two-sided, against: no change")
    q_value = dy.Float64(nullable=True, min=0, max=1, description="Benjamini and Hochberg, study and quarter")
    more_than_chance = dy.Bool(nullable=False, description="q value within the study's false discovery rate")
    movement = dy.Enum(
        list(MOVEMENTS), nullable=False, description="of the flag, from the earlier to the later quarter"
    )
    chance_change_yd = dy.Float64(
        nullable=True, description="change to expect if nothing changed: ranked less yards lost of the earlier quarter"
    )
    note = dy.String(nullable=True)

    @dy.rule()
    def since_is_earlier(cls) -> pl.Expr:
        """Check that a quarter is compared with an earlier one."""
        return pl.col("since") < pl.col("quarter")

    @dy.rule()
    def change_lies_in_its_interval(cls) -> pl.Expr:
        """Check that the interval holds the change; null passes."""
        return pl.col("lost_change_yd").is_between("lost_change_lo90_yd", "lost_change_hi90_yd").fill_null(True)
