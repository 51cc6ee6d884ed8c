"""Tables of what golfers want and what it takes: goals, and whether speed or the strike comes first.

The strike is all that costs yards at today's club speed: contact, launch, spin and consistency. Columns and words that
call it delivery keep their names, since files have them; elsewhere delivery is launch and spin alone.
"""

import dataframely as dy
import polars as pl

from pipeline.tables import columns as cols

REACHES = ("reached", "delivery", "both", "speed", "beyond_data", "no_goal")
SOURCES = ("study", "own speed", "a year's gain", "a small step", "next band")
SHARE_SOURCES = ("own", "shrunk", "others")
FIRSTS = ("delivery", "speed", "either", "cant_tell")

_ROUNDING_YD = 1e-6
_BEYOND = "Empty: beyond the data."


class Goals(cols.Table):
    """A goal for each golfer assessed in the newest quarter. Distances are carry."""

    FILES = ("golfers/goals.csv",)
    ROW = "golfer assessed in the newest quarter"

    golfer = cols.pseudonym()
    quarter = cols.quarter()
    band_mph = cols.number("Band center", "Of the golfer's band; empty between bands.", nullable=True, trim=True)
    club_speed_mph = cols.number("Club speed now", "Mean club speed of the quarter's drives.")
    carry_yd, carry_lo90_yd, carry_hi90_yd = cols.estimate(
        "Carry now",
        "Mean carry, as in golfers.csv. Its interval is at this club speed, as wide as that of yards lost.",
        nullable=False,
    )
    goal_yd = cols.number("Goal", "Carry to reach.", nullable=True)
    goal_from = cols.word(
        "Goal from",
        "Where the goal comes from. study: set by the study. own speed: the efficient carry at today's club speed. "
        "a year's gain: what a year's usual gain in club speed allows. a small step: what 1 mph more allows, where the "
        "usual gain isn't known or isn't clearly above zero. next band: the efficient carry of the next band.",
        SOURCES,
        nullable=True,
    )
    gap_yd, gap_lo90_yd, gap_hi90_yd = cols.estimate(
        "Gap to the goal", "Goal less mean carry; below 0 once it is reached."
    )
    delivery_yd, delivery_lo90_yd, delivery_hi90_yd = cols.estimate(
        "Gap by the strike", "Part of the gap that an efficient drive gives at today's club speed.",
        short="of it by the strike, at this club speed", min=0,
    )  # fmt: skip
    speed_yd, speed_lo90_yd, speed_hi90_yd = cols.estimate(
        "Gap by speed", "Rest of the gap, which more club speed has to give.", short="of it by more club speed", min=0
    )
    efficient_speed_mph, efficient_speed_lo90_mph, efficient_speed_hi90_mph = cols.estimate(
        "Club speed for the goal, efficient delivery", "Club speed at which efficient carry is the goal.",
        why_empty=_BEYOND,
    )  # fmt: skip
    present_speed_mph, present_speed_lo90_mph, present_speed_hi90_mph = cols.estimate(
        "Club speed for the goal, delivery as now", "Club speed for the goal if the delivery stays as it is.",
        why_empty=_BEYOND,
    )  # fmt: skip
    quarters, quarters_lo90, quarters_hi90 = cols.estimate(
        "Quarters for the goal", "Time that the missing club speed takes at the mean pace of golfers here, with an "
        "efficient delivery. 0 where no more speed is needed. Empty where nobody can say. How far a golfer's own pace "
        "is from the mean is not in the interval.",
        why_empty="Empty: no end, since the pace may be zero or the speed lies beyond the data.",
        short="Quarters at the pace of golfers here", min=0,
    )  # fmt: skip
    reach = cols.word(
        "What it takes",
        "reached: already. delivery: an efficient delivery at today's club speed. both: an efficient delivery and more "
        "speed. speed: more speed, for the delivery leaves nothing. beyond_data: more speed than golfers here have.",
        REACHES,
    )
    share_reaching = cols.share(
        "Drives that reach the goal",
        "Share of the golfer's drives of new days that carry the goal, mishits and a day's form in it, if the golfer "
        "drives as in this quarter.",
        nullable=True,
    )
    share_reaching_lo90, share_reaching_hi90 = cols.ends(
        "Drives that reach the goal", decimals=0, min=0, max=1, percent=True
    )
    share_efficient = cols.share(
        "Drives that reach it, efficient delivery",
        "The same with an efficient delivery at today's club speed, the drives scattering as they do now.",
        nullable=True,
    )
    share_at_goal_speed = cols.share(
        "Drives that reach it, efficient delivery and the goal's speed",
        "The same at the club speed for the goal: the typical drive carries it then, and mishits don't.",
        nullable=True,
    )
    nine_of_ten_yd = cols.number("9 of 10 drives carry", "Carry that 9 of 10 of today's drives reach.", nullable=True)
    five_of_ten_yd = cols.number("5 of 10 drives carry", "Carry that half of today's drives reach.", nullable=True)
    one_of_ten_yd = cols.number("1 of 10 drives carries", "Carry that 1 of 10 of today's drives reach.", nullable=True)
    share_from = cols.word(
        "Shares from",
        "What shares rest on. own: the golfer's own drives, for four fifths or more. shrunk: those and how other "
        "golfers' drives scatter. others: how others' drives scatter about this golfer's center, the own ones being "
        "too few.",
        SHARE_SOURCES,
        nullable=True,
    )
    note = cols.note()

    @dy.rule()
    def fewer_drives_go_farther(cls) -> pl.Expr:
        """Check that nine of ten drives reach no more than five, and five no more than one; null passes."""
        nine, five, one = (pl.col(f"{number}_of_ten_yd") for number in ("nine", "five", "one"))
        return ((nine <= five + _ROUNDING_YD) & (five <= one + _ROUNDING_YD)).fill_null(True)

    @dy.rule()
    def parts_add_up(cls) -> pl.Expr:
        """Check that delivery and speed add up to the gap, to rounding; null passes."""
        return ((pl.col("delivery_yd") + pl.col("speed_yd") - pl.col("gap_yd")).abs() <= _ROUNDING_YD).fill_null(True)

    @dy.rule()
    def gap_is_the_difference(cls) -> pl.Expr:
        """Check that the gap is goal less carry; null passes."""
        return ((pl.col("goal_yd") - pl.col("carry_yd") - pl.col("gap_yd")).abs() <= _ROUNDING_YD).fill_null(True)

    @dy.rule()
    def intervals_hold_their_figures(cls) -> pl.Expr:
        """Check that no figure lies outside its interval; null passes."""
        inside = [
            (pl.col(f"{name}{unit}") >= pl.col(f"{name}_lo90{unit}") - _ROUNDING_YD).fill_null(True)
            & (pl.col(f"{name}{unit}") <= pl.col(f"{name}_hi90{unit}") + _ROUNDING_YD).fill_null(True)
            for name, unit in (
                ("carry", "_yd"),
                ("gap", "_yd"),
                ("delivery", "_yd"),
                ("speed", "_yd"),
                ("efficient_speed", "_mph"),
                ("present_speed", "_mph"),
                ("quarters", ""),
                ("share_reaching", ""),
            )
        ]
        return pl.all_horizontal(inside)


