from itertools import combinations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pipeline.benchmark.window import Window, largest_window


def grids(shape):
    return 10 + 0.25 * np.arange(shape[0]), 2000 + 50.0 * np.arange(shape[1])


def best_area(inside):
    m, n = inside.shape
    halves = range(0, m, 2)  # the rows of half degrees: the first is at 10 deg
    return max(
        ((b - a) * (d - c) for a, b in combinations(halves, 2) for c, d in combinations(range(n), 2)
         if inside[a : b + 1, c : d + 1].all()),
        default=0,
    )  # fmt: skip


@settings(max_examples=200)
@given(arrays(bool, st.tuples(st.integers(2, 7), st.integers(2, 7)), elements=st.booleans()))
def test_window_is_inside_and_as_large_as_by_brute_force(inside):
    launch, spin = grids(inside.shape)
    window = largest_window(inside, launch, spin)
    area = best_area(inside)
    if area == 0:
        assert window is None
        return
    rows = (launch >= window.launch_lo_deg) & (launch <= window.launch_hi_deg)
    columns = (spin >= window.spin_lo_rpm) & (spin <= window.spin_hi_rpm)
    assert inside[np.ix_(rows, columns)].all()
    assert (rows.sum() - 1) * (columns.sum() - 1) == area


def test_a_plain_box_is_found():
    inside = np.zeros((9, 9), dtype=bool)
    inside[1:6, 3:8] = True
    inside[7, :] = True
    # The box from 10.25 to 11.25 deg, cut to half degrees.
    assert largest_window(inside, *grids((9, 9))) == Window(10.5, 11.0, 2150.0, 2350.0)


def test_a_box_without_two_half_degrees_is_no_window():
    inside = np.zeros((9, 9), dtype=bool)
    inside[1:4, :] = True
    assert largest_window(inside, *grids((9, 9))) is None
    assert largest_window(np.ones((1, 9), dtype=bool), *grids((1, 9))) is None


def test_a_single_line_has_no_area():
    inside = np.zeros((5, 5), dtype=bool)
    inside[2, :] = True
    assert largest_window(inside, *grids((5, 5))) is None
