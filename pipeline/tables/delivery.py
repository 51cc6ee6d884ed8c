"""Tables of what to change in the delivery: slopes on attack and loft, and what each golfer can reach."""

import dataframely as dy
import polars as pl

ADVICE = ("less loft", "more loft", "keep the loft")


class DeliverySlopes(dy.Schema):
    """Slopes of launch, spin and speed ratio on attack and stated loft: model/delivery_slopes.csv.

    One row per response, predictor and scope. Launch in deg, spin in rpm at the golfers' mean club speed, speed ratio
    without unit, each per deg. These are associations: what went together, swing by swing or golfer by golfer.
    """

    response = dy.String(nullable=False, primary_key=True, description="launch_deg, spin_rpm or speed_ratio")
    predictor = dy.String(nullable=False, primary_key=True, description="attack_deg or loft_deg (at the same attack)")
    scope = dy.Enum(
        ["within", "between"],
        nullable=False,
        primary_key=True,
        description="within: a golfer's own, swing to swing with one device and, for attack, one loft",
    )
    golfers = dy.Int64(nullable=False, min=0, description="behind the slope; for loft within, those who vary it")
    drives = dy.Int64(nullable=False, min=0)
    as_read = dy.Float64(nullable=True, description="on the readings, whose errors flatten it")
    slope = dy.Float64(nullable=True, description="with those errors taken out; null where it can't be told")
    std_error = dy.Float64(nullable=True, min=0, description="clustered by golfer")
    lo90 = dy.Float64(nullable=True)
    hi90 = dy.Float64(nullable=True)
    golfer_sd = dy.Float64(nullable=True, min=0, description="by how much golfers' own slopes differ")
    reliability = dy.Float64(nullable=True, max=1, description="share of readings' variance that is no error")
    impact_slope = dy.Float64(nullable=False, description="by rigid impact at the mean delivery; attack at one loft")
    used = dy.Bool(nullable=False, description="moves deliveries in golfers/delivery.csv; else rigid impact or nothing")
    note = dy.String(nullable=True)

    @dy.rule()
    def slope_lies_in_its_interval(cls) -> pl.Expr:
        """Check that the interval holds the slope; null passes."""
        return pl.col("slope").is_between("lo90", "hi90").fill_null(True)

    @dy.rule()
    def between_is_not_used(cls) -> pl.Expr:
        """Check that no golfer is moved along what only differs between golfers."""
        return (pl.col("scope") == "within") | ~pl.col("used")


class Delivery(dy.Schema):
    """What a change of loft or attack might bring, one row per golfer of the newest quarter: golfers/delivery.csv.

    Only golfers with enough drives. Carry is expected carry of the typical drive at the golfer's own club speed.
    """

    golfer = dy.String(nullable=False, primary_key=True, description="pseudonym")
    quarter = dy.String(nullable=False)
    shots = dy.Int64(nullable=False, min=1)
    club_speed_mph = dy.Float64(nullable=False)
    attack_deg = dy.Float64(nullable=True, description="mean of the sound drives, upward positive")
    loft_deg = dy.Float64(nullable=True, description="stated loft of most drives")
    launch_deg = dy.Float64(nullable=False, description="of the typical drive")
    spin_rpm = dy.Float64(nullable=False)
    speed_ratio = dy.Float64(nullable=True)
    carry_now_yd = dy.Float64(nullable=True, description="expected of the typical drive")
    loft_least_deg = dy.Float64(nullable=True, description="least change of loft that the data reach, such as -4")
    loft_most_deg = dy.Float64(nullable=True)
    loft_change_deg = dy.Float64(nullable=True, description="that brings most carry at the present attack")
    best_launch_deg = dy.Float64(nullable=True, description="of the delivery after that change")
    best_spin_rpm = dy.Float64(nullable=True)
    best_speed_ratio = dy.Float64(nullable=True)
    best_carry_yd = dy.Float64(nullable=True)
    gain_yd = dy.Float64(nullable=True, description="best less present carry")
    gain_lo90_yd = dy.Float64(nullable=True)
    gain_hi90_yd = dy.Float64(nullable=True)
    advice = dy.Enum(list(ADVICE), nullable=True, description="to try; keep where the gain may be nil or is small")
    loft_by = dy.Enum(["golfers", "impact"], nullable=True, description="whose word the effect of loft is")
    attack_change_deg = dy.Float64(nullable=True, description="the given change upwards that is looked at")
    attack_loft_change_deg = dy.Float64(nullable=True, description="best change of loft to go with it, from now")
    attack_gain_yd = dy.Float64(nullable=True, description="on top of gain_yd")
    attack_gain_lo90_yd = dy.Float64(nullable=True)
    attack_gain_hi90_yd = dy.Float64(nullable=True)
    note = dy.String(nullable=True, description="why something isn't given")

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
