import numpy as np
import pytest
from fitting import candidate_named, hold_out

from pipeline.drives import golfer_codes
from pipeline.fit.scores import choose, score
from pipeline.fit.survey import Survey


def test_held_out_error_is_the_noise_for_the_right_model(world):
    held = hold_out(candidate_named("quadratic"), Survey.of(world.drives, 1))
    figures = score(held, golfer_codes(world.drives))
    assert figures["rmse_yd"] == pytest.approx(3.0, rel=0.06)
    assert figures["mae_yd"] == pytest.approx(3.0 * np.sqrt(2 / np.pi), rel=0.06)
    assert abs(figures["bias_yd"]) < 0.3
    assert figures["coverage90"] == pytest.approx(0.90, abs=0.02)
    assert 0.01 < figures["rmse_std_error_yd"] < 0.2


@pytest.mark.parametrize(
    ("rmse", "chosen"),
    [((5.0, 4.0, 4.0), 1), ((4.05, 4.0, 3.98), 0), ((5.0, 4.2, 4.0), 2), ((4.1, 4.05, 4.0), 0)],
)
def test_the_simplest_within_one_standard_error_is_chosen(rmse, chosen):
    assert choose([{"rmse_yd": r, "rmse_std_error_yd": 0.1} for r in rmse]) == chosen
