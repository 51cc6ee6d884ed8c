"""Tables of what was collected: drives, rejected rows, log files."""

from datetime import date

import dataframely as dy
import polars as pl

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
        return cls.carry_yd.col <= CARRY_PER_MPH_MAX * ball

    @dy.rule()
    def carry_too_short_for_ball_speed(cls) -> pl.Expr:
        """Check that a ball launched well flies; where ball speed is unknown, the lowest possible one counts."""
        ball = pl.col("ball_speed_mph").fill_null(SPEED_RATIO_MIN * pl.col("club_speed_mph"))
        return (pl.col("launch_deg") < LAUNCH_THAT_CARRIES_DEG) | (cls.carry_yd.col >= CARRY_PER_MPH_MIN * ball)

    @dy.rule()
    def total_shorter_than_carry(cls) -> pl.Expr:
        """Check that a ball rolls backwards by 5 yd at most; unknown total passes."""
        return (pl.col("total_yd") >= cls.carry_yd.col - 5).fill_null(True)


# The column that each rule across columns is charged to in rejects.csv.
COLUMN_OF_RULE = {
    "speed_ratio_too_high": "ball_speed_mph",
    "speed_ratio_too_low": "ball_speed_mph",
    "carry_too_long_for_ball_speed": "carry_yd",
    "carry_too_short_for_ball_speed": "carry_yd",
    "total_shorter_than_carry": "total_yd",
}


# What the logs have another name for: there carry is measured and nothing else.
NAME_IN_LOGS = {"carry_measured_yd": "carry_yd"}


class LoadedShots(Shots):
    """Drives of all logs without duplicates, by source and row: the table `shots` of loaded.duckdb."""

    # In the place of the logs' column, rules and all.
    carry_yd = dy.Float64(alias="carry_measured_yd", nullable=False, min=5, max=450, description="carry as measured")


class StandardShots(LoadedShots):
    """Drives with their carry as measured, at standard conditions and on the reference device and ball.

    The table `shots` of shots.duckdb, by source and row.
    """

    carry_change_yd = dy.Float64(nullable=False, min=-150, max=150, description="flight at standard less flight as hit")
    carry_standard_yd = dy.Float64(nullable=False, description="carry as measured plus the change")
    carry_reference_yd = dy.Float64(
        nullable=False, description="standard carry less what the device and the ball add, by the model in use"
    )


class DriveTable(dy.Schema):
    """Drives as every later step reads them: drives.parquet, by golfer, source and row. Bounds as for Shots."""

    golfer = dy.String(nullable=False, description="pseudonym")
    quarter = dy.String(nullable=False)
    struck_on = dy.Date(nullable=False)
    device = dy.String(nullable=True)
    ball = dy.String(nullable=True)
    group = dy.String(nullable=True)
    club_speed_mph = dy.Float64(nullable=False)
    ball_speed_mph = dy.Float64(nullable=True)
    launch_deg = dy.Float64(nullable=False)
    spin_rpm = dy.Float64(nullable=False)
    carry_measured_yd = dy.Float64(nullable=False)
    carry_standard_yd = dy.Float64(nullable=False, description="at standard conditions")
    spin_measured = dy.Bool(nullable=True)
    attack_deg = dy.Float64(nullable=True)
    loft_deg = dy.Float64(nullable=True)
    temp_c = dy.Float64(nullable=True)
    pressure_hpa = dy.Float64(nullable=True)
    humidity = dy.Float64(nullable=True)
    altitude_m = dy.Float64(nullable=True)
    wind_along_mps = dy.Float64(nullable=True)
    source = dy.String(nullable=False)
    row = dy.Int64(nullable=False)


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
