"""Tables of progress: what changed for a golfer from quarter to quarter, and for golfers together."""

import dataframely as dy
import polars as pl

VERDICTS = ("better", "worse", "changed", "no more than chance")
MEASURED = ("club_speed", "speed_ratio", "launch", "spin", "carry", "lost")
CARRY_PARTS = ("contact", "launch", "spin", "consistency")


def _change(description: str | None = None) -> dy.Float64:
    return dy.Float64(nullable=True, description=description)


def _share(description: str | None = None) -> dy.Float64:
    return dy.Float64(nullable=True, min=0, max=1, description=description)


def _verdict(description: str | None = None) -> dy.Enum:
    return dy.Enum(list(VERDICTS), nullable=True, description=description)


class Progress(dy.Schema):
    """Golfers in two assessed quarters, one row per golfer and later quarter: golfers/progress.csv.

    A change is the later figure less the earlier one, with its 90 % interval, a two-sided p-value against no change,
    its q value (Benjamini and Hochberg over the golfers of the quarter, each measure by itself) and a verdict.
    """

    golfer = dy.String(nullable=False, primary_key=True, description="pseudonym")
    quarter = dy.String(nullable=False, primary_key=True)
    since = dy.String(nullable=False, description="the last earlier quarter in which the golfer was assessed")
    shots = dy.Int64(nullable=False, min=1)
    shots_before = dy.Int64(nullable=False, min=1)
    days = dy.Int64(nullable=True, min=1, description="on which the drives were struck")
    days_before = dy.Int64(nullable=True, min=1)
    device_changed = dy.Bool(nullable=True, description="most drives on another device; null where it is not known")
    ball_changed = dy.Bool(nullable=True, description="most drives with another ball; null where it is not known")
    club_speed_change_mph = _change("of the mean")
    club_speed_change_lo90_mph = _change()
    club_speed_change_hi90_mph = _change()
    club_speed_p_value = _share()
    club_speed_q_value = _share()
    club_speed_verdict = _verdict()
    speed_ratio_change = _change("of the median; null where ball speed is not known")
    speed_ratio_change_lo90 = _change()
    speed_ratio_change_hi90 = _change()
    speed_ratio_p_value = _share()
    speed_ratio_q_value = _share()
    speed_ratio_verdict = _verdict()
    launch_change_deg = _change("of the median")
    launch_change_lo90_deg = _change()
    launch_change_hi90_deg = _change()
    launch_p_value = _share()
    launch_q_value = _share()
    launch_verdict = _verdict("better: nearer to the efficient window by more than chance; changed: neither")
    spin_change_rpm = _change("of the median")
    spin_change_lo90_rpm = _change()
    spin_change_hi90_rpm = _change()
    spin_p_value = _share()
    spin_q_value = _share()
    spin_verdict = _verdict("better: nearer to the efficient window by more than chance; changed: neither")
    carry_change_yd = _change("of the mean, at standard conditions, reference device and ball")
    carry_change_lo90_yd = _change()
    carry_change_hi90_yd = _change()
    carry_p_value = _share()
    carry_q_value = _share()
    carry_verdict = _verdict()
    lost_change_yd = _change("fewer yards lost are a gain")
    lost_change_lo90_yd = _change()
    lost_change_hi90_yd = _change()
    lost_p_value = _share()
    lost_q_value = _share()
    lost_verdict = _verdict()
    carry_from_speed_yd = _change("of the change in carry, by club speed")
    carry_from_speed_lo90_yd = _change()
    carry_from_speed_hi90_yd = _change()
    carry_from_delivery_yd = _change("by contact, launch, spin and consistency together")
    carry_from_delivery_lo90_yd = _change()
    carry_from_delivery_hi90_yd = _change()
    carry_from_contact_yd = _change("null where ball speed is not known in both quarters")
    carry_from_launch_yd = _change()
    carry_from_spin_yd = _change()
    carry_from_consistency_yd = _change("mean against typical drive")
    carry_from_other_yd = _change("what the drives did beside what the model expects of them")
    note = dy.String(nullable=True)

    @dy.rule()
    def since_is_earlier(cls) -> pl.Expr:
        """Check that a quarter is compared with an earlier one."""
        return pl.col("since") < pl.col("quarter")

    @dy.rule()
    def speed_delivery_and_other_add_up(cls) -> pl.Expr:
        """Check that the three add up to the change in carry, to rounding; null passes."""
        parts = pl.col("carry_from_speed_yd") + pl.col("carry_from_delivery_yd") + pl.col("carry_from_other_yd")
        return ((parts - pl.col("carry_change_yd")).abs() <= 1e-6).fill_null(True)

    @dy.rule()
    def delivery_adds_up(cls) -> pl.Expr:
        """Check that contact, launch, spin and consistency add up to delivery, to rounding; null contact is nil."""
        parts = pl.sum_horizontal(f"carry_from_{part}_yd" for part in CARRY_PARTS)
        return ((parts - pl.col("carry_from_delivery_yd")).abs() <= 1e-6).fill_null(True)

    @dy.rule()
    def a_verdict_has_its_test(cls) -> pl.Expr:
        """Check that a measure has a verdict exactly where it has p and q values."""
        return pl.all_horizontal(
            pl.col(f"{name}_verdict").is_not_null() == pl.col(f"{name}_{value}_value").is_not_null()
            for name in MEASURED
            for value in ("p", "q")
        )


