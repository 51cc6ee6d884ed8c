import numpy as np
import pytest
from scipy.interpolate import make_interp_spline

from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.flight_table import AXES, OUTPUTS, FlightTable, spline_coefficients, table_key
from pipeline.physics.trajectory import Launch, Wind, fly

YARD = 0.9144
AIR = Air.of(15.0, 101325.0, 0.0)
RHO, MU = float(AIR.density_kg_m3), float(AIR.viscosity_pa_s)


@pytest.fixture(scope="module")
def table():
    return FlightTable.build(Ball("smits-smith-1994", drag=0.9, lift=0.95), RHO, MU)


def random_shots(n, seed):
    rng = np.random.default_rng(seed)
    speed, launch, root = (rng.uniform(lo, hi, n) for lo, hi, _ in AXES)
    return speed, launch, root**2


def test_the_table_is_direct_flight_within_two_hundredths_of_a_yard(table):
    # Over the whole domain; the longer study flies 20,000 shots (docs/evidence/flight).
    shots = random_shots(4000, seed=1)
    flown = fly(Launch.straight(*shots), table.ball, AIR)
    found = dict(zip(OUTPUTS, table.fly(*shots), strict=True))
    assert np.max(np.abs(found["carry_m"] - flown.carry_m)) / YARD < 0.02
    assert np.max(np.abs(found["time_s"] - flown.time_s)) < 0.002
    assert np.max(np.abs(found["speed_mps"] - flown.speed_mps)) < 0.01
    assert np.max(np.abs(found["descent_deg"] - flown.descent_deg)) < 0.03
    assert np.max(np.abs(found["spin_rpm"] - flown.spin_rpm)) < 1.0


@pytest.mark.parametrize("wind", [-8.0, 6.0])
def test_wind_is_a_moving_frame(table, wind):
    speed, launch, spin = np.array([45.0, 60.0, 75.0]), np.array([15.0, 13.0, 11.0]), np.array([3200.0, 2700.0, 2300.0])
    flown = fly(Launch.straight(speed, launch, spin), table.ball, AIR, Wind(along_mps=wind))
    carry, time, over_ground, descent, _ = table.fly(speed, launch, spin, wind)
    np.testing.assert_allclose(carry / YARD, flown.carry_m / YARD, atol=0.02)
    np.testing.assert_allclose(time, flown.time_s, atol=1e-3)
    np.testing.assert_allclose(over_ground, flown.speed_mps, atol=0.01)
    np.testing.assert_allclose(descent, flown.descent_deg, atol=0.02)


def test_a_landing_alone_is_that_of_the_flight(table):
    shots = random_shots(50, seed=3)
    shots[1][:3] = 1.0  # outside the domain
    np.testing.assert_array_equal(table.land(*shots), table.fly(*shots)[2:])


def test_shots_outside_the_domain_are_flown(table):
    speed, launch, spin = np.array([15.0, 60.0, 60.0]), np.array([12.0, 1.0, 12.0]), np.array([2500.0, 2500.0, 11000.0])
    assert not table.holds(speed, launch, spin).any()
    flown = fly(Launch.straight(speed, launch, spin), table.ball, AIR)
    np.testing.assert_array_equal(table.carry_m(speed, launch, spin), flown.carry_m)


def test_grids_flown_in_two_processes_are_the_same_bytes(table, monkeypatch):
    monkeypatch.setenv("YARDBAND_THREADS", "2")
    thin, same = FlightTable.build_each(table.ball, [(RHO * 0.9, MU), (RHO, MU)])
    np.testing.assert_array_equal(same.splines, table.splines)
    monkeypatch.setenv("YARDBAND_THREADS", "1")
    np.testing.assert_array_equal(FlightTable.build(table.ball, RHO * 0.9, MU).splines, thin.splines)


def test_spline_is_scipys_not_a_knot_spline():
    # Reference: scipy.interpolate.make_interp_spline, cubic, whose default ends are not-a-knot.
    from scipy.ndimage import map_coordinates

    x = np.arange(9.0)
    y = np.sin(x) + 0.1 * x**2
    at = np.linspace(0, 8, 101)
    ours = map_coordinates(spline_coefficients(y, 0), [at + 1], order=3, prefilter=False)
    np.testing.assert_allclose(ours, make_interp_spline(x, y, k=3)(at), atol=1e-10)


def test_the_key_follows_everything_that_the_table_depends_on(table):
    keys = {
        table.key,
        table_key(table.ball.scaled(0.91, 0.95), RHO, MU),
        table_key(Ball("lyu-2018", 0.9, 0.95), RHO, MU),
        table_key(table.ball, RHO * 0.99, MU),
        table_key(table.ball, RHO, MU * 1.01),
    }
    assert len(keys) == 5
    assert table_key(table.ball, RHO, MU) == table.key


def test_a_table_comes_back_from_its_arrays_and_another_grid_is_refused(table, monkeypatch):
    arrays = table.to_arrays()
    again = FlightTable.from_arrays(arrays)
    assert again.key == table.key
    shots = random_shots(10, seed=2)
    np.testing.assert_array_equal(again.fly(*shots), table.fly(*shots))
    monkeypatch.setattr("pipeline.physics.flight_table.AXES", (AXES[0], AXES[1], (20.0, 90.0, 51)))
    with pytest.raises(ValueError, match="another grid"):
        FlightTable.from_arrays(arrays)
