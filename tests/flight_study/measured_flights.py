"""Published measured flights, and how far each coefficient set lands from them.

Two series of drives whose speed, launch and landing stand in open text. Nothing of them enters the pipeline. Print the
table of docs/flight.md: `PYTHONPATH=. python tests/flight_study/measured_flights.py`.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import optimize

from pipeline.flight.calibrate import BOUNDS
from pipeline.physics.air import ISA_PRESSURE_PA, ISA_TEMP_C, Air
from pipeline.physics.ball import DIAMETER_M, SETS, Ball
from pipeline.physics.impact import strike
from pipeline.physics.overall_distance import sets_within_the_limit
from pipeline.physics.trajectory import Launch, fly
from pipeline.statistics.arrays import Array
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

METRES_PER_FOOT = 0.3048


@dataclass(frozen=True)
class Series:
    """Flights of one source; arrays of shape (n,).

    Attributes
    ----------
    name : str
        As the table shows it.
    speed_mps, launch_deg, spin_rpm : ndarray
    carry_yd : ndarray
        As measured.
    diameter_m : float
        Of the ball.
    """

    name: str
    speed_mps: Array
    launch_deg: Array
    spin_rpm: Array
    carry_yd: Array
    diameter_m: float = DIAMETER_M

    def only(self, rows: npt.NDArray[np.bool_]) -> "Series":
        """Keep some flights."""
        kept = {name: getattr(self, name)[rows] for name in ("speed_mps", "launch_deg", "spin_rpm", "carry_yd")}
        return replace(self, **kept)

    def errors_yd(self, ball: Ball) -> Array:
        """Carry as flown less carry as measured, yd."""
        air = Air.of(ISA_TEMP_C, ISA_PRESSURE_PA, 0.0)
        launch = Launch.straight(self.speed_mps, self.launch_deg, self.spin_rpm)
        landing = fly(launch, replace(ball, diameter_m=self.diameter_m), air)
        return np.asarray(landing.carry_m / METRES_PER_YARD - self.carry_yd)


def by_angle(spin_rpm: float = 3000.0) -> Series:
    """Six launch angles at one speed.

    Source: Rose-Hulman Institute of Technology, calculus problem GOLFLIFT (web page, read 2026): "the actual distance a
    typical golf ball travels" at 58 m/s. It names neither the measurement behind it nor the ball, air or spin: a spin
    has to be assumed.
    """
    launch = np.array([2.5, 5.0, 7.5, 10.0, 12.5, 15.0])
    carry_m = np.array([94.0, 126.0, 145.0, 161.0, 170.0, 177.0])
    n = len(launch)
    return Series("launch angles", np.full(n, 58.0), launch, np.full(n, spin_rpm), carry_m / METRES_PER_YARD)


def by_speed(dynamic_loft_deg: float = 12.0) -> Series:
    """Four ball speeds of a driving machine.

    Source: Williams, Quart. J. Mech. Appl. Math. 12 (1959) 387: the carry of a driving machine's shots is 1.5 v - 103
    yd over ball speeds v from 150 to 225 ft/s (from memory, by way of Erlichson, Am. J. Phys. 51 (1983) 357). Penner
    (Am. J. Phys. 69 (2001) 563, second-hand) says that the ball was the British one of 41.2 mm and that a dynamic loft
    of about 12 deg agrees. Launch and spin were not measured: they follow from rigid impact at that loft.
    """
    speed_fps = np.array([150.0, 175.0, 200.0, 225.0])
    speed = speed_fps * METRES_PER_FOOT
    # Ball speed over head speed and launch depend on the loft alone, spin over ball speed too.
    unit = strike(1.0, 0.0, dynamic_loft_deg)
    made = strike(speed / unit.ball_speed_mps, 0.0, dynamic_loft_deg)
    launch = np.full(len(speed), float(unit.launch_deg))
    return Series("machine", speed, launch, made.spin_rpm, 1.5 * speed_fps - 103.0, diameter_m=0.0412)


def fitted(series: Series, name: str) -> tuple[Ball, float]:
    """Calibrate drag and lift of a set to a series; the ball, and the sum of its squared errors, yd^2."""

    def errors(x: Array) -> Array:
        return series.errors_yd(Ball(name, float(x[0]), float(x[1])))

    found = optimize.least_squares(errors, [1.0, 1.0], bounds=BOUNDS)  # type: ignore[operator, unused-ignore]
    return Ball(name, *map(float, found.x)), float(2 * found.cost)


def left_out(series: Series, names: list[str]) -> tuple[Array, list[str]]:
    """Predict each flight from the others: the nearest of some sets, calibrated to them.

    Returns
    -------
    tuple of ndarray and list of str
        Errors, yd, and the set that the other flights chose.
    """
    errors, chosen = [], []
    for place in range(len(series.carry_yd)):
        here = np.arange(len(series.carry_yd)) == place
        ball, _ = min((fitted(series.only(~here), name) for name in names), key=lambda one: one[1])
        errors.append(float(series.only(here).errors_yd(ball)[0]))
        chosen.append(ball.coefficients)
    return np.array(errors), chosen


def table() -> list[str]:
    """Write the table of docs/flight.md, a line each; errors in whole yards."""
    lines = [
        "| series | ball speed | launch | spin | carry | " + " | ".join(f"`{name}`" for name in SETS) + " | left out |",
        "|" + "---|" * (6 + len(SETS)),
    ]
    for series in (by_angle(), by_speed()):
        published = [series.errors_yd(Ball(name)) for name in SETS]
        predicted, _ = left_out(series, sets_within_the_limit())
        for place, carry in enumerate(series.carry_yd):
            cells = [
                series.name,
                f"{series.speed_mps[place] / MPS_PER_MPH:.0f} mph",
                f"{series.launch_deg[place]:.1f} deg",
                f"{series.spin_rpm[place]:,.0f} rpm",
                f"{carry:.0f} yd",
                *(f"{round(errors[place]):+d}" for errors in (*published, predicted)),
            ]
            lines.append("| " + " | ".join(cells) + " |")
    return lines


if __name__ == "__main__":
    print("\n".join(table()))
