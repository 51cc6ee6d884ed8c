"""Efficient carry by the pipeline's support, from true deliveries and true flight: near the truth over many academies.

The luck of which golfers an academy has moves all of its bands together, by 0.6 to 1.2 yd. A few academies tell nothing
about the support: their mean scatters by half of that.
"""

import judge
import numpy as np
import pytest
import truth
from academy import make_academy
from worlds import WORLDS

from pipeline.benchmark import support
from pipeline.benchmark.crowd import Shape

SPEEDS_MPH = np.array([80.0, 90.0, 100.0])
ACADEMIES = 20


def error_of_oracle(name, monkeypatch):
    """Give the mean error over speeds and academies, yd, and its standard error, an academy being one."""
    monkeypatch.setattr(judge, "SPEEDS_MPH", SPEEDS_MPH)
    world, errors = WORLDS[name], []
    for number in range(ACADEMIES):
        ball = world.balls[number % len(world.balls)]
        found = judge.oracle_curve(make_academy(world, ball, number)).carry_yd
        errors.append(np.mean(found - [truth.efficient(world, ball, v, 0.0).carry_yd for v in SPEEDS_MPH.tolist()]))
    return np.mean(errors), np.std(errors, ddof=1) / np.sqrt(ACADEMIES)


@pytest.mark.parametrize(
    ("name", "most"),
    [("plain", 0.5), pytest.param("loft-makes-both", 0.5, marks=pytest.mark.bench), ("two-schools", 0.8)],
)
def test_the_support_makes_efficient_carry_neither_higher_nor_lower(name, most, monkeypatch):
    bias, error = error_of_oracle(name, monkeypatch)
    assert abs(bias) < most
    assert error < 0.35  # else the bound would tell nothing


def test_a_smoothing_that_takes_both_schools_for_one_crowd_makes_it_too_high(monkeypatch):
    """The covariance of all pairs and a Gaussian kernel: what the test above is there to find."""

    def of_all(launch, spin, weights):
        (launch_var, product), (_, spin_var) = np.cov(np.stack([launch, spin]), aweights=weights)
        slope = product / launch_var
        return Shape(float(np.sqrt(launch_var)), float(np.sqrt(spin_var - slope * product)), float(slope))

    monkeypatch.setattr("pipeline.benchmark.efficient.shape_of", of_all)
    monkeypatch.setattr(support, "fourth_order", lambda distance: np.exp(-0.5 * np.minimum(distance**2, 100.0)))
    bias, _ = error_of_oracle("two-schools", monkeypatch)
    assert bias > 0.8
