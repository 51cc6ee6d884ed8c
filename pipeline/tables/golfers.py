"""Tables of golfers: yards lost by quarter, and what changed."""

import dataframely as dy
import polars as pl

from pipeline.tables import columns as cols

CAUSES = ("contact", "launch", "spin", "consistency", "mixed", "none")
PARTS = (
    "lost_contact_yd",
    "lost_launch_yd",
    "lost_spin_yd",
    "lost_consistency_yd",
    "lost_curve_yd",
    "lost_other_yd",
)


def _part(label: str, note: str, short: str) -> dy.Float64:
    return cols.number(label, note, nullable=True, short=short, group="Parts of the yards lost")


class Golfers(cols.Table):
    """Golfers with what they lose on a mean drive and why; flagged.csv has the flagged of the newest quarter."""

    FILES = ("golfers/golfers.csv", "golfers/flagged.csv")
    ROW = "golfer and quarter"
    STORED = "golfers"

    golfer = cols.pseudonym()
    quarter = cols.quarter(primary_key=True)
    shots = cols.count("Drives", "Accepted drives of the golfer in the quarter.", min=1)
    club_speed_mph = cols.number("Club speed", "Mean club speed of the quarter's drives.")
    ball_speed_mph = cols.number(
        "Ball speed",
        "Ball speed of the typical drive, its mishits left out. Empty where the logs have none.",
        nullable=True,
    )
    launch_deg = cols.number(
        "Launch",
        "Launch angle of the typical drive: a median, so that mishits don't count. Empty of results by hand.",
        nullable=True,
    )
    spin_rpm = cols.number(
        "Spin", "Backspin of the typical drive, a median. Empty where the device guessed it.", nullable=True
    )
    carry_yd = cols.number("Carry", "Mean carry at standard conditions, for the reference device and ball.")
    efficient_yd = cols.number(
        "Efficient carry",
        "Largest carry to be expected at the golfer's own club speed, over deliveries that golfers of about that speed "
        "really produce, struck with a ratio that the better quarter of them reach. Of results by hand it isn't known, "
        "and the mean carry of the better golfers of that speed stands here.",
        nullable=True,
    )
    lost_yd, lost_lo90_yd, lost_hi90_yd = cols.estimate(
        "Yards lost",
        "Efficient carry minus carry. Its interval, by Student's t corrected for the long tail of mishits, says how "
        "well the yards lost are known, not how single drives scatter.",
    )
    lost_contact_yd = _part(
        "Lost through contact",
        "What the strike costs; below 0 it is a gain. Empty where ball speed is not known.",
        "Contact",
    )
    lost_launch_yd = _part("Lost through launch", "What the launch angle costs.", "Launch")
    lost_spin_yd = _part("Lost through spin", "What backspin costs. Empty where it is guessed.", "Spin")
    lost_consistency_yd = _part(
        "Lost through consistency",
        "Carry of the typical drive minus the mean: what the poorer drives cost.",
        "Consistency",
    )
    lost_curve_yd = _part(
        "Lost through curve",
        "What the bend of the drives costs, by flight at their spin axes: the mean. Empty where the axis is known for "
        "less than half of the drives; what it costs is then in other.",
        "Curve",
    )
    lost_other_yd = _part(
        "Lost otherwise", "What the model can't explain. The parts add up to the yards lost exactly.", "Other"
    )
    main_cause = cols.word(
        "Main cause",
        "Part that stands out from what golfers usually lose by it. mixed: none does. none: hardly anything is lost, "
        "or the logs are results by hand, which don't show it.",
        CAUSES,
    )
    p_value = cols.probability("p", "How often luck alone would show so much lost if just the threshold were lost.")
    q_value = cols.probability(
        "q", "Share of wrong flags to expect among this golfer and all of the quarter who stand out more."
    )
    flagged = cols.flag(
        "Flagged", "Whether there are enough drives, and more than the threshold is lost at the set rate."
    )
    status = cols.word(
        "Status",
        "clear: it was not shown that too much is lost, which does not show that nothing is. "
        "not_assessed: too few drives, or a speed that the benchmarks don't reach.",
        ("flagged", "clear", "not_assessed"),
    )
    ranked_lost_yd, ranked_lo90_yd, ranked_hi90_yd = cols.estimate(
        "Yards lost, luck taken out",
        "Yards lost pulled toward those of golfers of the same speed and scatter of drives, the more the fewer "
        "drives there are. Golfers are ranked by it.",
    )
    own_difference_yd = cols.number(
        "Own difference",
        "How far golfers with the same readings differ in carry for good (standard deviation). Goals allow for it. "
        "Empty where too few golfers show it.",
        decimals=1,
        nullable=True,
    )
    note = cols.note()

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


