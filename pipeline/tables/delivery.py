"""Tables of what to change in the delivery: slopes on attack, loft, face and path; what each golfer can reach."""

import dataframely as dy
import polars as pl

from pipeline.tables import columns as cols

ADVICE = ("less loft", "more loft", "keep the loft")
PATH_BY = ("golfer", "plane read", "plane assumed")


class DeliverySlopes(cols.Table):
    """Slopes of launch, spin and speed ratio on attack and stated loft, and of directions on face, path and attack.

    Launch and directions in deg, spin in rpm at the golfers' mean club speed, speed ratio without unit, each per deg.
    These are associations: what went together, swing by swing or golfer by golfer.
    """

    FILES = ("model/delivery_slopes.csv",)
    ROW = "response, predictor and scope"

    response = cols.text(
        "Response",
        "launch_deg, spin_rpm or speed_ratio; where logs have a path, launch_side_deg, spin_axis_deg or path_deg.",
        primary_key=True,
    )
    predictor = cols.text(
        "Predictor",
        "attack_deg, or loft_deg at the same attack. Of directions: face_deg and path_deg together, face_to_path_deg "
        "(face less path), face_to_path_by_loft (what 1 deg more stated loft changes in that slope).",
        primary_key=True,
    )
    scope = cols.word(
        "Scope",
        "within: a golfer's own, swing to swing with one device and, for attack, one loft; of directions, in one day. "
        "between: golfer to golfer.",
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
        "Slope by impact",
        "By rigid impact at the mean delivery; that of attack is at one loft. Of path on attack: by geometry.",
        decimals=3,
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
    path_deg = cols.number("Path", "Mean path of the sound drives, to the right positive.", nullable=True)
    face_deg = cols.number("Face", "Mean direction of the face at impact, to the right positive.", nullable=True)
    plane_deg = cols.number(
        "Plane",
        "Inclination of the swing plane: mean reading, or what is assumed (common practice, no source).",
        nullable=True,
    )
    path_after_attack_deg, path_after_attack_lo90_deg, path_after_attack_hi90_deg = cols.estimate(
        "Path with more attack",
        "Path to expect with 3 deg more attack, if nothing else changes.",
    )
    path_by = cols.word(
        "Path with more attack by",
        "What says how path follows attack: the golfer's own swings, or geometry in a plane read or assumed.",
        PATH_BY,
        nullable=True,
    )
    swing_direction_turn_deg = cols.number(
        "Turn of the swing",
        "How far the swing direction must turn to have a path of zero with 3 deg more attack, to the right positive. "
        "Its doubt is that of the path.",
        nullable=True,
    )
    start_direction_deg, start_direction_lo90_deg, start_direction_hi90_deg = cols.estimate(
        "Start direction",
        "Where the ball is expected to start from face and path today. The interval covers how a golfer's days differ, "
        "and the share of the face in the start.",
    )
    spin_axis_deg, spin_axis_lo90_deg, spin_axis_hi90_deg = cols.estimate(
        "Spin axis",
        "Tilt expected from face and path today, of a ball struck with the middle of the face; positive bends right. "
        "The interval covers how a golfer's days differ, and how much face and path tilt the axis; not where on the "
        "face the ball is met.",
    )
    direction_note = cols.text("Note on directions", "How path and turn were found.", nullable=True)
    note = cols.note("Why something isn't given.")

    @dy.rule()
    def turn_undoes_the_path(cls) -> pl.Expr:
        """Check that path after the change and turn cancel; null passes."""
        left = pl.col("path_after_attack_deg") + pl.col("swing_direction_turn_deg")
        return (left.abs() <= 1e-6).fill_null(True)

    @dy.rule()
    def directions_lie_in_their_intervals(cls) -> pl.Expr:
        """Check that start direction and spin axis lie between the ends of their intervals; null passes."""
        return pl.all_horizontal(
            pl.col(f"{name}_deg").is_between(f"{name}_lo90_deg", f"{name}_hi90_deg").fill_null(True)
            for name in ("start_direction", "spin_axis")
        )

    @dy.rule()
    def path_has_a_plane_and_a_note(cls) -> pl.Expr:
        """Check that a path to expect says how it was found."""
        found = pl.all_horizontal(pl.col("plane_deg", "path_by", "direction_note").is_not_null())
        return pl.col("path_after_attack_deg").is_null() | found

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
