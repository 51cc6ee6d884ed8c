"""The drives that flight is fitted to, chosen from a study that is read piece by piece."""

import numpy as np
import polars as pl
import pytest
from pieces_held import Pieces

from pipeline.flight.calibrate import MOST_DRIVES, Sample, choose_rows

GOLFERS, DRIVES = 500, 20_000


@pytest.fixture
def drives():
    """Give golfers' drives in turn; texts are too long to stand in a table of their own."""
    number = np.random.default_rng(4).integers(0, GOLFERS, DRIVES)
    return pl.DataFrame(
        {
            "golfer": [f"golfer-of-a-long-name-{one}" for one in number],
            "device": [f"device-of-a-long-name-{one % 3}" for one in number],
            "ball": ["ball-of-a-very-long-name"] * DRIVES,
            "ball_speed_mph": np.linspace(120, 160, DRIVES),
            "spin_measured": [True, None, False, True] * (DRIVES // 4),
        }
    )


def test_a_sample_is_the_same_in_any_number_of_pieces(drives):
    whole, cut = (Sample.of(Pieces(drives, count), 3) for count in (1, 7))
    assert cut.drives.equals(whole.drives)
    assert (cut.offsets, cut.known, cut.golfers) == (whole.offsets, DRIVES * 3 // 4, GOLFERS)


def test_golfers_take_turns_in_a_sample(drives):
    sample = Sample.of(Pieces(drives, 7), 3).drives
    each = sample.group_by("golfer").len().get_column("len")
    assert sample.height == MOST_DRIVES
    assert (each.min(), each.max()) == (MOST_DRIVES // GOLFERS, MOST_DRIVES // GOLFERS)


def test_a_golfers_own_drives_are_drawn_at_random():
    golfer = np.repeat(np.arange(1, 101, dtype=np.int32), 1000)
    place = choose_rows(golfer, 3) % 1000
    assert abs(place.mean() - 499.5) < 4 * np.sqrt(1000**2 / 12 / MOST_DRIVES)


def test_no_piece_of_a_study_stays_in_memory(drives):
    read = Pieces(drives, 10)
    Sample.of(read, 3)
    assert read.most < 2  # without copies of the texts it is 12
