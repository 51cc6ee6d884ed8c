"""Simulated sites for the flight stage: the same golfers in other air, hit with any ball."""

import numpy as np
import polars as pl
import pytest

from pipeline.physics.air import Air, pressure_at
from pipeline.physics.trajectory import Launch, Wind, fly


def make_site(ball, altitude_m=0.0, wind_mps=0.0, temp_c=15.0, device="unit-A", reads=1.0, golfers=60, shots=25):
    """Drives of the same golfers (same seed) at one site; only the noise of the readings differs."""
    rng, noise = np.random.default_rng(5), np.random.default_rng([9, int(altitude_m)])
    who = np.repeat(np.arange(golfers), shots)
    n = len(who)
    club = np.linspace(70, 112, golfers)[who] * rng.normal(1, 0.015, n)
    speed = club * rng.normal(1.46, 0.02, golfers)[who] * rng.normal(1, 0.01, n)
    launch = rng.normal(13.5, 2, golfers)[who] + rng.normal(0, 1.2, n)
    spin = rng.normal(2700, 400, golfers)[who] * rng.normal(1, 0.08, n)
    air = Air.of(temp_c, float(pressure_at(np.array(altitude_m))), 0.0)
    carry = fly(Launch.straight(speed * 0.44704, launch, spin), ball, air, Wind(along_mps=wind_mps)).carry_m / 0.9144
    return pl.DataFrame(
        {
            "golfer": [f"g{index:016x}" for index in who],
            "device": device,
            "ball": "premium",
            "club_speed_mph": club,
            "ball_speed_mph": speed,
            "launch_deg": launch,
            "spin_rpm": spin,
            "spin_measured": True,
            "carry_measured_yd": carry * noise.normal(1, 0.01, n) * reads,
            "temp_c": temp_c,
            "pressure_hpa": None,
            "humidity": None,
            "altitude_m": altitude_m,
            "wind_along_mps": wind_mps,
        },
        schema_overrides={"pressure_hpa": pl.Float64, "humidity": pl.Float64},
    )


@pytest.fixture(scope="session")
def site():
    return make_site
