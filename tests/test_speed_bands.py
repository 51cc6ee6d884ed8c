import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.bands import SpeedBands

# Eighths of a mph are exact in floats, so that edges are hit.
centres = st.lists(st.integers(240, 480).map(lambda quarter: quarter / 4), min_size=1, max_size=6, unique=True)
half_widths = st.integers(1, 48).map(lambda eighth: eighth / 8)
speeds = st.lists(st.integers(400, 1040).map(lambda eighth: eighth / 8), min_size=1, max_size=12)


def band_by_loop(bands, speed):
    """The nearest centre whose band holds the speed, the lower of two as near."""
    best = np.nan
    for centre in bands.centres_mph:
        inside = centre - bands.half_width_mph <= speed < centre + bands.half_width_mph
        if inside and not abs(best - speed) <= abs(centre - speed):
            best = centre
    return best


def next_by_loop(bands, speed):
    for centre in bands.centres_mph:
        if centre - bands.half_width_mph > speed:
            return centre
    return np.nan


@given(centres, half_widths, speeds)
def test_bands_are_those_of_a_plain_loop(given_centres, half_width, asked):
    bands = SpeedBands.of(given_centres, half_width)
    assert bands.centres_mph == tuple(sorted(given_centres))
    np.testing.assert_array_equal(bands.band_of(asked), [band_by_loop(bands, speed) for speed in asked])
    np.testing.assert_array_equal(bands.next_above(asked), [next_by_loop(bands, speed) for speed in asked])


@given(centres, half_widths, speeds)
def test_a_band_holds_its_lower_edge_and_not_its_upper(given_centres, half_width, asked):
    bands = SpeedBands.of(given_centres, half_width)
    for centre in bands.centres_mph:
        edges = np.array([centre - half_width, centre, centre + half_width])
        assert bands.holds(centre, edges).tolist() == [True, True, False]
        inside = [centre - half_width <= speed < centre + half_width for speed in asked]
        assert bands.holds(centre, asked).tolist() == inside
    np.testing.assert_array_equal(bands.begins_at(bands.centres_mph), np.array(bands.centres_mph) - half_width)


@given(centres, half_widths, speeds)
def test_every_speed_in_a_band_is_held_by_it_and_the_next_one_is_farther_up(given_centres, half_width, asked):
    bands = SpeedBands.of(given_centres, half_width)
    for speed, mine, above in zip(asked, bands.band_of(asked), bands.next_above(asked), strict=True):
        held = [centre for centre in bands.centres_mph if bands.holds(centre, speed)]
        assert np.isnan(mine) == (not held)
        assert np.isnan(above) == (speed >= bands.centres_mph[-1] - half_width)
        if held:
            assert mine in held
            assert not above <= mine


def test_the_edge_between_two_bands_belongs_to_the_faster_one():
    bands = SpeedBands.of([95, 85], 5.0)
    assert bands.band_of([80.0, 89.9, 90.0, 99.9]).tolist() == [85.0, 85.0, 95.0, 95.0]
    assert np.isnan(bands.band_of([79.9, 100.0])).all()


def test_of_overlapping_bands_the_nearest_is_taken_and_the_lower_of_two_as_near():
    bands = SpeedBands.of([80, 84], 5.0)
    assert bands.band_of([81.9, 82.0, 82.1]).tolist() == [80.0, 80.0, 84.0]


def test_the_next_band_begins_above_the_speed():
    bands = SpeedBands.of([85, 95], 5.0)
    found = bands.next_above([70.0, 79.9, 80.0, 89.9, 90.0, np.nan])
    np.testing.assert_array_equal(found, [85.0, 85.0, 95.0, 95.0, np.nan, np.nan])


@pytest.mark.parametrize("shape", [(), (3,), (2, 3)])
def test_what_a_band_holds_has_the_shape_that_was_asked(shape):
    assert SpeedBands.of([85], 5.0).holds(85.0, np.full(shape, 84.0)).shape == shape


def test_no_speed_is_in_no_band():
    bands = SpeedBands.of([85, 95], 5.0)
    assert np.isnan(bands.band_of([np.nan])).all()
    assert not bands.holds(85.0, np.nan)
