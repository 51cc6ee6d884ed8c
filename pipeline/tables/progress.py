"""Tables of progress: what changed for a golfer from quarter to quarter, and for golfers together."""

import dataframely as dy
import polars as pl

from pipeline.tables import columns as cols

NO_CHANGE = "no_clear_change"
VERDICTS = ("better", "worse", "changed", NO_CHANGE)
MEASURED = ("club_speed", "speed_ratio", "launch", "spin", "carry", "lost", "offline_mean", "offline_sd")
CARRY_PARTS = ("contact", "launch", "spin", "consistency")

_Three = tuple[dy.Float64, dy.Float64, dy.Float64]


def _change(label: str, note: str, decimals: int | None = None) -> _Three:
    return cols.estimate(f"{label}, change", note, short=label, decimals=decimals)


def _gained(by: str, note: str, decimals: int | None = None) -> dy.Float64:
    return cols.number(f"Carry gained by {by}", note, short=f"by {by}", decimals=decimals, nullable=True)


def _gained_with_ends(by: str, note: str, decimals: int | None = None) -> _Three:
    return cols.estimate(f"Carry gained by {by}", note, short=f"by {by}", decimals=decimals)


def _tested(label: str, note: str = "") -> tuple[dy.Float64, dy.Float64, dy.Enum]:
    return (
        cols.probability(f"{label}, p", "How often luck alone would bring such a change, either way."),
        cols.probability(
            f"{label}, q",
            "Share of lucky ones to expect among this change and all clearer ones, times the measures.",
        ),
        cols.word(f"{label}, verdict", f"Better or worse only beyond chance. {note}".strip(), VERDICTS, nullable=True),
    )


_IF_KNOWN = "Empty where straightness wasn't assessed in these two quarters."
_BY_WINDOW = "better: nearer to the efficient window. changed: neither nearer nor farther."


class Progress(cols.Table):
    """Golfers in two assessed quarters, measure by measure.

    A change is the later figure less the earlier one, with its 90 % interval, a two-sided p-value against no change,
    its q value (Benjamini and Hochberg over the golfers of the quarter; the measures share the rate) and a verdict.
    """

    FILES = ("golfers/progress.csv",)
    ROW = "golfer and later quarter"

    golfer = cols.pseudonym()
    quarter = cols.quarter(primary_key=True)
    since = cols.text("Since", "Last earlier quarter in which the golfer was assessed.")
    shots = cols.count("Drives now", "Accepted drives in the later quarter.", min=1)
    shots_before = cols.count("Drives then", "Accepted drives in the earlier quarter.", min=1)
    days = cols.count("Days now", "Days on which they were struck, in the later quarter.", nullable=True, min=1)
    days_before = cols.count("Days then", "The same of the earlier quarter.", nullable=True, min=1)
    device_changed = cols.flag("Device changed", "Most drives on another device; empty if not known.", nullable=True)
    ball_changed = cols.flag("Ball changed", "Most drives with another ball; empty if not known.", nullable=True)
    club_speed_change_mph, club_speed_change_lo90_mph, club_speed_change_hi90_mph = _change(
        "Club speed", "Change of the mean.", 1
    )
    club_speed_p_value, club_speed_q_value, club_speed_verdict = _tested("Club speed")
    speed_ratio_change, speed_ratio_change_lo90, speed_ratio_change_hi90 = _change(
        "Speed ratio", "Change of the median; empty where ball speed is not known.", 2
    )
    speed_ratio_p_value, speed_ratio_q_value, speed_ratio_verdict = _tested("Speed ratio")
    launch_change_deg, launch_change_lo90_deg, launch_change_hi90_deg = _change("Launch", "Change of the median.")
    launch_p_value, launch_q_value, launch_verdict = _tested("Launch", _BY_WINDOW)
    spin_change_rpm, spin_change_lo90_rpm, spin_change_hi90_rpm = _change("Spin", "Change of the median.")
    spin_p_value, spin_q_value, spin_verdict = _tested("Spin", _BY_WINDOW)
    carry_change_yd, carry_change_lo90_yd, carry_change_hi90_yd = _change(
        "Carry", "Change of the mean, at standard conditions, for the reference device and ball."
    )
    carry_p_value, carry_q_value, carry_verdict = _tested("Carry")
    lost_change_yd, lost_change_lo90_yd, lost_change_hi90_yd = _change(
        "Yards lost", "Change of yards lost; below 0 it is a gain."
    )
    lost_p_value, lost_q_value, lost_verdict = _tested("Yards lost")
    offline_mean_change_yd, offline_mean_change_lo90_yd, offline_mean_change_hi90_yd = _change(
        "Offline", f"Change of the mean, to the right of the target. {_IF_KNOWN}"
    )
    offline_mean_p_value, offline_mean_q_value, offline_mean_verdict = _tested(
        "Offline", "better: nearer to the target line. changed: neither nearer nor farther."
    )
    offline_sd_change_yd, offline_sd_change_lo90_yd, offline_sd_change_hi90_yd = _change(
        "Offline spread", f"Change of the standard deviation; below 0 the drives are closer together. {_IF_KNOWN}"
    )
    offline_sd_p_value, offline_sd_q_value, offline_sd_verdict = _tested("Offline spread", "better: narrower.")
    carry_from_speed_yd, carry_from_speed_lo90_yd, carry_from_speed_hi90_yd = _gained_with_ends(
        "speed", "Part of the change in carry that club speed brought."
    )
    carry_from_delivery_yd, carry_from_delivery_lo90_yd, carry_from_delivery_hi90_yd = _gained_with_ends(
        "the strike", "Part that contact, launch, spin and consistency brought together."
    )
    carry_from_contact_yd = _gained("contact", "Part of the strike's; empty without ball speed in both quarters.")
    carry_from_launch_yd = _gained("launch", "Part of the strike's.")
    carry_from_spin_yd = _gained("spin", "Part of the strike's.")
    carry_from_consistency_yd = _gained("consistency", "Part of the strike's: the mean against the typical drive.")
    carry_from_other_yd = _gained("other", "What the drives did beyond what the model expects of them.")
    note = cols.note()

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


