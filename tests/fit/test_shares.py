"""Shares of devices by each way that they are found: in the fit, from drives that it can't use, at the same golfers."""

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.drives import typical_drives, usable
from pipeline.fit.level_cells import KNOWN, LevelCounts, Mode, cells_of
from pipeline.fit.resampled import draw_counts, refit
from pipeline.fit.shares import LevelShares, find_shares
from pipeline.fit.survey import Survey
from pipeline.flight.offsets import Offsets

QUADRATIC = candidate_named("quadratic")
SHARE = -0.04
B = pl.col("device") == "unit-B"
BLIND = {"ball_speed_mph": pl.when(B).then(None).otherwise("ball_speed_mph")}
GUESSED = {
    "spin_measured": pl.when(B).then(False).otherwise("spin_measured"),
    # What a device guesses has little to do with the drive.
    "spin_rpm": pl.when(B).then(3400.0 - 5 * pl.col("club_speed_mph")).otherwise("spin_rpm"),
}


def found_in(drives, seed=1, replicates=60):
    usable_drives = drives.filter(pl.Series(usable(drives, "ball")))
    model = fit_to(QUADRATIC, usable_drives).model
    typical = typical_drives(drives, ["golfer"])
    counts = draw_counts(typical.height, seed, replicates)
    refits = refit(model, Survey.of(usable_drives).drives, typical, counts)
    return model, find_shares(model, drives, refits, typical)


def moved_to_b(drives, golfers):
    """Let only some golfers, those of the first numbers, be at the second device, which reads 4 % short."""
    number = pl.col("golfer").str.slice(1).str.to_integer(base=16)
    on_b = number.is_in(golfers)
    return drives.with_columns(
        device=pl.when(on_b).then(pl.lit("unit-B")).otherwise(pl.lit("unit-A")),
        carry_standard_yd=pl.col("carry_standard_yd") * pl.when(on_b).then(1 + SHARE).otherwise(1.0),
    )


@pytest.fixture(scope="module")
def short(world_maker):
    """80 golfers, every third of them at a device that reads 4 % short."""
    return world_maker(seed=8, share_b=SHARE).drives


@pytest.mark.parametrize(
    ("lacking", "most"),
    [({}, 0.002), (BLIND, 0.006), (GUESSED, 0.005), (BLIND | GUESSED, 0.008)],
    ids=["in the fit", "no ball speed", "spin guessed", "neither"],
)
def test_a_planted_share_is_found(short, lacking, most):
    model, shares = found_in(short.with_columns(**lacking))
    assert model.offsets.levels == (() if lacking else (("device", "unit-B"),))
    assert shares.offsets.labels == ("device:unit-B",)
    assert shares.share[0] == pytest.approx(SHARE, abs=3 * shares.std_error[0])
    assert 0.0005 < shares.std_error[0] < most
    assert shares.draws.std(axis=0) == pytest.approx(shares.std_error)
    assert shares.draws.mean(axis=0) == pytest.approx(shares.share, abs=shares.std_error[0])
    assert shares.golfers.tolist() == [27]


@pytest.mark.parametrize("lacking", [{}, BLIND], ids=["in the fit", "no ball speed"])
def test_the_error_is_what_other_academies_show(world_maker, lacking):
    """The standard error, from one academy, is as large as the scatter of the share over many (six golfers of 48)."""
    found = []
    for seed in range(12):
        drives = moved_to_b(world_maker(seed=seed, golfers=48, shots=16, share_b=0.0).drives, range(3, 48, 8))
        # Golfers differ by 1.5 % beyond their readings.
        own = np.random.default_rng([seed, 7]).normal(1, 0.015, 48)
        lasting = drives.with_columns(pl.col("carry_standard_yd") * pl.Series(np.repeat(own, 16)))
        _, shares = found_in(lasting.with_columns(**lacking), replicates=30)
        found.append((shares.share[0] - SHARE, shares.std_error[0]))
    off, error = np.array(found).T
    # A standard deviation of twelve is known to a fifth; the bounds lie two and a half of these away.
    assert 0.5 < np.sqrt(np.mean(off**2)) / np.sqrt(np.mean(error**2)) < 1.5
    assert error.max() < 2 * error.min()  # it is that of all golfers, not of six


