"""Units of foreign logs and their exact factors to Yardband's standard units.

Sources: international yard and pound agreement of 1959 (1 yd = 0.9144 m, so 1 mph = 0.44704 m/s, 1 ft = 0.3048 m);
the conventional inch of mercury, 3386.389 Pa (ISO 80000-4 / NIST SP 811); temperature scales by definition.
"""

import math

METRES_PER_YARD = 0.9144
MPS_PER_MPH = 0.44704

# value in standard unit = factor * value + offset
UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "speed_mph": {
        "mph": (1.0, 0.0),
        "m/s": (1 / MPS_PER_MPH, 0.0),
        "km/h": (1 / (3.6 * MPS_PER_MPH), 0.0),
        "ft/s": (0.3048 / MPS_PER_MPH, 0.0),
    },
    "speed_mps": {
        "m/s": (1.0, 0.0),
        "mph": (MPS_PER_MPH, 0.0),
        "km/h": (1 / 3.6, 0.0),
        "ft/s": (0.3048, 0.0),
    },
    "length_yd": {"yd": (1.0, 0.0), "m": (1 / METRES_PER_YARD, 0.0), "ft": (1 / 3, 0.0)},
    "length_m": {"m": (1.0, 0.0), "yd": (METRES_PER_YARD, 0.0), "ft": (0.3048, 0.0)},
    "angle_deg": {"deg": (1.0, 0.0), "rad": (180 / math.pi, 0.0)},
    "rotation_rpm": {"rpm": (1.0, 0.0), "1/s": (60.0, 0.0), "rad/s": (30 / math.pi, 0.0)},
    "temperature_c": {"degC": (1.0, 0.0), "degF": (5 / 9, -160 / 9)},
    "pressure_hpa": {"hPa": (1.0, 0.0), "kPa": (10.0, 0.0), "inHg": (33.86389, 0.0)},
}

QUANTITY_OF: dict[str, str] = {
    "club_speed_mph": "speed_mph",
    "ball_speed_mph": "speed_mph",
    "launch_deg": "angle_deg",
    "spin_rpm": "rotation_rpm",
    "carry_yd": "length_yd",
    "total_yd": "length_yd",
    "attack_deg": "angle_deg",
    "path_deg": "angle_deg",
    "loft_deg": "angle_deg",
    "launch_side_deg": "angle_deg",
    "spin_axis_deg": "angle_deg",
    "apex_yd": "length_yd",
    "descent_deg": "angle_deg",
    "offline_yd": "length_yd",
    "temp_c": "temperature_c",
    "pressure_hpa": "pressure_hpa",
    "altitude_m": "length_m",
    "wind_along_mps": "speed_mps",
}