def _counts(label: str) -> tuple[dy.Int64, dy.Int64]:
    better, worse = (
        cols.count(
            f"{label} {way}", f"Golfers whose {label[0].lower()}{label[1:]} became {way} beyond chance.", nullable=True
        )
        for way in ("better", "worse")
    )
    return better, worse


def _mean_change(label: str, decimals: int) -> _Three:
    # A mean over golfers is better known than a golfer's own change: a digit more.
    return _change(label, "Mean of the golfers' changes, with the interval of that mean.", decimals)


class Cohorts(cols.Table):
    """What changed for golfers together. Rows of few golfers are suppressed."""

    FILES = ("golfers/cohorts.csv",)
    ROW = "quarter and group"

    quarter = cols.quarter()
    group = cols.text("Group", "Empty: all golfers of the quarter.", nullable=True)
    golfers = cols.count("Golfers", "Compared with an earlier quarter; empty where suppressed.", nullable=True)
    device_changed = cols.count("Device changed", "Of them, golfers with most drives on another device.", nullable=True)
    ball_changed = cols.count("Ball changed", "Of them, golfers with most drives with another ball.", nullable=True)
    club_speed_change_mph, club_speed_change_lo90_mph, club_speed_change_hi90_mph = _mean_change("Club speed", 1)
    club_speed_better, club_speed_worse = _counts("Club speed")
    speed_ratio_change, speed_ratio_change_lo90, speed_ratio_change_hi90 = _mean_change("Speed ratio", 3)
    speed_ratio_better, speed_ratio_worse = _counts("Speed ratio")
    launch_change_deg, launch_change_lo90_deg, launch_change_hi90_deg = _mean_change("Launch", 1)
    launch_better, launch_worse = _counts("Launch")
    spin_change_rpm, spin_change_lo90_rpm, spin_change_hi90_rpm = _mean_change("Spin", 0)
    spin_better, spin_worse = _counts("Spin")
    carry_change_yd, carry_change_lo90_yd, carry_change_hi90_yd = _mean_change("Carry", 1)
    carry_better, carry_worse = _counts("Carry")
    lost_change_yd, lost_change_lo90_yd, lost_change_hi90_yd = _mean_change("Yards lost", 1)
    lost_better, lost_worse = _counts("Yards lost")
    carry_from_speed_yd, carry_from_speed_lo90_yd, carry_from_speed_hi90_yd = _gained_with_ends(
        "speed", "Part of the mean change in carry that club speed brought.", 1
    )
    carry_from_delivery_yd, carry_from_delivery_lo90_yd, carry_from_delivery_hi90_yd = _gained_with_ends(
        "the strike", "Part of it that the strike brought.", 1
    )
    carry_from_other_yd = _gained("other", "Part of it that can't be explained.", 1)
    suppressed = cols.flag("Suppressed", "Whether the figures are left out because there are too few golfers.")
    note = cols.note()

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
