import numpy as np
import polars as pl
import pytest

from pipeline.edge.artefacts import read_stamped, write_stamped
from pipeline.flight.calibrate import calibrate_best
from pipeline.flight.standard import AirNodes, StudyTables, standard_flight
from pipeline.physics.air import Air
from pipeline.physics.air_of_drives import air_of_drives
from pipeline.physics.ball import Ball
from pipeline.physics.flight_table import FlightTable, table_key
from pipeline.physics.trajectory import Launch, Wind, fly

STANDARD = (15.0, 1013.25)
SEA_LEVEL = Air.of(15.0, 101325.0, 0.0)
PAIR = (float(SEA_LEVEL.density_kg_m3), float(SEA_LEVEL.viscosity_pa_s))


def tables_for(drives, ball):
    air, _ = air_of_drives(drives, *STANDARD)
    return StudyTables.build(ball, PAIR, AirNodes.of(air))


@pytest.mark.parametrize(
    ("truth", "wind", "coefficients", "within"),
    [
        (Ball("indoor-range-2001", 0.92), 5.0, "best", 0.01),
        (Ball("indoor-range-2001", 0.92), -5.0, "best", 0.01),
        (Ball("smits-smith-1994", 0.9), -5.0, "best", 0.01),
        # A ball that "best" doesn't consider: its own set by name, and what a candidate's other form leaves.
        (Ball("lyu-2018", 1.05, 0.85), 5.0, "lyu-2018", 0.01),
        (Ball("lyu-2018", 1.05, 0.85), 5.0, "best", 0.02),
    ],
)
def test_two_sites_of_the_same_golfers_agree(site, truth, wind, coefficients, within):
    # Sea level against 1500 m in a 5 m/s wind.
    low, high = site(truth), site(truth, 1500.0, wind)
    drives = pl.concat([low, high])
    kept, _ = calibrate_best(drives, coefficients, *STANDARD, seed=1)
    change, *_ = standard_flight(drives, tables_for(drives, kept.ball), *STANDARD, ratio=1.45)
    carry = drives.get_column("carry_measured_yd").to_numpy() + change
    here, there = carry[: low.height].mean(), carry[low.height :].mean()
    assert abs(there / here - 1) < within
    # Sites only: the air moved carry by this much in the first place.
    raw = high.get_column("carry_measured_yd").mean() - low.get_column("carry_measured_yd").mean()
    assert np.mean(change[low.height :]) == pytest.approx(-raw, abs=210 * within)


def test_change_is_the_difference_of_two_direct_flights(site):
    drives = site(Ball(), 1500.0, 5.0, golfers=20, shots=5)
    ball = Ball("smits-smith-1994", 0.9, 0.95)
    change, flown, _ = standard_flight(drives, tables_for(drives, ball), *STANDARD, ratio=1.45)
    shot = Launch.straight(
        drives.get_column("ball_speed_mph").to_numpy() * 0.44704,
        drives.get_column("launch_deg").to_numpy(),
        drives.get_column("spin_rpm").to_numpy(),
    )
    air, wind = air_of_drives(drives, *STANDARD)
    direct = fly(shot, ball, SEA_LEVEL).carry_m - fly(shot, ball, air, Wind(along_mps=wind)).carry_m
    np.testing.assert_allclose(change, direct / 0.9144, atol=0.04)
    np.testing.assert_allclose(flown, fly(shot, ball, SEA_LEVEL).carry_m / 0.9144, atol=0.04)


def test_standard_air_without_wind_changes_nothing(site):
    drives = site(Ball(), golfers=10, shots=3)
    change, *_ = standard_flight(drives, tables_for(drives, Ball()), *STANDARD, ratio=1.45)
    np.testing.assert_array_equal(change, 0.0)


