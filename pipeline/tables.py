"""Every table of Yardband: columns, types, units, bounds and rules, each declared here and nowhere else.

The names of the published tables are the contract's. A schema is used with one of two verbs: `filter` splits
foreign rows into accepted and rejected, `validate` raises on our own tables.
"""

from datetime import date

import dataframely as dy
import polars as pl


def types_of(table: type[dy.Schema]) -> dict[str, pl.DataType]:
    """Give the types of a table's columns by name, for a frame that is built from rows."""
    return {name: column.dtype for name, column in table.columns().items()}


REQUIRED = ("golfer", "struck_at", "club_speed_mph", "launch_deg", "spin_rpm", "carry_yd")
WANTED = ("ball_speed_mph",)
OPTIONAL_NUMBERS = (
    "total_yd",
    "attack_deg",
    "path_deg",
    "loft_deg",
    "launch_side_deg",
    "spin_axis_deg",
    "apex_yd",
    "descent_deg",
    "offline_yd",
    "temp_c",
    "pressure_hpa",
    "humidity",
    "altitude_m",
    "wind_along_mps",
)
OPTIONAL_TEXTS = ("site", "device", "ball", "setting", "group")
OPTIONAL_FLAGS = ("spin_measured",)
NUMBERS = ("club_speed_mph", "launch_deg", "spin_rpm", "carry_yd", *WANTED, *OPTIONAL_NUMBERS)
LOG_COLUMNS = (*REQUIRED, *WANTED, *OPTIONAL_NUMBERS, *OPTIONAL_TEXTS, *OPTIONAL_FLAGS)

# Ball speed over club speed. Rigid impact at a restitution of 0.83 and a 200 g club head gives 1.49 at no loft
# (impact equations of Penner 2001); readings scatter around that. Outside these bounds a reading is wrong.
SPEED_RATIO_MIN = 0.8
SPEED_RATIO_MAX = 1.56

# A drive carries about 1.7 yd per mph of ball speed at sea level (common practice, no source). Thin air and a
# tail wind add a quarter at the most, so above 2.1 a carry is no drive's. A ball launched at 8 deg or more
# flies farther than half a yard per mph however it spins.
CARRY_PER_MPH_MAX = 2.1
CARRY_PER_MPH_MIN = 0.5
LAUNCH_THAT_CARRIES_DEG = 8.0


class Shots(dy.Schema):
    """Accepted drives, one row each, as collected.

    Bounds are wide human ranges: outside them a reading is a fault of the device or the log, not a golfer.
    """

    source = dy.String(nullable=False, description="log file inside the study folder")
    row = dy.Int64(nullable=False, min=1, description="row in the log, the first under the header is 1")
    golfer = dy.String(nullable=False, regex="^g[0-9a-f]{16}$", description="pseudonym")
    struck_on = dy.Date(nullable=False, min=date(1990, 1, 1), max=date(2099, 12, 31), description="local day")
    quarter = dy.String(nullable=False, regex="^[0-9]{4}Q[1-4]$", description="calendar quarter")
    club_speed_mph = dy.Float64(nullable=False, min=30, max=165)
    ball_speed_mph = dy.Float64(nullable=True, min=30, max=245)
    launch_deg = dy.Float64(nullable=False, min=-10, max=45)
    spin_rpm = dy.Float64(nullable=False, min=200, max=12000, description="backspin")
    carry_yd = dy.Float64(nullable=False, min=5, max=450, description="carry as measured")
    total_yd = dy.Float64(nullable=True, min=5, max=550)
    attack_deg = dy.Float64(nullable=True, min=-20, max=20, description="upward positive")
    path_deg = dy.Float64(nullable=True, min=-45, max=45)
    loft_deg = dy.Float64(nullable=True, min=0, max=30, description="stated loft of the club")
    launch_side_deg = dy.Float64(nullable=True, min=-60, max=60)
    spin_axis_deg = dy.Float64(nullable=True, min=-90, max=90)
    apex_yd = dy.Float64(nullable=True, min=0, max=150)
    descent_deg = dy.Float64(nullable=True, min=0, max=90)
    offline_yd = dy.Float64(nullable=True, min=-250, max=250)
    temp_c = dy.Float64(nullable=True, min=-30, max=55)
    pressure_hpa = dy.Float64(nullable=True, min=500, max=1100, description="at the site, not reduced to sea level")
    humidity = dy.Float64(nullable=True, min=0, max=1)
    altitude_m = dy.Float64(nullable=True, min=-500, max=5000)
    wind_along_mps = dy.Float64(nullable=True, min=-25, max=25, description="tail wind positive")
    site = dy.String(nullable=True)
    device = dy.String(nullable=True)
    ball = dy.String(nullable=True)
    setting = dy.String(nullable=True)
    group = dy.String(nullable=True, description="m and 16 hex digits; as written if the study keeps groups plain")
    spin_measured = dy.Bool(nullable=True, description="false where the device guessed the spin")
    shot_key = dy.String(nullable=False, regex="^[0-9a-f]{32}$", description="keyed fingerprint of golfer and second")

    @dy.rule()
    def speed_ratio_too_high(cls) -> pl.Expr:
        """Check that ball speed over club speed is possible; unknown ball speed passes."""
        return (pl.col("ball_speed_mph") <= SPEED_RATIO_MAX * pl.col("club_speed_mph")).fill_null(True)

    @dy.rule()
    def speed_ratio_too_low(cls) -> pl.Expr:
        """Check that the ball was struck at all; unknown ball speed passes."""
        return (pl.col("ball_speed_mph") >= SPEED_RATIO_MIN * pl.col("club_speed_mph")).fill_null(True)

    @dy.rule()
    def carry_too_long_for_ball_speed(cls) -> pl.Expr:
        """Check that carry is possible for the ball speed; where that is unknown, for the highest possible one."""
        ball = pl.col("ball_speed_mph").fill_null(SPEED_RATIO_MAX * pl.col("club_speed_mph"))
        return pl.col("carry_yd") <= CARRY_PER_MPH_MAX * ball

    @dy.rule()
    def carry_too_short_for_ball_speed(cls) -> pl.Expr:
        """Check that a ball launched well flies; where ball speed is unknown, the lowest possible one counts."""
        ball = pl.col("ball_speed_mph").fill_null(SPEED_RATIO_MIN * pl.col("club_speed_mph"))
        return (pl.col("launch_deg") < LAUNCH_THAT_CARRIES_DEG) | (pl.col("carry_yd") >= CARRY_PER_MPH_MIN * ball)

    @dy.rule()
    def total_shorter_than_carry(cls) -> pl.Expr:
        """Check that a ball rolls backwards by 5 yd at most; unknown total passes."""
        return (pl.col("total_yd") >= pl.col("carry_yd") - 5).fill_null(True)


