import numpy as np
import polars as pl
import pytest
from straight_golfers import Habit, drives_of

from pipeline.coach.straightness.assess_straightness import run
from pipeline.configuration.study import Straightness as Keys
from pipeline.edge.artefacts import write_artefact
from pipeline.edge.tables_file import read_table
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch, Wind, fly
from pipeline.tables.logs import DriveTable
from pipeline.tables.straightness import Straightness, StraightnessBands
from pipeline.tables.types import types_of

BALL = Ball("indoor-range-2001", 0.92)
GOLFERS = 12
# Of the last golfers of each six: what the log says.
FLOWN, UNKNOWN = 4, 5


@pytest.fixture
def step(tmp_path, capsys):
    """Run the step on drives; give both tables and what was printed."""

    def done(drives):
        kinds = types_of(DriveTable)
        absent = [pl.lit(None, kind).alias(name) for name, kind in kinds.items() if name not in drives.columns]
        plain = {"source": "logs/a.csv", "ball_speed_mph": 140.0, "launch_deg": 13.0, "spin_rpm": 2600.0}
        given = [pl.lit(value).alias(name) for name, value in plain.items()]
        table = drives.with_columns(*absent).with_columns(*given, pl.int_range(1, pl.len() + 1).alias("row"))
        table.select(pl.col(n).cast(kind) for n, kind in kinds.items()).write_parquet(tmp_path / "drives.parquet")
        calibration = Calibration(BALL.coefficients, BALL.drag, BALL.lift, 0.01, 0.01, [], 500, 20, 5.0, 1.0, "")
        write_artefact(tmp_path / "calibration.json", StudyFlight(calibration, 1.45))
        at = {"drives": "drives.parquet", "calibration": "calibration.json", "straightness": "straightness.csv"}
        at |= {"straightness_bands": "straightness_bands.csv"}
        bands = {"centres": [80, 90, 100], "half_width_mph": 5}
        air = {"temp_c": 15, "pressure_hpa": 1013.25, "humidity": 0}
        keys = {"air": air, "bands": bands, "corridor_yd": Keys().corridor_yd, "min_shots": 12, "min_golfers": 5}
        run(**{name: str(tmp_path / file) for name, file in at.items()}, **keys)
        tables = [read_table(tmp_path / at[f"straightness{end}"], schema)
                  for end, schema in (("", Straightness), ("_bands", StraightnessBands))]  # fmt: skip
        return *tables, capsys.readouterr().out

    return done


def study_drives(seed=1, habit=Habit(), cross_mps=0.0, golfers=GOLFERS):  # noqa: B008
    """Drives of golfers at 90 mph whose logged offline has a cross wind's drift in it, and the truth."""
    drives, truth = drives_of(seed, golfers, habit)
    shot = Launch.straight(140 * 0.44704, 13.0, 2600.0)
    air = Air.of(np.array(15.0), np.array(101325.0), np.array(0.0))
    drift = float(fly(shot, BALL, air, Wind(0.0, cross_mps)).offline_m[0] / 0.9144)
    return drives.with_columns(
        pl.col("offline_yd") + drift,
        pl.col("carry_yd").alias("carry_standard_yd"),
        pl.lit(90.0).alias("club_speed_mph"),
        pl.lit(cross_mps).alias("wind_cross_mps"),
    ).drop("carry_yd"), truth


def test_a_planted_cross_wind_is_taken_out_of_the_mean(step):
    drives, truth = study_drives(habit=Habit(drives=90, days=9, mishits=0.0), cross_mps=6.0, golfers=30)
    table, _, _ = step(drives)
    off = table.sort("golfer")["offline_mean_yd"].to_numpy() - truth["mean"].to_numpy()
    assert abs(off.mean()) < 1
    assert drives["offline_yd"].mean() - truth["mean"].mean() > 14
    assert table["cross_wind_yd"].to_list() == pytest.approx([15.1] * 30, abs=0.3)


def test_the_tables_say_who_is_how_straight(step):
    drives, _ = study_drives()
    kind = pl.col("golfer").str.slice(1).str.to_integer(base=16) % 6
    known = drives.with_columns(
        pl.when(kind < FLOWN).then("offline_yd").alias("offline_yd"),
        pl.when(kind == FLOWN).then(1.5).alias("launch_side_deg"),
        pl.when(kind == FLOWN).then(pl.int_range(pl.len()) % 7 - 3.0).alias("spin_axis_deg"),
    )
    table, bands, said = step(known)
    rows = table.sort("golfer").rows(named=True)
    assert [row["status"] for row in rows] == [*["assessed"] * 5, "not_assessed"] * 2
    assert [row["calculated"] for row in rows] == [*[0] * 4, 30, 0] * 2
    assert rows[FLOWN]["note"] == "most offlines are calculated from start direction and spin axis"
    assert rows[FLOWN]["offline_mean_yd"] == pytest.approx(225 * np.sin(np.radians(1.5)), abs=1.5)
    assert rows[0]["cross_wind_yd"] == 0
    assert rows[FLOWN]["cross_wind_yd"] is None
    assert bands["golfers"].to_list() == [None, 10, None]
    assert said == "Newest quarter: straightness of 10 golfers assessed.\n"


def test_a_study_without_offline_says_nothing(step):
    drives, _ = study_drives(golfers=6)
    table, bands, said = step(drives.drop("offline_yd"))
    assert table.is_empty()
    assert bands.is_empty()
    assert said == "No log says where drives came down, so nothing is said about straightness.\n"
