"""The doubt of moves to standard conditions: a wrong share of every move is planted and the study fitted again."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from days import on_days
from fitting import candidate_named, fit_to
from frontiers import frontier_at, one_error, plain_model

from pipeline.drives import KEYS, Drives
from pipeline.fit.model import Delivery
from pipeline.flight.offsets import Offsets
from pipeline.golfers.losses import known_losses
from pipeline.golfers.moves import moved_yards, with_moves

WRONG = 0.3  # of every move


def moved_in(drives, thin):
    """Say that drives were hit in thin air, where an expression is true: 4 % of carry was taken off them."""
    carry = pl.col("carry_standard_yd")
    return drives.with_columns((carry * pl.when(thin).then(1.04).otherwise(1.0)).alias("carry_measured_yd"))


def numbered(modulus, places):
    """Choose golfers by their place; every third of the world is on unit-B."""
    return pl.col("golfer").str.slice(1).str.to_integer(base=16).mod(modulus).is_in(places)


ON_B = pl.col("device") == "unit-B"
AIRS = {
    "unit-B in two airs": ON_B & numbered(2, [0]),
    "unit-A, the reference, in two airs": ~ON_B & numbered(4, [0, 1]),
    "unit-B high up": ON_B,
    "all high up": pl.lit(True),
}


def fitted(drives):
    return fit_to(candidate_named("quadratic"), drives).model


def means(model, drives):
    """Give golfers' expected carry at fixed deliveries, where efficient carry stands, less their own mean carry."""
    expected = pl.Series("expected", model.expected(Delivery.of(drives)))
    carry = pl.Series("carry", model.reference_carry(drives))
    lost = drives.with_columns(expected, carry).group_by(KEYS).agg(pl.col("expected").mean() - pl.col("carry").mean())
    return lost.sort(KEYS).get_column("expected").to_numpy()


@pytest.mark.parametrize("airs", AIRS)
def test_yards_lost_are_off_by_the_wrong_share_of_the_rest_of_the_move(world_maker, airs):
    drives = moved_in(world_maker(golfers=300, shots=8).drives, AIRS[airs])
    model = fitted(drives)
    move = pl.col("carry_standard_yd") - pl.col("carry_measured_yd")
    wrong = drives.with_columns((pl.col("carry_standard_yd") + WRONG * move).alias("carry_standard_yd"))

    moved = moved_yards(drives, model).get_column("moved_yd").to_numpy()

    # Too much carry is taken off: golfers who were moved farther than their device's others lose more.
    off, claimed = means(fitted(wrong), wrong) - means(model, drives), -WRONG * moved
    if airs.endswith("high up"):
        assert np.abs(claimed).max() < 1e-9
        assert np.sqrt(np.mean(off**2)) < 0.1
    else:
        # The surface takes up a little of it too, as chance has golfers of some deliveries in one air.
        assert (claimed @ off) / (claimed @ claimed) == pytest.approx(1.0, abs=0.1)
        assert np.sqrt(np.mean((off - claimed) ** 2)) < 0.2 * np.sqrt(np.mean(claimed**2))


def small(devices, carries, moves, golfers=("ga", "gb")):
    measured = np.array(carries) - np.array(moves)
    return pl.DataFrame({"golfer": golfers, "quarter": "2026Q1", "device": devices, "carry_measured_yd": measured,
                         "carry_standard_yd": carries})  # fmt: skip


TWO = replace(plain_model(), offsets=Offsets({"device": "unit-A", "ball": "premium"}, (("device", "unit-B"),)))


def test_a_device_that_nobody_could_compare_has_the_references_common_move():
    golfers = ["ga", "gb", "gc", "gc", "gd"]
    drives = small(["unit-A", "unit-A", None, "unit-B", "unit-B"], [200.0] * 5, [0.0, -4.0, -10.0, -6.0, -8.0], golfers)
    assert moved_yards(drives, TWO)["moved_yd"].to_list() == pytest.approx([2.0, -2.0, (-8.0 + 1.0) / 2, -1.0])
    without = drives.filter(pl.col("device").fill_null("") != "unit-A")
    assert moved_yards(without, TWO)["moved_yd"].to_list() == pytest.approx([(-10.0 + 1.0) / 2, -1.0])


def test_number_and_order_of_drives_and_pieces_say_nothing():
    drives = small(["unit-A"] * 4, [200.0, 210.0, 220.0, 230.0], [-8.0, 0.0, -4.0, 0.0], ["ga", "ga", "gb", "gb"])
    found = moved_yards(drives, TWO)
    assert moved_yards(pl.concat([drives] * 9).reverse(), TWO)["moved_yd"].to_list() == pytest.approx(
        found["moved_yd"].to_list()
    )
    pieces = Drives(lambda: iter((drives.head(2), drives.tail(2))))
    assert moved_yards(pieces, TWO).equals(found)


def test_where_no_move_is_in_doubt_drives_need_no_measured_carry(world):
    golfers = world.drives.select(KEYS).unique()
    assert with_moves(golfers, world.drives, TWO, 0.0)["moved_yd"].unique().to_list() == [0.0]


def test_intervals_of_golfers_widen_where_a_device_was_used_in_two_airs(world):
    drives = on_days(moved_in(world.drives, AIRS["unit-B in two airs"]))
    model, frontier = fitted(drives), frontier_at(np.arange(60.0, 121.0), std_error_yd=1.0)
    sure, unsure = (
        known_losses(drives, model, one_error(replace(frontier, moved_share=share)), 0.0)[0] for share in (0.0, WRONG)
    )
    added = unsure["std_error_yd"].to_numpy() ** 2 - sure["std_error_yd"].to_numpy() ** 2
    there = drives.group_by("golfer").agg(pl.col("device").first() == "unit-B").sort("golfer")["device"].to_numpy()
    assert added == pytest.approx((WRONG * unsure["moved_yd"].to_numpy()) ** 2)
    # Of 4 % of carry, half the device's golfers have half too much and half too little: near 4 yd of 200.
    assert 1.0 < np.sqrt(added[there].mean()) < 1.5
    assert added[~there] == pytest.approx(0.0)