# The column that each rule across columns is charged to in rejects.csv.
COLUMN_OF_RULE = {
    "speed_ratio_too_high": "ball_speed_mph",
    "speed_ratio_too_low": "ball_speed_mph",
    "carry_too_long_for_ball_speed": "carry_yd",
    "carry_too_short_for_ball_speed": "carry_yd",
    "total_shorter_than_carry": "total_yd",
}


class StandardShots(Shots):
    """Drives with their carry at standard conditions: the table `shots` of shots.duckdb."""

    carry_change_yd = dy.Float64(nullable=False, min=-150, max=150, description="flight at standard less flight as hit")
    carry_standard_yd = dy.Float64(nullable=False, description="carry as measured plus the change")


class Rejects(dy.Schema):
    """Rejected rows, one row each: rejects.csv. No content of the row, only where it is and the rule it broke."""

    source = dy.String(nullable=False, primary_key=True)
    row = dy.Int64(nullable=False, min=1, primary_key=True)
    rule = dy.String(
        nullable=False,
        description="ragged, missing, not_a_name, not_a_number, not_a_time, not_a_flag, in_the_future, too_low, "
        "too_high or a rule across columns",
    )
    column = dy.String(nullable=False)


class Sources(dy.Schema):
    """Log files, one row each: sources.csv."""

    source = dy.String(nullable=False, primary_key=True)
    sha256 = dy.String(nullable=True, regex="^[0-9a-f]{64}$", description="of the file; null if it can't be read")
    status = dy.Enum(["used", "refused"], nullable=False)
    rows = dy.Int64(nullable=False, min=0)
    accepted = dy.Int64(nullable=False, min=0)
    rejected = dy.Int64(nullable=False, min=0)
    duplicates = dy.Int64(nullable=False, min=0)
    reason = dy.String(nullable=True, description="why a log was refused, or what looks wrong with a used one")

    @dy.rule()
    def rows_add_up(cls) -> pl.Expr:
        """Check that rows in = accepted + rejected + duplicates, always."""
        return pl.col("rows") == pl.col("accepted") + pl.col("rejected") + pl.col("duplicates")

    @dy.rule()
    def refused_has_reason(cls) -> pl.Expr:
        """Check that a refused log says why and has no rows."""
        return (pl.col("status") == "used") | (pl.col("reason").is_not_null() & (pl.col("rows") == 0))


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
    lost_lo90_yd = dy.Float64(nullable=True)
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
