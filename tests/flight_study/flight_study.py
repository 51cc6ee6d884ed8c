"""How accurate and how fast the flight code is; a longer study with its own command, `snakemake flight_study`.

Outputs, committed under docs/evidence/flight: accuracy.csv (one row per coefficient set and comparison, differences of
carry in yd), speed.csv (one row per figure), README.md (both beside the targets). No study folder is needed.
"""

import os
import platform
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np
import numpy.typing as npt
import polars as pl
from flight_study_text import report
from one_ball_solver import calm_carry_by_array_solver, calm_carry_by_solver, carry_by_solver

from pipeline.edge.files import write_csv, write_text
from pipeline.physics.air import ISA_PRESSURE_PA, ISA_TEMP_C, Air
from pipeline.physics.ball import SETS, Ball
from pipeline.physics.flight_table import AXES, OUTPUTS, FlightTable
from pipeline.physics.trajectory import STEP_S, Launch, Wind, fly
from pipeline.statistics.arrays import Array
from pipeline.units import METRES_PER_YARD

SEED = 20_260_301
SHOTS = 20_000  # held against the table; the count
LAUNCHES = 500  # held against the general solver and a fine step
WIND_MPS = 8.0
CROSS_MPS = 5.0
SIDE_DEG = 8.0
TILT_DEG = 30.0
FINE_STEP_S = 0.001
# The reference: an eighth-order method at a tolerance whose own error is under a hundredth of what is looked for.
REFERENCE = ("DOP853", 1e-10)

# Tolerances that the loop over the general solver may take, loosest first: eight to a factor of ten.
TOLERANCES = tuple(float(10 ** (-k / 8)) for k in range(32, 81))
LOOPED = 250  # launches of the loop
DIRECT_SHOTS = 50_000
TABLE_SHOTS = 500_000
REPEATS = 5


def standard_air() -> Air:
    """Give dry ISA air at sea level."""
    return Air.of(ISA_TEMP_C, ISA_PRESSURE_PA, 0.0)


def random_launches(n: int, rng: np.random.Generator) -> Launch:
    """Draw straight shots evenly over the flight table's axes: speed, launch and root of spin."""
    speed_mps, launch_deg, root = (rng.uniform(lo, hi, n) for lo, hi, _ in AXES)
    return Launch.straight(speed_mps, launch_deg, root**2)


def answered(table: FlightTable, launch: Launch, along_mps: Array) -> npt.NDArray[np.bool_]:
    """Mark the shots that lie in the table's domain as seen from the moving air, shape (n,)."""
    rise = np.radians(launch.launch_deg)
    flat, up = launch.speed_mps * np.cos(rise) - along_mps, launch.speed_mps * np.sin(rise)
    return table.holds(np.hypot(flat, up), np.degrees(np.arctan2(up, flat)), launch.spin_rpm)


def table_differences_yd(table: FlightTable, launch: Launch, along_mps: Array) -> Array:
    """Work out how far the table's carry is from direct integration.

    Parameters
    ----------
    table : FlightTable
    launch : Launch
        Straight shots.
    along_mps : ndarray, shape (n,)
        Tail wind positive.

    Returns
    -------
    ndarray
        Absolute differences of carry, yd, of those shots that the table answers itself: a shot that the wind's frame
        moves out of the domain is flown directly, so it says nothing.
    """
    inside = answered(table, launch, along_mps)
    found = table.carry_m(launch.speed_mps, launch.launch_deg, launch.spin_rpm, along_mps)
    flown = fly(launch, table.ball, table.air, Wind(along_mps=along_mps)).carry_m
    return np.asarray(np.abs(found - flown)[inside] / METRES_PER_YARD)