def _mean(description: str | None = None) -> dy.Float64:
    return dy.Float64(nullable=True, description=description)


def _count(description: str | None = None) -> dy.Int64:
    return dy.Int64(nullable=True, min=0, description=description)


class Cohorts(dy.Schema):
    """What changed for golfers together, one row per quarter and group: golfers/cohorts.csv.

    Mean changes are over the golfers compared, with the 90 % interval of that mean. Rows of few golfers are suppressed.
    """

    quarter = dy.String(nullable=False)
    group = dy.String(nullable=True, description="null: all golfers of the quarter")
    golfers = _count("compared with an earlier quarter; null where suppressed")
    device_changed = _count("of them, golfers with most drives on another device than before")
    ball_changed = _count("of them, golfers with most drives with another ball than before")
    club_speed_change_mph = _mean()
    club_speed_change_lo90_mph = _mean()
    club_speed_change_hi90_mph = _mean()
    club_speed_better = _count()
    club_speed_worse = _count()
    speed_ratio_change = _mean()
    speed_ratio_change_lo90 = _mean()
    speed_ratio_change_hi90 = _mean()
    speed_ratio_better = _count()
    speed_ratio_worse = _count()
    launch_change_deg = _mean()
    launch_change_lo90_deg = _mean()
    launch_change_hi90_deg = _mean()
    launch_better = _count()
    launch_worse = _count()
    spin_change_rpm = _mean()
    spin_change_lo90_rpm = _mean()
    spin_change_hi90_rpm = _mean()
    spin_better = _count()
    spin_worse = _count()
    carry_change_yd = _mean()
    carry_change_lo90_yd = _mean()
    carry_change_hi90_yd = _mean()
    carry_better = _count()
    carry_worse = _count()
    lost_change_yd = _mean()
    lost_change_lo90_yd = _mean()
    lost_change_hi90_yd = _mean()
    lost_better = _count()
    lost_worse = _count()
    carry_from_speed_yd = _mean()
    carry_from_speed_lo90_yd = _mean()
    carry_from_speed_hi90_yd = _mean()
    carry_from_delivery_yd = _mean()
    carry_from_delivery_lo90_yd = _mean()
    carry_from_delivery_hi90_yd = _mean()
    carry_from_other_yd = _mean()
    suppressed = dy.Bool(nullable=False)
    note = dy.String(nullable=True)

    @dy.rule()
    def suppressed_is_empty(cls) -> pl.Expr:
        """Check that a suppressed row tells nothing of its golfers."""
        kept = ("quarter", "group", "suppressed", "note")
        told = pl.any_horizontal(pl.col(name).is_not_null() for name in cls.column_names() if name not in kept)
        return ~pl.col("suppressed") | ~told

    @dy.rule()
    def one_row_each(cls) -> pl.Expr:
        """Check that a quarter and group has one row."""
        return pl.len().over("quarter", "group") == 1
