"""Tables of what was collected: drives, rejected rows, log files."""

from datetime import date
from typing import Any, TypeVar

import dataframely as dy
import polars as pl

from pipeline.tables import columns as cols

Column = TypeVar("Column", bound=dy.Column)

REQUIRED = ("golfer", "struck_at", "club_speed_mph", "launch_deg", "spin_rpm", "carry_yd")
# What results by hand have of these: nothing says how the ball started.
BY_HAND_REQUIRED = ("golfer", "struck_at", "club_speed_mph", "carry_yd")
WANTED = ("ball_speed_mph",)
OPTIONAL_NUMBERS = (
    "total_yd",
    "attack_deg",
    "path_deg",
    "face_deg",
    "plane_deg",
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
    "wind_cross_mps",
)
WITHHELD = "withheld"  # in the place of a text that holds a golfer's name
OPTIONAL_TEXTS = ("site", "device", "ball", "setting", "group")
OPTIONAL_FLAGS = ("spin_measured",)
NUMBERS = ("club_speed_mph", "launch_deg", "spin_rpm", "carry_yd", *WANTED, *OPTIONAL_NUMBERS)
SIDED = ("path_deg", "face_deg", "launch_side_deg", "spin_axis_deg", "offline_yd")  # positive means to the right
LOG_COLUMNS = (*REQUIRED, *WANTED, *OPTIONAL_NUMBERS, *OPTIONAL_TEXTS, *OPTIONAL_FLAGS)

# What a regressor of study.yaml may be called beside the standard columns of OPTIONAL_NUMBERS.
REGRESSOR_NAME = "[A-Za-z][A-Za-z0-9_]{0,59}"

# What a log holds that isn't stored as it is.
OF_LOGS = {
    "golfer": "A name or number. It becomes a pseudonym when the log is collected and is stored nowhere.",
    "struck_at": "Time of the drive, in ISO 8601 or by the format of a layout. Only the day is stored.",
}

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

PSEUDONYM, QUARTER = "^g[0-9a-f]{16}$", "^[0-9]{4}Q[1-4]$"
FIRST_DAY, LAST_DAY = date(1990, 1, 1), date(2099, 12, 31)


def _reading(label: str, note: str, low: float, high: float, **display: Any) -> dy.Float64:
    return cols.number(label, note, nullable=True, min=low, max=high, **display)


def _said(label: str, note: str) -> dy.String:
    return cols.text(label, f"{note} By the log or, if it doesn't say, by study.yaml.", nullable=True)