def accuracy(shots: int = SHOTS, launches: int = LAUNCHES, seed: int = SEED) -> pl.DataFrame:
    """Compare table, direct integration, a fine step and a general solver, for every coefficient set.

    Parameters
    ----------
    shots, launches : int
        How many are held against the table, and against the solver and the fine step.
    seed : int

    Returns
    -------
    DataFrame
        One row per set and comparison: `coefficients, comparison, shots, worst_yd, p99_yd`; differences of carry.
        Comparisons: `table_calm`, `table_wind` (-8 to 8 m/s along), `solver` (in three dimensions, with wind, side and
        tilt) and `step` (0.1 s against 0.001 s, the same launches).
    """
    air, rows = standard_air(), []
    for name in SETS:
        rng = np.random.default_rng(seed)
        ball = Ball(name)
        table = FlightTable.build(ball, float(air.density_kg_m3), float(air.viscosity_pa_s))
        many = random_launches(shots, rng)
        straight = random_launches(launches, rng)
        side, tilt, along, cross = (
            rng.uniform(-end, end, launches) for end in (SIDE_DEG, TILT_DEG, WIND_MPS, CROSS_MPS)
        )
        curved = Launch.of(straight.speed_mps, straight.launch_deg, straight.spin_rpm, side, tilt)
        wind = Wind(along, cross)
        carry_m = fly(curved, ball, air, wind).carry_m
        solved_m = carry_by_solver(curved, ball, air, along, cross, *REFERENCE)
        fine_m = fly(curved, ball, air, wind, step_s=FINE_STEP_S).carry_m
        compared = {
            "table_calm": table_differences_yd(table, many, np.zeros(shots)),
            "table_wind": table_differences_yd(table, many, rng.uniform(-WIND_MPS, WIND_MPS, shots)),
            "solver": np.abs(carry_m - solved_m) / METRES_PER_YARD,
            "step": np.abs(carry_m - fine_m) / METRES_PER_YARD,
        }
        rows += [(name, what, len(d), float(d.max()), float(np.quantile(d, 0.99))) for what, d in compared.items()]
    return pl.DataFrame(rows, schema=["coefficients", "comparison", "shots", "worst_yd", "p99_yd"], orient="row")


@dataclass(frozen=True)
class Matched:
    """A tolerance of the general solver at which it is as accurate as direct integration; errors are worst ones."""

    rtol: float
    error_yd: float
    direct_error_yd: float


def matching_tolerance(launch: Launch, ball: Ball, air: Air) -> Matched:
    """Find the tolerance of RK45 whose worst error comes nearest to that of direct integration, as a ratio.

    Parameters
    ----------
    launch : Launch
        Straight shots, flown in calm air.
    ball : Ball
    air : Air

    Returns
    -------
    Matched

    Notes
    -----
    The search stops at the first tolerance that is more accurate, since tighter ones only take longer.
    """
    true_m = calm_carry_by_solver(launch, ball, air, *REFERENCE)
    direct_yd = float(np.max(np.abs(fly(launch, ball, air).carry_m - true_m))) / METRES_PER_YARD
    best = Matched(np.nan, np.inf, direct_yd)
    for rtol in TOLERANCES:
        carry_m = calm_carry_by_solver(launch, ball, air, "RK45", rtol)
        error_yd = float(np.max(np.abs(carry_m - true_m))) / METRES_PER_YARD
        if abs(np.log(error_yd / direct_yd)) < abs(np.log(best.error_yd / direct_yd)):
            best = Matched(rtol, error_yd, direct_yd)
        if error_yd <= direct_yd:
            break
    return best