class Priorities(cols.Table):
    """Whether speed or the strike (contact, launch, spin and consistency) gives a golfer more."""

    FILES = ("golfers/priorities.csv",)
    ROW = "golfer assessed in the newest quarter"

    golfer = cols.pseudonym()
    quarter = cols.quarter()
    club_speed_mph = cols.number("Club speed", "Mean club speed of the quarter's drives.")
    delivery_yd, delivery_lo90_yd, delivery_hi90_yd = cols.estimate(
        "The strike gives", "Yards lost at today's club speed, with luck taken out where that can be.", nullable=False
    )
    yards_per_mph = cols.number("Yards per mph", "Carry for a mile an hour more, the delivery as it is.", decimals=1)
    speed_gain_mph, speed_gain_lo90_mph, speed_gain_hi90_mph = cols.estimate(
        "Gain in club speed", "What golfers here gain from quarter to quarter on average.",
        level="range of 9 golfers in 10", decimals=1,
    )  # fmt: skip
    speed_yd, speed_lo90_yd, speed_hi90_yd = cols.estimate("Speed gives", "What such a gain in speed is worth.")
    delivery_more_probability = cols.share(
        "The strike gives more", "Probability that the strike gives more than speed.", nullable=True
    )
    first = cols.word(
        "First",
        "What gives more, where that is likely enough. delivery: the strike. either: about as many yards are to be "
        "expected of both. cant_tell: neither is likely enough.",
        FIRSTS,
    )
    confidence = cols.share("Confidence", "Probability of that, where the strike or speed is named.", nullable=True)
    note = cols.note()

    @dy.rule()
    def only_a_choice_has_confidence(cls) -> pl.Expr:
        """Check that confidence is there exactly where delivery or speed is named."""
        named = pl.col("first").cast(pl.String).is_in(["delivery", "speed"])
        return named == pl.col("confidence").is_not_null()
