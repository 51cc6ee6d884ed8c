"""Tables of what to change in the delivery: slopes on attack and loft, and what each golfer can reach."""

import dataframely as dy
import polars as pl

from pipeline.tables import columns as cols

ADVICE = ("less loft", "more loft", "keep the loft")


class DeliverySlopes(cols.Table):
    """Slopes of launch, spin and speed ratio on attack and stated loft.

    Launch in deg, spin in rpm at the golfers' mean club speed, speed ratio without unit, each per deg. These are
    associations: what went together, swing by swing or golfer by golfer.
    """

    FILES = ("model/delivery_slopes.csv",)
    ROW = "response, predictor and scope"

    response = cols.text("Response", "launch_deg, spin_rpm or speed_ratio.", primary_key=True)
    predictor = cols.text("Predictor", "attack_deg, or loft_deg at the same attack.", primary_key=True)
    scope = cols.word(
        "Scope",
        "within: a golfer's own, swing to swing with one device and, for attack, one loft. between: golfer to golfer.",
        ("within", "between"),
        primary_key=True,
    )
    golfers = cols.count("Golfers", "Behind the slope; for loft within golfers, those who vary it.")
    drives = cols.count("Drives", "Their sound drives.")
    as_read = cols.number("Slope as read", "On the readings, whose errors flatten it.", decimals=3, nullable=True)
    slope = cols.number("Slope", "With those errors taken out. Empty where too few show it.", decimals=3, nullable=True)
    std_error = cols.number("Standard error", "Of the slope, clustered by golfer.", decimals=3, nullable=True, min=0)
    lo90, hi90 = cols.ends("Slope", decimals=3)
    golfer_sd = cols.number(
        "Spread over golfers", "Standard deviation of golfers' own slopes.", decimals=3, nullable=True, min=0
    )
    reliability = cols.number(
        "Reliability", "Share of the readings' variance that isn't error.", decimals=2, nullable=True, max=1
    )
    impact_slope = cols.number(
        "Slope by impact", "By rigid impact at the mean delivery; that of attack is at one loft.", decimals=3
    )
    used = cols.flag(
        "Used", "Whether golfers/delivery.csv moves deliveries by it; else rigid impact or nothing is used."
    )
    note = cols.note()

    @dy.rule()
    def slope_lies_in_its_interval(cls) -> pl.Expr:
        """Check that the interval holds the slope; null passes."""
        return pl.col("slope").is_between("lo90", "hi90").fill_null(True)

    @dy.rule()
    def between_is_not_used(cls) -> pl.Expr:
        """Check that no golfer is moved along what only differs between golfers."""
        return (pl.col("scope") == "within") | ~pl.col("used")


class Delivery(cols.Table):
    """What a change of loft or attack might bring the typical drive at the golfer's own club speed."""

    FILES = ("golfers/delivery.csv",)
    ROW = "golfer of the newest quarter with enough drives"

    golfer = cols.pseudonym()
    quarter = cols.quarter()
    shots = cols.count("Drives", "Accepted drives of the golfer in the quarter.", min=1)
    club_speed_mph = cols.number("Club speed", "Mean club speed of the quarter's drives.")
    attack_deg = cols.number("Attack", "Mean attack angle of the sound drives, upward positive.", nullable=True)
    loft_deg = cols.number("Loft", "Stated loft of most drives.", nullable=True)
    launch_deg = cols.number("Launch", "Launch angle of the typical drive.")
    spin_rpm = cols.number("Spin", "Backspin of the typical drive. Empty where it is guessed.", nullable=True)
    speed_ratio = cols.number(
        "Speed ratio", "Ball speed over club speed of the typical drive.", decimals=2, nullable=True
    )
    carry_now_yd = cols.number("Carry now", "Expected of the typical drive.", nullable=True)
    loft_least_deg = cols.number("Least change of loft", "Least change that the data reach, such as -4.", nullable=True)
    loft_most_deg = cols.number("Most change of loft", "Most change that the data reach.", nullable=True)
    loft_change_deg = cols.number(
        "Best change of loft", "Change that brings most carry at today's attack.", nullable=True
    )
    best_launch_deg = cols.number("Best launch", "Launch angle after that change.", nullable=True)
    best_spin_rpm = cols.number("Best spin", "Backspin after that change.", nullable=True)
    best_speed_ratio = cols.number("Best speed ratio", "Speed ratio after that change.", decimals=2, nullable=True)
    best_carry_yd = cols.number("Best carry", "Carry expected after that change.", nullable=True)
    gain_yd, gain_lo90_yd, gain_hi90_yd = cols.estimate("Gain", "Best carry less carry now.")
    advice = cols.word("Advice", "What to try. keep the loft: the gain may be zero or is small.", ADVICE, nullable=True)
    loft_by = cols.word(
        "Effect of loft by",
        "What says how loft acts: golfers here, or rigid impact.",
        ("golfers", "impact"),
        nullable=True,
    )
    attack_change_deg = cols.number("More attack", "Upward change of attack that is looked at.", nullable=True)
    attack_loft_change_deg = cols.number(
        "Change of loft with it", "Best change of loft to go with more attack, from now.", nullable=True
    )
    attack_gain_yd, attack_gain_lo90_yd, attack_gain_hi90_yd = cols.estimate(
        "Gain by more attack", "Carry on top of the gain by loft."
    )
    note = cols.note("Why something isn't given.")

    @dy.rule()
    def gain_is_the_difference(cls) -> pl.Expr:
        """Check that the gain is best less present carry and no loss; null passes."""
        gain = pl.col("best_carry_yd") - pl.col("carry_now_yd")
        return (((gain - pl.col("gain_yd")).abs() <= 1e-6) & (pl.col("gain_yd") >= 0)).fill_null(True)

    @dy.rule()
    def change_lies_where_data_reach(cls) -> pl.Expr:
        """Check that the change of loft lies in its range; null passes."""
        return pl.col("loft_change_deg").is_between("loft_least_deg", "loft_most_deg").fill_null(True)

    @dy.rule()
    def nothing_has_a_reason(cls) -> pl.Expr:
        """Check that a row without a figure says why."""
        nothing = pl.col("gain_yd").is_null() | pl.col("attack_gain_yd").is_null()
        return ~nothing | pl.col("note").is_not_null()
