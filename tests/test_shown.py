"""One rounding: halves up as in a browser, parts that add up as shown, one text for a window, metric twins."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.benchmark.window import Window
from pipeline.shown import (
    IMPERIAL,
    METRIC,
    NO_WINDOW,
    Units,
    adding_up,
    angle_text,
    inward,
    number_text,
    percent_text,
    ratio_text,
    rounded,
    rounded_one,
    shown_edges,
    signed_text,
    spin_text,
    typed_text,
    whole,
    window_parts,
    window_text,
)

EVERY_UNITS = [Units(distance, speed) for distance in ("yards", "metres") for speed in ("mph", "km/h", "m/s")]
yards = st.floats(-400, 400, allow_nan=False)
parts = st.lists(yards, min_size=1, max_size=7)
units = st.sampled_from(EVERY_UNITS)
STEPS = (50.0, 10.0, 1.0, 0.5, 0.1, 0.01, 0.001)


@given(st.floats(-1e7, 1e7) | st.sampled_from([math.nan, math.inf, -0.0, -0.2, 0.25, 25.0]), st.sampled_from(STEPS))
def test_one_number_is_rounded_as_many_are(value, step):
    expected = float(rounded(value, step))
    assert repr(rounded_one(value, step)) == repr(expected)


@pytest.mark.parametrize(
    ("value", "shown"), [(0.5, 1), (1.5, 2), (2.5, 3), (-0.5, 0), (-1.5, -1), (-0.2, 0), (230.4999, 230), (231.0, 231)]
)
def test_halves_go_up_and_nothing_is_minus_nil(value, shown):
    assert whole(value) == shown
    assert number_text(value) == str(shown)
    assert not np.signbit(rounded([value])[0]) or shown < 0


@given(st.floats(-5000, 5000, allow_nan=False), st.sampled_from([50.0, 1.0, 0.5, 0.1, 0.01]))
def test_a_rounded_figure_is_a_multiple_no_farther_than_half_a_step(value, step):
    shown = float(rounded(value, step))
    assert abs(shown - value) <= step / 2 + 1e-9
    assert shown / step == pytest.approx(round(shown / step), abs=1e-6)
    assert float(rounded(shown, step)) == shown  # what is shown rounds to itself


def test_unknown_figures_stay_unknown():
    assert np.isnan(rounded([np.nan, 1.2])[0])


def test_figures_have_the_steps_that_people_act_on():
    assert [angle_text(deg) for deg in (14.24, 14.25, -1.26, -0.2)] == ["14.0 deg", "14.5 deg", "-1.5 deg", "0.0 deg"]
    assert [spin_text(rpm) for rpm in (2624.9, 2625.0, 950.0, 12.0)] == ["2,600 rpm", "2,650 rpm", "950 rpm", "0 rpm"]
    assert [ratio_text(ratio) for ratio in (1.4549, 1.4551, 1.5)] == ["1.45", "1.46", "1.50"]
    assert [percent_text(share) for share in (0.005, 0.435, 1.0)] == ["1 %", "44 %", "100 %"]
    assert [signed_text(value, 1) for value in (0.04, -0.04, 1.26, -2.0)] == ["0.0", "0.0", "+1.3", "-2.0"]
    assert [typed_text(value) for value in (97.0, 97.5, 97.123456)] == ["97", "97.5", "97.1235"]
    assert number_text(12345.6) == "12,346"


@given(parts)
def test_parts_add_up_to_their_shown_sum_and_none_moves_by_a_unit(values):
    shown = adding_up(values)
    assert sum(shown) == whole(math.fsum(values))
    assert all(abs(one - value) < 1 + 1e-9 for one, value in zip(shown, values, strict=True))


@given(parts, st.integers(-3, 3))
def test_parts_add_up_to_a_whole_that_is_given(values, more):
    total = whole(math.fsum(values)) + more
    assert sum(adding_up(values, total)) == total


@given(parts)
def test_a_larger_remainder_never_goes_down_where_a_smaller_goes_up(values):
    shown = adding_up(values)
    up = [one > math.floor(value) for one, value in zip(shown, values, strict=True)]
    rest = [value - math.floor(value) for value in values]
    assert all(rest[i] >= rest[j] for i, i_up in enumerate(up) if i_up for j, j_up in enumerate(up) if not j_up)


def test_whole_parts_are_left_alone():
    assert adding_up([3.0, -1.0, 2.0]) == [3, -1, 2]
    assert adding_up([0.5, 0.5]) == [1, 0]
    assert adding_up([]) == []


@given(parts, units)
def test_parts_add_up_in_every_unit(values, used):
    total = used.distance_whole(math.fsum(values))
    shown = used.parts_whole(values, total)
    assert sum(shown) == total
    assert all(abs(one - yd / used.yd_each) < 1 + 1e-9 for one, yd in zip(shown, values, strict=True))


@given(yards, yards, units)
def test_a_difference_is_that_of_what_is_shown(efficient, expected, used):
    left = used.difference_whole(efficient, expected)
    assert used.distance_whole(expected) + left == used.distance_whole(efficient)
    assert abs(left - (efficient - expected) / used.yd_each) <= 1


def test_units_have_their_texts_and_factors():
    assert IMPERIAL.distance_text(231.4) == "231 yd"
    assert METRIC.distance_text(231.4) == "212 m"
    assert METRIC.distance_range_text(197.0, 249.0, "and") == "180 and 228 m"
    assert METRIC.signed_distance_text(4.4) == "+4 m"
    told = {used.speed: used.speed_text(97.0) for used in EVERY_UNITS}
    assert told == {"mph": "97 mph", "km/h": "156 km/h", "m/s": "43.4 m/s"}
    assert METRIC.yd_each == pytest.approx(1 / 0.9144)
    assert METRIC.mph_each == pytest.approx(1 / 1.609344)
    assert IMPERIAL.signed_speed_text(0.44, 1) == "+0.4 mph"
    assert json.loads(json.dumps(METRIC.as_json()))["speed_decimals"] == 0


@given(st.integers(600, 2400), units)
def test_a_typed_speed_comes_back_as_it_was_typed(tenths, used):
    typed = tenths / 10
    assert used.typed_speed_text(typed * used.mph_each) == f"{typed:g} {used.speed}"
    assert used.typed_distance_text(typed * used.yd_each) == f"{typed:g} {used.distance_unit}"


def test_a_window_has_one_text():
    window = Window(14.5, 16.5, 2650.0, 3150.0)
    assert window_text(window) == "launch 14.5 to 16.5 deg, spin 2,650 to 3,150 rpm"
    assert window_text(None) == NO_WINDOW == "none at this speed"
    assert (window_parts(window).launch, window_parts(window).spin) == ("14.5 to 16.5 deg", "2,650 to 3,150 rpm")


@given(st.floats(5, 20), st.floats(0, 6), st.floats(1500, 4000), st.floats(0, 900))
def test_a_window_off_the_steps_is_shown_inside_itself(launch, wide, spin, broad):
    window = Window(launch, launch + wide, spin, spin + broad)
    edges = shown_edges(window)
    if edges is None:
        assert inward(launch, launch + wide, 0.5) is None or inward(spin, spin + broad, 50) is None
        assert window_text(window) == NO_WINDOW
        return
    (low, high), (least, most) = edges
    room = 1e-4
    assert launch - room <= low <= high <= launch + wide + room
    assert spin - room <= least <= most <= spin + broad + room
    assert low - launch < 0.5
    assert spin + broad - most < 50


def test_an_edge_on_a_step_is_not_lost_to_its_last_digits():
    assert inward(14.5 + 1e-12, 16.5 - 1e-12, 0.5) == (14.5, 16.5)
    assert inward(float("nan"), 16.5, 0.5) is None
    assert inward(14.6, 14.9, 0.5) is None