class Shots(cols.Table):
    """Accepted drives, as collected.

    Bounds are wide human ranges: outside them a reading is a fault of the device or the log, not a golfer.
    """

    FILES = ("collected/*.shots.parquet",)
    ROW = "accepted drive"

    source = cols.source()
    row = cols.row()
    golfer = cols.pseudonym(primary_key=False, regex=PSEUDONYM)
    struck_on = cols.day("Day", "Local day of the drive.", min=FIRST_DAY, max=LAST_DAY)
    quarter = cols.quarter(regex=QUARTER)
    club_speed_mph = cols.number("Club speed", "Speed of the club head just before impact.", min=30, max=165)
    ball_speed_mph = _reading("Ball speed", "Speed of the ball just after impact.", 30, 245)
    launch_deg = cols.number("Launch", "Vertical angle at which the ball starts.", min=-10, max=45)
    spin_rpm = cols.number("Spin", "Backspin just after impact.", min=200, max=12000)
    carry_yd = cols.number("Carry, measured", "Carry as measured.", min=5, max=450, decimals=1, short="Carry")
    total_yd = _reading("Total", "Carry and roll together, as measured.", 5, 550, decimals=1)
    attack_deg = _reading("Attack", "Vertical angle of the club's path, upward positive.", -20, 20)
    path_deg = _reading("Path", "Horizontal angle of the club's path, to the right positive.", -45, 45)
    face_deg = _reading("Face", "Horizontal angle of the face's normal at impact, to the right positive.", -45, 45)
    plane_deg = _reading("Plane", "Inclination of the plane that the club swings in, to the ground.", 20, 90)
    loft_deg = _reading("Loft", "Stated loft of the club.", 0, 30)
    launch_side_deg = _reading(
        "Launch to the side", "Horizontal angle at which the ball starts, to the right positive.", -60, 60
    )
    spin_axis_deg = _reading(
        "Spin axis",
        "Tilt of the spin axis about the ball's first direction; positive bends the flight to the right.",
        -90,
        90,
    )
    apex_yd = _reading("Apex", "Greatest height of the flight.", 0, 150, decimals=1)
    descent_deg = _reading("Descent", "Angle at which the ball lands.", 0, 90)
    offline_yd = _reading(
        "Offline", "Distance from the target line at landing, to the right positive.", -250, 250, decimals=1
    )
    temp_c = _reading("Temperature", "Of the air.", -30, 55, decimals=1)
    pressure_hpa = _reading("Pressure", "At the site, not reduced to sea level.", 500, 1100, decimals=1)
    humidity = _reading("Humidity", "Relative humidity, 0 to 1.", 0, 1, decimals=2)
    altitude_m = _reading("Altitude", "Height above sea level.", -500, 5000)
    wind_along_mps = _reading("Wind along", "Wind along the drive, tail wind positive.", -25, 25, decimals=1)
    wind_cross_mps = _reading("Wind across", "Wind across the drive; from left to right positive.", -25, 25, decimals=1)
    site = _said("Site", "Where the drive was hit.")
    device = _said("Device", "What measured it.")
    ball = _said("Ball", "Kind of ball.")
    setting = _said("Setting", "Setting of the device.")
    group = cols.text(
        "Group", "Group of golfers: m and 16 hex digits, or as written if the study keeps groups plain.", nullable=True
    )
    spin_measured = cols.flag("Spin measured", "false where the device guessed the spin.", nullable=True)
    shot_key = cols.text(
        "Key of the drive", "Keyed fingerprint of golfer and second, by which duplicates are found.",
        regex="^[0-9a-f]{32}$",
    )  # fmt: skip

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
        """Check that a ball launched well flies; where ball speed is unknown, the lowest possible one counts.

        Unknown launch passes: the ball may have been topped.
        """
        ball = pl.col("ball_speed_mph").fill_null(SPEED_RATIO_MIN * pl.col("club_speed_mph"))
        low = (pl.col("launch_deg") < LAUNCH_THAT_CARRIES_DEG).fill_null(True)
        return low | (cls.carry_yd.col >= CARRY_PER_MPH_MIN * ball)

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


class HandShots(Shots):
    """Accepted drives of results by hand, as collected: launch and spin are empty."""

    FILES = ("collected/*.by_hand.parquet",)

    launch_deg = Shots.launch_deg.with_properties(nullable=True)
    spin_rpm = Shots.spin_rpm.with_properties(nullable=True)


# What the logs have another name for: there carry is measured and nothing else.
NAME_IN_LOGS = {"carry_measured_yd": "carry_yd"}


class LoadedShots(Shots):
    """Drives of all logs without duplicates, by source and row."""

    FILES = ("collected/loaded.duckdb",)
    STORED = "shots"

    # In the place of the logs' column, rules and all.
    carry_yd = Shots.carry_yd.with_alias("carry_measured_yd")


class LoadedHandShots(HandShots):
    """Drives of results by hand without duplicates, by source and row, as logged: launch and spin are empty."""

    FILES = ("collected/by_hand.duckdb",)
    STORED = "shots"

    carry_yd = Shots.carry_yd.with_alias("carry_measured_yd")


