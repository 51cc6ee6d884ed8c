"""How far a drive carries in any air."""

import numpy as np
import numpy.typing as npt

from pipeline.configuration.study import StandardAir
from pipeline.errors import UserError
from pipeline.physics.air import Air, pressure_at
from pipeline.physics.ball import SETS, Ball
from pipeline.physics.trajectory import Launch, Wind, fly
from pipeline.statistics.arrays import Array
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

USUAL = StandardAir()


def carry_in_air(
    ball_speed_mph: npt.ArrayLike,
    launch_deg: npt.ArrayLike,
    spin_rpm: npt.ArrayLike,
    *,
    ball: Ball | str,
    altitude_m: npt.ArrayLike | None = None,
    pressure_hpa: npt.ArrayLike | None = None,
    temp_c: npt.ArrayLike = USUAL.temp_c,
    humidity: npt.ArrayLike = USUAL.humidity,
    wind_along_mps: npt.ArrayLike = 0.0,
    spin_axis_deg: npt.ArrayLike = 0.0,
) -> Array:
    """Fly drives to launch height and give their carry, yd.

    Parameters
    ----------
    ball_speed_mph, launch_deg, spin_rpm : array_like
        The drives, straight at the target; arrays, series and numbers broadcast with each other and with the air.
    ball : Ball or str
        A study's calibrated ball, `Study.ball`, or the name of a published set of drag and lift coefficients. The sets
        disagree by 10 to 15 yd on one drive, so there is no default.
    altitude_m, pressure_hpa : array_like, optional
        One of them: the pressure at the site, or its height, from which the standard atmosphere gives it. Sea level
        unless given.
    temp_c, humidity : array_like
        Of the air; humidity from 0 to 1.
    wind_along_mps : array_like
        Tail wind positive.
    spin_axis_deg : array_like
        Tilt of the spin axis; positive bends the flight to the right.

    Returns
    -------
    ndarray
        In the broadcast shape; NaN where an input isn't known.

    Raises
    ------
    UserError
        If a ball isn't known, or conditions are outside the limits of `pipeline.physics.air`.

    See Also
    --------
    pipeline.physics.trajectory.fly : The whole landing, with its references.
    """
    if isinstance(ball, str) and ball not in SETS:
        raise UserError(f"ball={ball!r}: there is no such set of coefficients; use one of {', '.join(SETS)}.")
    if altitude_m is not None and pressure_hpa is not None:
        raise UserError("altitude_m and pressure_hpa: give one of them; the pressure is the better one.")
    try:
        pascals = pressure_at(0.0 if altitude_m is None else altitude_m)
        if pressure_hpa is not None:
            pascals = np.asarray(pressure_hpa, dtype=float) * 100
        air = Air.of(temp_c, pascals, humidity)
        around = (air.density_kg_m3, air.viscosity_pa_s, wind_along_mps)
        given = (ball_speed_mph, launch_deg, spin_rpm, spin_axis_deg, *around)
        parts = np.broadcast_arrays(*(np.asarray(part, dtype=float) for part in given))
        known = np.isfinite(parts).all(axis=0)
        speed, launch, spin, axis, density, viscosity, wind = (part[known] for part in parts)
        flown = Launch.of(speed * MPS_PER_MPH, launch, spin, 0.0, axis)
        of = Ball(ball) if isinstance(ball, str) else ball
        landing = fly(flown, of, Air(density, viscosity), Wind(along_mps=wind))
    except ValueError as error:
        raise UserError(f"carry_in_air: {error}") from None
    carry = np.full(known.shape, np.nan)
    carry[known] = landing.carry_m / METRES_PER_YARD
    return carry