def seconds(work: Callable[[], object]) -> float:
    """Time one call."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def timed_in_turns(works: dict[str, Callable[[], object]], repeats: int) -> dict[str, Array]:
    """Time works in turns, so that a busy spell of the machine hits them all, after one call of each to warm up.

    Returns
    -------
    dict of ndarray, shape (repeats,)
        Seconds.
    """
    for work in works.values():
        work()
    turns = [{name: seconds(work) for name, work in works.items()} for _ in range(repeats)]
    return {name: np.array([turn[name] for turn in turns]) for name in works}


def speed(
    ball: Ball,
    looped: int = LOOPED,
    direct_shots: int = DIRECT_SHOTS,
    table_shots: int = TABLE_SHOTS,
    repeats: int = REPEATS,
    seed: int = SEED,
) -> pl.DataFrame:
    """Time the table, direct integration and a loop over the general solver, in one run.

    Parameters
    ----------
    ball : Ball
    looped : int
        Launches of the loop. Direct integration flies the same ones over and over, so both see the same flights.
    direct_shots, table_shots : int
        Shots in one call, about.
    repeats : int
    seed : int

    Returns
    -------
    DataFrame
        One row per figure: `coefficients, quantity, figure, unit`. Times and rates are medians over the repeats; a
        ratio is the median of the ratios within each repeat.
    """
    air, rng = standard_air(), np.random.default_rng(seed)
    few, many = random_launches(looped, rng), random_launches(table_shots, rng)
    times = max(1, direct_shots // looped)
    block = Launch(*(np.tile(part, times) for part in vars(few).values()))
    table = FlightTable.build(ball, float(air.density_kg_m3), float(air.viscosity_pa_s))
    shots = (many.speed_mps, many.launch_deg, many.spin_rpm)
    along = rng.uniform(-WIND_MPS, WIND_MPS, table_shots)
    inside = answered(table, many, along)
    windy = tuple(part[inside] for part in (*shots, along))
    match = matching_tolerance(few, ball, air)
    spent = timed_in_turns(
        {
            "carry": lambda: table.look_up(*shots, ("carry_m",)),
            "state": lambda: table.look_up(*shots, OUTPUTS),
            "carry_any": lambda: table.carry_m(*windy),
            "state_any": lambda: table.fly(*windy),
            "direct": lambda: fly(block, ball, air),
            "loop": lambda: calm_carry_by_solver(few, ball, air, "RK45", match.rtol),
            "array_loop": lambda: calm_carry_by_array_solver(few, ball, air, "RK45", match.rtol),
        },
        repeats,
    )
    direct_us, loop_us, array_loop_us = (
        spent[name] / count * 1e6 for name, count in (("direct", len(block)), ("loop", looped), ("array_loop", looped))
    )
    rows = [
        ("table_carry_calm", table_shots / np.median(spent["carry"]), "shots/s"),
        ("table_landing_state_calm", table_shots / np.median(spent["state"]), "shots/s"),
        ("table_carry_in_wind", len(windy[0]) / np.median(spent["carry_any"]), "shots/s"),
        ("table_landing_state_in_wind", len(windy[0]) / np.median(spent["state_any"]), "shots/s"),
        ("direct_integration", np.median(direct_us), "us/shot"),
        ("direct_worst_error", match.direct_error_yd, "yd"),
        ("solver_loop", np.median(loop_us), "us/shot"),
        ("solver_loop_rtol", match.rtol, "1"),
        ("solver_loop_worst_error", match.error_yd, "yd"),
        ("solver_loop_over_direct", np.median(loop_us / direct_us), "1"),
        ("array_solver_loop", np.median(array_loop_us), "us/shot"),
        ("array_solver_loop_over_direct", np.median(array_loop_us / direct_us), "1"),
    ]
    return pl.DataFrame(
        [(ball.coefficients, quantity, float(figure), unit) for quantity, figure, unit in rows],
        schema=["coefficients", "quantity", "figure", "unit"],
        orient="row",
    )


def machine() -> dict[str, str]:
    """Describe the machine without naming it."""
    return {
        "cores": str(os.cpu_count()),
        "architecture": platform.machine(),
        "python": platform.python_version(),
        "numpy": np.__version__,
        "scipy": version("scipy"),
        "OMP_NUM_THREADS": os.environ.get("OMP_NUM_THREADS", "not set"),
        "OPENBLAS_NUM_THREADS": os.environ.get("OPENBLAS_NUM_THREADS", "not set"),
    }


def main(folder: Path) -> None:
    """Make the study: a few minutes on one core."""
    exact = accuracy()
    fast = pl.concat([speed(Ball(name)) for name in SETS])
    write_csv(folder / "accuracy.csv", exact)
    write_csv(folder / "speed.csv", fast)
    write_text(folder / "README.md", report(exact, fast, machine(), STEP_S))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
