import pytest

from pipeline.units import unit_of


@pytest.mark.parametrize(
    ("column", "unit"),
    [
        ("carry_p25_yd", "yd"), ("lost_lo90_yd", "yd"), ("band_mph", "mph"), ("launch_deg", "deg"), ("spin_rpm", "rpm"),
        ("temp_c", "degC"), ("pressure_hpa", "hPa"), ("altitude_m", "m"), ("wind_along_mps", "m/s"),
        ("best_trend_lo90_mph_per_week", "mph a week"), ("yards_per_mph", "yd per mph"), ("speed_ratio", ""),
        ("in_window_share", ""), ("golfers", ""), ("note", ""),
    ],
)  # fmt: skip
def test_unit_follows_from_how_the_name_ends(column, unit):
    assert unit_of(column) == unit