@pytest.mark.bench
def test_many_airs_are_interpolated_between_tables(site):
    rng = np.random.default_rng(1)
    drives = site(Ball(), golfers=20, shots=10)
    n = drives.height
    drives = drives.with_columns(
        temp_c=pl.Series(rng.uniform(-2, 38, n)),
        altitude_m=pl.Series(rng.uniform(0, 1800, n)),
        humidity=pl.Series(rng.uniform(0, 1, n)),
        wind_along_mps=pl.Series(rng.uniform(-6, 6, n)),
    )
    ball = Ball("indoor-range-2001", 0.92)
    tables = tables_for(drives, ball)
    assert len(tables.tables) == 15
    change, *_ = standard_flight(drives, tables, *STANDARD, ratio=1.45)
    shot = Launch.straight(
        drives.get_column("ball_speed_mph").to_numpy() * 0.44704,
        drives.get_column("launch_deg").to_numpy(),
        drives.get_column("spin_rpm").to_numpy(),
    )
    air, wind = air_of_drives(drives, *STANDARD)
    direct = fly(shot, ball, SEA_LEVEL).carry_m - fly(shot, ball, air, Wind(along_mps=wind)).carry_m
    np.testing.assert_allclose(change, direct / 0.9144, atol=0.05)


def test_unknown_air_is_standard_and_pressure_comes_from_altitude():
    drives = pl.DataFrame(
        {
            "temp_c": [None, 20.0, 20.0],
            "pressure_hpa": [None, None, 900.0],
            "humidity": [None, 0.5, None],
            "altitude_m": [None, 1000.0, 1000.0],
            "wind_along_mps": [None, -2.0, 3.0],
        },
        schema_overrides=dict.fromkeys(["temp_c", "pressure_hpa", "humidity"], pl.Float64),
    )
    air, wind = air_of_drives(drives, *STANDARD)
    expected = [
        Air.of(15.0, 101325.0, 0.0),
        Air.of(20.0, 89874.6, 0.5),
        Air.of(20.0, 90000.0, 0.0),
    ]
    # ISO 2533 at 1000 m, from memory: 898.75 hPa.
    np.testing.assert_allclose(air.density_kg_m3, [float(one.density_kg_m3) for one in expected], rtol=5e-5)
    assert wind.tolist() == [0.0, -2.0, 3.0]


def test_missing_ball_speed_takes_the_ratio(site):
    drives = site(Ball(), 1500.0, golfers=10, shots=3)
    blind = drives.with_columns(ball_speed_mph=pl.lit(None, pl.Float64))
    at_ratio = drives.with_columns(ball_speed_mph=pl.col("club_speed_mph") * 1.44)
    tables = tables_for(drives, Ball())
    np.testing.assert_array_equal(
        standard_flight(blind, tables, *STANDARD, ratio=1.44),
        standard_flight(at_ratio, tables, *STANDARD, ratio=1.0),
    )


def test_tables_come_back_from_their_arrays_with_their_keys(site):
    drives = site(Ball(), 900.0, golfers=5, shots=2)
    tables = tables_for(drives, Ball())
    again = StudyTables.from_arrays(tables.to_arrays())
    air, _ = air_of_drives(drives, *STANDARD)
    pairs = [PAIR, *AirNodes.of(air).pairs]
    assert list(again.by_key) == list(tables.by_key) == [table_key(Ball(), *pair) for pair in pairs]
    assert again.by_key.keys().isdisjoint(table_key(Ball(drag=0.99), *pair) for pair in pairs)
    np.testing.assert_array_equal(
        standard_flight(drives, again, *STANDARD, ratio=1.45),
        standard_flight(drives, tables, *STANDARD, ratio=1.45),
    )


def test_a_grid_that_is_known_is_not_flown_again(site, tmp_path, monkeypatch):
    ball, flown = Ball(), []
    few = site(ball, 900.0, 5, 2)
    write_stamped(path := tmp_path / "tables.npz", tables_for(few, ball).to_arrays(), "of some code")
    monkeypatch.setattr(FlightTable, "build_each", lambda _, airs: [flown.append(air) or "a new table" for air in airs])
    more, _ = air_of_drives(pl.concat([few, site(ball, 1500.0, 5, 2)]), *STANDARD)
    known = StudyTables.from_arrays(read_stamped(path, "of some code")).by_key
    made = StudyTables.build(ball, PAIR, AirNodes.of(more), known)
    assert made.standard is known[table_key(ball, *PAIR)]
    assert len(made.tables) == 2
    assert len(flown) == 1
    assert "a new table" in made.tables
    assert len(StudyTables.build(Ball(drag=0.99), PAIR, AirNodes.of(more), known).tables) == 2
    assert len(flown) == 4  # another ball knows none of them