class StandardShots(LoadedShots):
    """Drives as logged, with their carry at standard conditions and on the reference device and ball too.

    By source and row. What of the readings was put right before any fit stands in the table `devices`.
    """

    FILES = ("shots.duckdb",)

    carry_change_yd = cols.number(
        "Change of carry", "Flight at standard conditions less flight as hit.", min=-150, max=150, decimals=1
    )
    carry_standard_yd = cols.number("Carry, standard", "Carry as measured plus the change.", decimals=1)
    carry_reference_yd = cols.number(
        "Carry, reference",
        "Standard carry without the share that device and ball add, by the model in use.",
        decimals=1,
    )
    curve_yd = cols.number(
        "Curve",
        "What the spin axis costs of carry at standard conditions: flown straight less flown with it. The carry model "
        "is fitted to standard carry plus this, the carry of a straight drive. Empty where the axis isn't known, and "
        "then it counts as 0.",
        decimals=1,
        nullable=True,
    )


def _same(column: Column) -> Column:
    # A copy: a column belongs to one schema.
    return column.with_properties()


class DriveTable(cols.Table):
    """Drives as every later step reads them, by golfer, source and row."""

    FILES = ("collected/drives.parquet",)
    ROW = "accepted drive"

    golfer = _same(Shots.golfer)
    quarter = _same(Shots.quarter)
    struck_on = _same(Shots.struck_on)
    device = _same(Shots.device)
    ball = _same(Shots.ball)
    group = _same(Shots.group)
    club_speed_mph = _same(Shots.club_speed_mph)
    ball_speed_mph = _same(Shots.ball_speed_mph)
    launch_deg = _same(Shots.launch_deg)
    spin_rpm = _same(Shots.spin_rpm)
    carry_measured_yd = _same(Shots.carry_yd)
    carry_standard_yd = cols.number("Carry, standard", "At standard conditions.", decimals=1)
    flown_yd = cols.number(
        "Flown",
        "Carry of the study's calibrated flight at standard conditions; without ball speed, at the study's usual "
        "speed ratio. It is straight, whatever the spin axis. Devices' and balls' shares of carry are fitted over it.",
        decimals=1,
    )
    curve_yd = _same(StandardShots.curve_yd)
    spin_measured = _same(Shots.spin_measured)
    attack_deg = _same(Shots.attack_deg)
    path_deg = _same(Shots.path_deg)
    face_deg = _same(Shots.face_deg)
    plane_deg = _same(Shots.plane_deg)
    loft_deg = _same(Shots.loft_deg)
    launch_side_deg = _same(Shots.launch_side_deg)
    spin_axis_deg = _same(Shots.spin_axis_deg)
    descent_deg = _same(Shots.descent_deg)
    total_yd = _same(Shots.total_yd)
    offline_yd = _same(Shots.offline_yd)
    temp_c = _same(Shots.temp_c)
    pressure_hpa = _same(Shots.pressure_hpa)
    humidity = _same(Shots.humidity)
    altitude_m = _same(Shots.altitude_m)
    wind_along_mps = _same(Shots.wind_along_mps)
    wind_cross_mps = _same(Shots.wind_cross_mps)
    source = _same(Shots.source)
    row = _same(Shots.row)


class StudiedDrives(cols.Table):
    """Drives as the researcher takes them: readings as the fit has them, carry in each sense.

    Readings of a device that misreads are put right here; in `shots` they stand as logged.
    """

    ROW = "accepted drive"
    STORED = "drives"

    source = cols.source(primary_key=True)
    row = cols.row(primary_key=True)
    golfer = _same(Shots.golfer)
    quarter = _same(Shots.quarter)
    struck_on = _same(Shots.struck_on)
    device = _same(Shots.device)
    ball = _same(Shots.ball)
    group = _same(Shots.group)
    club_speed_mph = _same(Shots.club_speed_mph)
    ball_speed_mph = _same(Shots.ball_speed_mph)
    speed_ratio = cols.number("Speed ratio", "Ball speed over club speed.", decimals=3, nullable=True)
    launch_deg = _same(Shots.launch_deg)
    spin_rpm = _same(Shots.spin_rpm)
    spin_measured = _same(Shots.spin_measured)
    carry_measured_yd = _same(Shots.carry_yd)
    carry_standard_yd = cols.number("Carry, standard", "At the standard conditions of the study.", decimals=1)
    carry_reference_yd = _same(StandardShots.carry_reference_yd)
    curve_yd = _same(StandardShots.curve_yd)
    attack_deg = _same(Shots.attack_deg)
    path_deg = _same(Shots.path_deg)
    face_deg = _same(Shots.face_deg)
    plane_deg = _same(Shots.plane_deg)
    loft_deg = _same(Shots.loft_deg)
    launch_side_deg = _same(Shots.launch_side_deg)
    spin_axis_deg = _same(Shots.spin_axis_deg)
    descent_deg = _same(Shots.descent_deg)
    total_yd = _same(Shots.total_yd)
    offline_yd = _same(Shots.offline_yd)
    temp_c = _same(Shots.temp_c)
    pressure_hpa = _same(Shots.pressure_hpa)
    humidity = _same(Shots.humidity)
    altitude_m = _same(Shots.altitude_m)
    wind_along_mps = _same(Shots.wind_along_mps)
    wind_cross_mps = _same(Shots.wind_cross_mps)