def test_golfers_at_both_devices_are_compared_with_themselves(short):
    # Six golfers of unusual strike hit a third of their drives at a device without ball speed; nobody else is there.
    odd = pl.col("golfer").is_in([f"g{k:016x}" for k in range(2, 80, 13)])
    third = pl.int_range(pl.len()) % 3 == 0
    only_a = moved_to_b(short.with_columns(pl.col("carry_standard_yd") / pl.when(B).then(1 + SHARE).otherwise(1.0)), [])
    worse = pl.when(odd).then(0.93).otherwise(1.0)
    drives = only_a.with_columns(
        pl.col("carry_standard_yd") * worse * pl.when(odd & third).then(1 + SHARE).otherwise(1.0),
        device=pl.when(odd & third).then(pl.lit("unit-B")).otherwise("device"),
    ).with_columns(**BLIND)
    _, shares = found_in(drives)
    assert shares.golfers.tolist() == [6]
    assert shares.share[0] == pytest.approx(SHARE, abs=3 * shares.std_error[0])
    assert shares.std_error[0] < 0.006
    # Without their drives at the other device nothing tells the device from such golfers.
    alone = drives.filter(~odd | (pl.col("device") == "unit-B"))
    _, blind = found_in(alone)
    assert blind.share[0] < SHARE - 0.04


def test_a_golfer_who_only_mishits_moves_no_device(short):
    hit = short.with_columns(**BLIND)
    on_b = hit.filter(device="unit-B").get_column("golfer").unique().sort()
    poor = pl.col("golfer").is_in(on_b.head(3).implode())
    worse = hit.with_columns(pl.col("carry_standard_yd") * pl.when(poor).then(0.8).otherwise(1.0))
    (_, sound), (_, spoilt) = found_in(hit), found_in(worse)
    assert spoilt.share[0] == pytest.approx(sound.share[0], abs=0.004)


def test_a_level_with_few_golfers_or_drives_has_no_share(short):
    number = pl.col("golfer").str.slice(1).str.to_integer(base=16)
    device = pl.when(number < 2).then(pl.lit("unit-C")).when(number == 2).then(pl.lit("unit-D"))
    drives = short.with_columns(device=device.otherwise("device"))
    drives = drives.with_columns(
        device=pl.when((number > 70) & (pl.int_range(pl.len()).over("golfer") < 3))
        .then(pl.lit("unit-E"))
        .otherwise("device")
    )
    model, shares = found_in(drives)
    assert ("device", "unit-C") in model.offsets.levels  # two golfers' 60 drives keep the surface clean
    assert shares.offsets.levels == (("device", "unit-B"),)


def test_what_cant_be_told_apart_is_absorbed(short):
    drives = short.with_columns(**BLIND).with_columns(ball=pl.when(B).then(pl.lit("range")).otherwise("ball"))
    _, shares = found_in(drives)
    assert shares.offsets.levels == (("device", "unit-B"),)
    assert shares.offsets.absorbed == (("ball", "range"),)


def test_a_level_outside_the_fit_may_have_a_level_inside_it(short):
    # A third of one device's drives and all but a fifth of the other's are with a range ball that flies 8 % shorter.
    half = pl.when(B).then(pl.int_range(pl.len()) % 5 > 0).otherwise(pl.int_range(pl.len()) % 3 == 0)
    ranged = short.with_columns(
        pl.col("carry_standard_yd") * pl.when(half).then(0.92).otherwise(1.0),
        ball=pl.when(half).then(pl.lit("range")).otherwise("ball"),
    ).with_columns(**BLIND)
    _, shares = found_in(ranged)
    found = dict(zip(shares.offsets.labels, zip(shares.share, shares.std_error, strict=True), strict=True))
    for label, share in (("ball:range", -0.08), ("device:unit-B", SHARE)):
        assert found[label][0] == pytest.approx(share, abs=3 * found[label][1])
    assert found["device:unit-B"][1] < 0.006