MOVEMENTS = ("new", "still", "no_longer", "clear", "not_assessed", "not_seen")
UNCOMPARED = MOVEMENTS[4:]


class Changes(cols.Table):
    """Golfers in two quarters. A change is the later figure less the earlier one, where both were assessed."""

    FILES = ("golfers/changes.csv",)
    ROW = "golfer and later quarter"

    golfer = cols.pseudonym()
    quarter = cols.quarter(primary_key=True)
    since = cols.text(
        "Since", "Last earlier quarter in which the golfer was assessed; without one, the last with drives."
    )
    shots = cols.count("Drives now", "Accepted drives in the later quarter; empty if not seen.", nullable=True, min=1)
    shots_before = cols.count("Drives then", "Accepted drives in the earlier quarter.", min=1)
    club_speed_change_mph = cols.number("Club speed, change", "Change of mean club speed.", decimals=1, nullable=True)
    carry_change_yd = cols.number("Carry, change", "Change of mean carry.", nullable=True)
    lost_change_yd = cols.number(
        "Yards lost, change",
        "Change of yards lost; below 0 it is a gain. Empty unless the golfer was assessed in both quarters.",
        nullable=True,
    )
    lost_change_lo90_yd, lost_change_hi90_yd = cols.ends(
        "Yards lost, change", why_empty="Empty where all drives of both quarters were alike too."
    )
    lost_change_std_error_yd = cols.number(
        "Yards lost, change: standard error",
        "Of the drives' luck, the days' form and what golfers share.",
        decimals=1,
        nullable=True,
    )
    lost_change_shared_error_yd = cols.number(
        "Yards lost, change: shared error",
        "What of the standard error other golfers share: efficient carry and what a device or ball adds.",
        decimals=1,
        nullable=True,
    )
    p_value = cols.probability("p", "How often luck alone would bring such a change, either way, if nothing changed.")
    q_value = cols.probability(
        "q",
        "Share of lucky ones to expect among this change and all clearer ones of the quarter, doubled: half of the "
        "rate is for the other measures of progress.csv.",
    )
    more_than_chance = cols.flag(
        "Clear", "Whether q is within the study's false discovery rate; empty where there is no test.", nullable=True
    )
    movement = cols.word(
        "Flag",
        "How the flag moved from the earlier to the later quarter. clear: flagged in neither. not_assessed: not "
        "assessed in one of the two. not_seen: assessed in the quarter before, no drives in this one.",
        MOVEMENTS,
    )
    chance_change_yd = cols.number(
        "Expected by chance alone",
        "Change to expect if nothing changed: yards lost with luck taken out less yards lost, of the earlier quarter.",
        nullable=True,
    )
    note = cols.note()

    @dy.rule()
    def since_is_earlier(cls) -> pl.Expr:
        """Check that a quarter is compared with an earlier one."""
        return pl.col("since") < pl.col("quarter")

    @dy.rule()
    def change_lies_in_its_interval(cls) -> pl.Expr:
        """Check that the interval holds the change; null passes."""
        return pl.col("lost_change_yd").is_between("lost_change_lo90_yd", "lost_change_hi90_yd").fill_null(True)

    @dy.rule()
    def compared_has_a_change(cls) -> pl.Expr:
        """Check that there is a change exactly where the golfer was assessed in both quarters."""
        compared = ~pl.col("movement").cast(pl.String).is_in(UNCOMPARED)
        return compared == pl.col("lost_change_yd").is_not_null()

    @dy.rule()
    def not_seen_has_no_drives(cls) -> pl.Expr:
        """Check that only golfers who weren't seen have no drives in the later quarter."""
        return (pl.col("movement") == "not_seen") == pl.col("shots").is_null()

    @dy.rule()
    def clear_where_tested(cls) -> pl.Expr:
        """Check that a change is said to be clear or not exactly where there is a test."""
        return pl.col("more_than_chance").is_not_null() == pl.col("q_value").is_not_null()