# What no other column may be called.
TAKEN = frozenset(name for table in (StandardShots, DriveTable, StudiedDrives) for name in table.columns())


# Whole numbers from here on are numbers of members, telephones or seconds, not readings.
LONG_NUMBER = 100_000


class Readings(cols.Table):
    """What the drives' logs say in the further columns that the study names as regressors. Not there without any."""

    FILES = ("collected/*.readings.parquet",)
    ROW = "accepted drive and column with a number"
    STORED = "readings"

    source = cols.source(primary_key=True)
    row = cols.row(primary_key=True)
    column = cols.text("Column", "Name of the regressor in study.yaml.", primary_key=True, regex=f"^{REGRESSOR_NAME}$")
    value = cols.number("Value", "Number in the log, in the log's own unit.", decimals=3)


class Rejects(cols.Table):
    """Rejected rows. No content of the row, only where it is and the rule it broke."""

    FILES = ("rejects.csv", "practice/rejects.csv")
    ROW = "rejected row"
    STORED = "rejects"

    source = cols.source(primary_key=True)
    row = cols.row(primary_key=True)
    rule = cols.text(
        "Rule",
        "What the row broke: ragged, missing, not_a_name, not_a_number, not_a_time, not_a_flag, in_the_future, "
        "too_low, too_high or a rule across columns.",
    )
    column = cols.text("Column", "The column at fault.")


class Sources(cols.Table):
    """Log files and what became of their rows."""

    FILES = ("sources.csv", "collected/sources.csv", "practice/sources.csv")
    ROW = "log file"
    STORED = "sources"

    source = cols.source(primary_key=True)
    sha256 = cols.text("SHA-256", "Of the file; empty if it can't be read.", nullable=True, regex="^[0-9a-f]{64}$")
    status = cols.word("Status", "Whether the log was used.", ("used", "refused"))
    rows = cols.count("Rows", "Rows of the log: accepted, rejected and duplicates together.")
    accepted = cols.count("Accepted", "Rows that became drives.")
    rejected = cols.count("Rejected", "Rows that broke a rule; rejects.csv lists them.")
    duplicates = cols.count("Duplicates", "Rows of drives that were there already.")
    left_out = cols.count(
        "Left out", "Rows that the layout's `rows` leave out, such as those of other clubs. They are none of the rows."
    )
    reason = cols.text("Remark", "Why a log was refused, or what looks wrong with a used one.", nullable=True)
    device = cols.text(
        "Device", "What measured its drives. Empty of a speed log, and in `collected/sources.csv`.", nullable=True
    )
    device_note = cols.text(
        "Remark on the device",
        "How its readings compare with those of the study's reference device. Empty where there is one device.",
        nullable=True,
    )

    @dy.rule()
    def rows_add_up(cls) -> pl.Expr:
        """Check that rows in = accepted + rejected + duplicates, always."""
        return pl.col("rows") == pl.col("accepted") + pl.col("rejected") + pl.col("duplicates")

    @dy.rule()
    def refused_has_reason(cls) -> pl.Expr:
        """Check that a refused log says why and has no rows."""
        return (pl.col("status") == "used") | (pl.col("reason").is_not_null() & (pl.col("rows") == 0))