def test_no_other_device_has_no_shares(short):
    _, shares = found_in(short.filter(~B))
    assert shares.share.shape == (0,)
    assert shares.draws.shape == (60, 0)


def test_guesses_and_usual_values_are_what_expected_carry_goes_by(short):
    model, _ = found_in(short)
    drives = short.with_columns(**GUESSED).head(300)
    cells = cells_of(drives, model, {Mode(True, False)})
    again = cells_of(drives.with_columns(pl.col("ball_speed_mph") * 1.1), model, {Mode(True, False)})
    keys = ["golfer", "usable"]
    cells, again = cells.sort(keys), again.sort(keys)
    # As if ball speed weren't known, it moves nothing; known, it does.
    assert cells["usual_10"].to_list() == pytest.approx(again["usual_10"].to_list())
    assert (cells["mean"] > again["mean"]).all()
    louder = cells_of(
        drives.with_columns(pl.when(B).then(9000.0).otherwise("spin_rpm").alias("spin_rpm")), model, set()
    )
    assert louder.sort(keys)[KNOWN.usual].to_list() == pytest.approx(cells[KNOWN.usual].to_list())


def test_the_table_of_terms_tells_the_shares_of_the_chosen_model_alone():
    offsets = Offsets({"device": "a"}, (("device", "c"),))
    shares = LevelShares(offsets, np.array([-0.04]), np.array([0.01]), np.array([4]), np.zeros((2, 1)))
    table = pl.DataFrame(
        {
            "model": ["line", "line", "splines", "splines"],
            "term": ["intercept", "device:b", "intercept", "device:b"],
            "estimate": [1.0, 2.0, 3.0, 4.0],
            "std_error": [0.1] * 4,
            "lo90": [0.0] * 4,
            "hi90": [9.0] * 4,
        }
    )
    told = shares.in_table(table, "line")
    assert told.select("model", "term", "estimate").rows() == [
        ("line", "intercept", 1.0), ("line", "device:c", -0.04),
        ("splines", "intercept", 3.0), ("splines", "device:b", 4.0),
    ]  # fmt: skip
    # Student's t of three degrees of freedom.
    assert told.row(1)[4:] == pytest.approx((-0.04 - 0.023534, -0.04 + 0.023534), abs=1e-5)


def test_a_device_whose_golfers_curve_their_drives_has_the_share_of_its_straight_ones(short):
    blind = short.with_columns(**BLIND)
    cost = pl.when(B).then(9.0).otherwise(0.0)
    curved = blind.with_columns(curve_yd=cost, carry_standard_yd=pl.col("carry_standard_yd") - cost)
    (_, straight), (_, found) = (found_in(one, replicates=5) for one in (blind, curved))
    np.testing.assert_allclose(found.share, straight.share, rtol=1e-9)


def test_counts_of_pieces_add_up_and_a_golfer_counts_once_for_a_level():
    rows = [
        # golfer, device, ball, spin measured
        ("a", "x", "soft", True), ("a", "x", "hard", True), ("a", "y", None, False), ("b", "x", "soft", True),
        ("c", "x", "soft", False),
    ]  # fmt: skip
    schema = {"golfer": pl.String, "device": pl.String, "ball": pl.String, "spin_measured": pl.Boolean}
    drives = pl.DataFrame(rows, schema=schema, orient="row").with_columns(ball_speed_mph=pl.lit(140.0))
    pieces = [drives.filter(pl.col("golfer") < "c"), drives.filter(golfer="c")]
    found = LevelCounts.joined(LevelCounts.of(piece, "ball") for piece in pieces)
    columns = ("level", "drives", "drives_golfers", "usable", "usable_golfers")
    assert found.levels.select(columns).sort("level").rows() == [
        ("hard", 1, 1, 1, 1), ("soft", 3, 3, 2, 2), ("unstated", 1, 1, 0, 0), ("x", 4, 3, 3, 2), ("y", 1, 1, 0, 0),
    ]  # fmt: skip
    pairs = found.pairs.select("device", "ball", "drives", "blind", "guessed")
    assert pairs.rows() == [("x", "hard", 1, 0, 0), ("x", "soft", 3, 0, 1), ("y", "unstated", 1, 0, 1)]
