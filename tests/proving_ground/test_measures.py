import measures
import polars as pl
import pytest
from targets import TARGETS, Target, rows_of_targets, table_of, verdict


def test_a_miss_is_told_with_its_size():
    target = Target("bias", "bias", -1.5, 1.5)
    assert verdict(1.5, target) == verdict(-1.5, target) == "met"
    assert verdict(1.75, target) == "**missed** by 0.25"
    assert verdict(-2.0, target) == "**missed** by 0.50"
    assert verdict(None, target) == "not measured"


def test_figures_of_a_band_are_bias_error_coverage_and_the_oracles():
    bands = pl.DataFrame(
        {
            "world": "w",
            "academy": [0, 0, 1, 1],
            "estimate": [201.0, 203.0, 200.0, 196.0],
            "truth": [200.0] * 4,
            "lo": [200.0, 201.0, 198.0, 195.0],
            "hi": [202.0, 205.0, 202.0, 199.0],
            "oracle": [201.0] * 4,
        }
    )
    found = measures.figure(bands, "efficient carry", "estimate", "truth", "lo", "hi", "oracle")
    assert found["bias_yd"] == 0
    assert found["rmse_yd"] == pytest.approx((26 / 4) ** 0.5)
    assert found["coverage90"] == 0.5
    assert (found["oracle_bias_yd"], found["oracle_rmse_yd"]) == (1.0, 1.0)
    # Errors of the academies add up to 4 and -4: sqrt((16 + 16) * 2) / 4.
    assert found["bias_std_error_yd"] == pytest.approx(2.0)


def test_the_worst_band_is_held_against_the_target_whatever_its_sign():
    bands = pl.DataFrame(
        {"figure": ["efficient carry, 80 mph", "yards lost, 80 mph"] * 2, "bias_yd": [0.3, 1.0, -1.9, 0.5]}
    )
    devices = pl.DataFrame({"difference_yd": [0.1, -0.2, 0.0]})
    overall = {target.measure: 0.9 for target in TARGETS}
    told = {row["what"]: row for row in rows_of_targets(overall, bands, devices).to_dicts()}
    assert told["efficient carry, worst band: bias, yd"]["verdict"] == "**missed** by 0.40"
    assert told["yards lost, worst band: bias, yd"]["measured"] == 1.0
    assert "| 0.9 |" in table_of(rows_of_targets(overall, bands, devices))
