"""Tables of what golfers want and what it takes: goals, and whether speed or delivery comes first."""

import dataframely as dy
import polars as pl

REACHES = ("reached", "delivery", "both", "speed", "beyond_data", "no_goal")
FIRSTS = ("delivery", "speed", "either", "cant_tell")

_ROUNDING_YD = 1e-6


class Goals(dy.Schema):
    """A goal for each golfer assessed in the newest quarter, one row each: golfers/goals.csv. Distances are carry.

    `reach` says what the goal takes: `reached` already; `delivery` alone, at today's club speed; `both` an efficient
    delivery and more speed; `speed` alone, the delivery leaves nothing to be had; `beyond_data`: more speed than the
    golfers here have; `no_goal`.
    """

    golfer = dy.String(nullable=False, primary_key=True, description="pseudonym")
    quarter = dy.String(nullable=False)
    band_mph = dy.Float64(nullable=True, description="centre of the golfer's band; null between bands")
    club_speed_mph = dy.Float64(nullable=False)
    carry_yd = dy.Float64(nullable=False, description="mean, as in golfers.csv")
    carry_lo90_yd = dy.Float64(nullable=False, description="at this club speed, as wide as that of yards lost")
    carry_hi90_yd = dy.Float64(nullable=False)
    goal_yd = dy.Float64(nullable=True)
    goal_from = dy.Enum(["study", "next band"], nullable=True, description="who set the goal")
    gap_yd = dy.Float64(nullable=True, description="goal less mean carry; below nil once it is reached")
    gap_lo90_yd = dy.Float64(nullable=True)
    gap_hi90_yd = dy.Float64(nullable=True)
    delivery_yd = dy.Float64(nullable=True, min=0, description="of the gap: what delivery gives at today's speed")
    delivery_lo90_yd = dy.Float64(nullable=True, min=0)
    delivery_hi90_yd = dy.Float64(nullable=True, min=0)
    speed_yd = dy.Float64(nullable=True, min=0, description="of the gap: the rest, which more speed has to give")
    speed_lo90_yd = dy.Float64(nullable=True, min=0)
    speed_hi90_yd = dy.Float64(nullable=True, min=0)
    efficient_speed_mph = dy.Float64(nullable=True, description="club speed at which efficient carry is the goal")
    efficient_speed_lo90_mph = dy.Float64(nullable=True, description="null: beyond the data")
    efficient_speed_hi90_mph = dy.Float64(nullable=True, description="null: beyond the data")
    present_speed_mph = dy.Float64(nullable=True, description="club speed for the goal if the delivery stays as it is")
    present_speed_lo90_mph = dy.Float64(nullable=True, description="null: beyond the data")
    present_speed_hi90_mph = dy.Float64(nullable=True, description="null: beyond the data")
    reach = dy.Enum(list(REACHES), nullable=False)
    note = dy.String(nullable=True)

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
            (pl.col(f"{name}_{unit}") >= pl.col(f"{name}_lo90_{unit}") - _ROUNDING_YD).fill_null(True)
            & (pl.col(f"{name}_{unit}") <= pl.col(f"{name}_hi90_{unit}") + _ROUNDING_YD).fill_null(True)
            for name, unit in (
                ("carry", "yd"),
                ("gap", "yd"),
                ("delivery", "yd"),
                ("speed", "yd"),
                ("efficient_speed", "mph"),
                ("present_speed", "mph"),
            )
        ]
        return pl.all_horizontal(inside)


class Priorities(dy.Schema):
    """Speed or delivery first, one row per golfer assessed in the newest quarter: golfers/priorities.csv.

    `first` is what gives more: `delivery` or `speed` where that is likely enough; `either` where about as many yards
    are to be expected of one as of the other; `cant_tell` otherwise.
    """

    golfer = dy.String(nullable=False, primary_key=True, description="pseudonym")
    quarter = dy.String(nullable=False)
    club_speed_mph = dy.Float64(nullable=False)
    delivery_yd = dy.Float64(
        nullable=False, description="yards lost at today's speed, luck taken out where that can be"
    )
    delivery_lo90_yd = dy.Float64(nullable=False)
    delivery_hi90_yd = dy.Float64(nullable=False)
    yards_per_mph = dy.Float64(nullable=False, description="of club speed, the delivery as it is")
    speed_gain_mph = dy.Float64(nullable=True, description="what golfers here gain in a quarter on average")
    speed_gain_lo90_mph = dy.Float64(nullable=True, description="nine golfers in ten gain between these")
    speed_gain_hi90_mph = dy.Float64(nullable=True)
    speed_yd = dy.Float64(nullable=True, description="what such a gain in speed is worth")
    speed_lo90_yd = dy.Float64(nullable=True)
    speed_hi90_yd = dy.Float64(nullable=True)
    delivery_more_probability = dy.Float64(
        nullable=True, min=0, max=1, description="that delivery gives more than speed"
    )
    first = dy.Enum(list(FIRSTS), nullable=False)
    confidence = dy.Float64(nullable=True, min=0, max=1, description="in a first that is delivery or speed")
    note = dy.String(nullable=True)

    @dy.rule()
    def only_a_choice_has_confidence(cls) -> pl.Expr:
        """Check that confidence is there exactly where delivery or speed is named."""
        named = pl.col("first").cast(pl.String).is_in(["delivery", "speed"])
        return named == pl.col("confidence").is_not_null()
