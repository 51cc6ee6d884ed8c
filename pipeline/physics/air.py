"""Air: density of moist air, viscosity, and the pressure of the standard atmosphere where none was measured.

Sources: CIPM-2007 (Picard, Davis, Gläser, Fujii, Metrologia 45 (2008) 149-155, doi 10.1088/0026-1394/45/2/004) for
the density, ISO 2533:1975 for the standard atmosphere and for Sutherland's viscosity. Constants from memory; the
tests compare them with general property libraries.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array

ZERO_CELSIUS_K = 273.15  # by definition

# ISO 2533, from memory.
ISA_TEMP_C = 15.0
ISA_PRESSURE_PA = 101_325.0
ISA_LAPSE_K_PER_M = 0.0065
ISA_GAS_CONSTANT_J_PER_KG_K = 287.05287
ISA_GRAVITY_MPS2 = 9.80665
ISA_EARTH_RADIUS_M = 6_356_766.0

# ISO 2533's form of Sutherland's law, from memory: 1.7161e-5 Pa s at 0 deg C.
SUTHERLAND_PA_S_PER_ROOT_K = 1.458e-6
SUTHERLAND_K = 110.4

# CIPM-2007, equations (1) and (A1). The gas constant is the formula's own (CODATA 2006); the molar mass of dry air
# is that for 400 ppm of carbon dioxide.
GAS_CONSTANT_J_PER_MOL_K = 8.314472
DRY_AIR_KG_PER_MOL = 28.96546e-3
WATER_KG_PER_MOL = 18.01528e-3

# The bounds of the configuration and the shot table; a value outside is a wrong unit (hPa for Pa, per cent, kelvin).
WORKING_TEMP_C = (-30.0, 55.0)
WORKING_PRESSURE_PA = (50_000.0, 110_000.0)
WORKING_HUMIDITY = (0.0, 1.0)
WORKING_ALTITUDE_M = (-500.0, 5000.0)
WORKING_WIND_MPS = (-25.0, 25.0)  # along the drive


@dataclass(frozen=True)
class Air:
    """The air that a ball flies through.

    Attributes
    ----------
    density_kg_m3 : ndarray
        Density, kg/m^3.
    viscosity_pa_s : ndarray
        Dynamic viscosity, Pa s.
    """

    density_kg_m3: Array
    viscosity_pa_s: Array

    @property
    def kinematic_m2_s(self) -> Array:
        """Kinematic viscosity, m^2/s."""
        return self.viscosity_pa_s / self.density_kg_m3

    @classmethod
    def of(cls, temp_c: npt.ArrayLike, pressure_pa: npt.ArrayLike, humidity: npt.ArrayLike) -> Self:
        """Air of a temperature (deg C), pressure (Pa) and relative humidity (0 to 1).

        Raises
        ------
        ValueError
            As `density` does.
        """
        return cls(density(temp_c, pressure_pa, humidity), viscosity(temp_c))


def density(temp_c: npt.ArrayLike, pressure_pa: npt.ArrayLike, humidity: npt.ArrayLike) -> Array:
    """Density of moist air by CIPM-2007, kg/m^3.

    Parameters
    ----------
    temp_c : array_like
        Air temperature, deg C, -30 to 55.
    pressure_pa : array_like
        Pressure at the site (not reduced to sea level), Pa, 50,000 to 110,000.
    humidity : array_like
        Relative humidity over liquid water, 0 to 1.

    Returns
    -------
    ndarray
        Density, kg/m^3, in the broadcast shape; NaN where an input is NaN.

    Raises
    ------
    ValueError
        If a value lies outside those ranges.

    Notes
    -----
    The formula is recommended for 15 to 27 deg C and 600 to 1100 hPa, where it is good to 22 parts in a million
    (from memory). Outside, it is still used: against CoolProp's humid air it differs by at most 0.005 % from 0 to
    40 deg C and 600 to 1100 hPa, and by at most 0.04 % in the whole working range (both tested), far below what a
    weather station or an assumed pressure leaves open. The standard atmosphere is an ideal gas of slightly smaller
    molar mass, so that this density of dry air is 0.04 % above ISO 2533's.
    """
    t = _within(temp_c, WORKING_TEMP_C, "temp_c")
    p = _within(pressure_pa, WORKING_PRESSURE_PA, "pressure_pa")
    h = _within(humidity, WORKING_HUMIDITY, "humidity")
    T = t + ZERO_CELSIUS_K
    saturation_pa = np.exp(1.2378847e-5 * T**2 - 1.9121316e-2 * T + 33.93711047 - 6.3431645e3 / T)
    enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * t**2
    x = h * enhancement * saturation_pa / p
    compressibility = (
        1
        - p
        / T
        * (
            (1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2)
            + (5.707e-6 - 2.051e-8 * t) * x
            + (1.9898e-4 - 2.376e-6 * t) * x**2
        )
        + (p / T) ** 2 * (1.83e-11 - 0.765e-8 * x**2)
    )
    dry_kg_m3 = p * DRY_AIR_KG_PER_MOL / (compressibility * GAS_CONSTANT_J_PER_MOL_K * T)
    return dry_kg_m3 * (1 - x * (1 - WATER_KG_PER_MOL / DRY_AIR_KG_PER_MOL))


def viscosity(temp_c: npt.ArrayLike) -> Array:
    """Dynamic viscosity of dry air by Sutherland's law with ISO 2533's constants, Pa s.

    Parameters
    ----------
    temp_c : array_like
        Air temperature, deg C, -30 to 55.

    Returns
    -------
    ndarray
        Dynamic viscosity, Pa s.

    Raises
    ------
    ValueError
        If a temperature lies outside the range.

    Notes
    -----
    Humidity is left out here, not in the density: saturated air is less viscous by about 1 % at 25 deg C and 2.5 % at
    40 deg C (tested against CoolProp). Only the Reynolds number takes viscosity. The 2.5 % move a drive's carry by
    at most 0.2 yd with the set `indoor-range-2001` and by 1.2 yd with `smits-smith-1994` (tested).
    """
    T = _within(temp_c, WORKING_TEMP_C, "temp_c") + ZERO_CELSIUS_K
    return SUTHERLAND_PA_S_PER_ROOT_K * T**1.5 / (T + SUTHERLAND_K)


def pressure_at(altitude_m: npt.ArrayLike) -> Array:
    """Pressure of the standard atmosphere (ISO 2533, troposphere), Pa, for sites where none was measured.

    Parameters
    ----------
    altitude_m : array_like
        Height above mean sea level, m, -500 to 5000.

    Returns
    -------
    ndarray
        Pressure, Pa.

    Raises
    ------
    ValueError
        If an altitude lies outside the range.

    Notes
    -----
    Weather moves the true pressure by 1 % or so either way, and a hot column of air raises it at altitude (about
    1.6 % at 2000 m when the column is 20 K warmer than the standard one). A measured pressure is better.
    """
    T0 = ISA_TEMP_C + ZERO_CELSIUS_K
    exponent = ISA_GRAVITY_MPS2 / (ISA_GAS_CONSTANT_J_PER_KG_K * ISA_LAPSE_K_PER_M)
    h = _within(altitude_m, WORKING_ALTITUDE_M, "altitude_m")
    # The standard's laws hold in geopotential height, which allows for gravity's fall with height (0.8 m at 2300 m).
    geopotential_m = ISA_EARTH_RADIUS_M * h / (ISA_EARTH_RADIUS_M + h)
    return ISA_PRESSURE_PA * (1 - ISA_LAPSE_K_PER_M * geopotential_m / T0) ** exponent


def _within(values: npt.ArrayLike, bounds: tuple[float, float], name: str) -> Array:
    array = np.asarray(values, dtype=np.float64)
    # NaN compares false on both sides and passes: it stays NaN to the result.
    if np.any(array < bounds[0]) or np.any(array > bounds[1]):
        raise ValueError(f"{name} must lie between {bounds[0]:g} and {bounds[1]:g}; check its unit.")
    return array
