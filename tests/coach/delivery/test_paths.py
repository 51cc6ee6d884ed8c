"""What more attack does to golfers' paths, against planted slopes and planted planes."""

import numpy as np
import polars as pl
import pytest
from delivery_samples import swings, usual
from direction_samples import directed_swings
from polars.testing import assert_frame_equal

from pipeline.coach.delivery.directions import FITS, PATH, directed, fit_directions, mean_delivery
from pipeline.coach.delivery.loft_change import ATTACK_CHANGE_DEG
from pipeline.coach.delivery.paths import (
    OWN,
    READ,
    USUAL,
    AttackErrors,
    own_slopes,
    quarter_paths,
    with_paths,
)
from pipeline.coach.delivery.slopes import fit_delivery
from pipeline.coach.delivery.sums import Sums, cell_sums
from pipeline.physics.impact import strike_in_space
from pipeline.physics.swing_geometry import USUAL_PLANE_DEG, path_of_deg, path_turn_deg
from pipeline.tables.delivery import Delivery
from pipeline.tables.types import types_of


def advice_of(drives):
    """Give rows of the table with what the columns of directions are made from."""
    means = drives.group_by("golfer", maintain_order=True).agg(
        pl.col("attack_deg", "launch_deg", "club_speed_mph").mean()
    )
    empty = {name: kind for name, kind in types_of(Delivery).items() if name not in means.columns}
    return means.with_columns(pl.lit(None, kind).alias(name) for name, kind in empty.items()).select(
        Delivery.column_names()
    )


def errors_of(drives):
    sums = Sums.of(cell_sums(drives, usual(drives)))
    return AttackErrors.of(sums, fit_delivery(sums))


def slopes_of(drives):
    return own_slopes(PATH.sums(directed(drives, usual(drives))), errors_of(drives))


def told(drives, own=None):
    known = directed(drives, usual(drives))
    model = fit_directions({fit: fit.sums(known) for fit in FITS}, mean_delivery(known))
    own = slopes_of(drives) if own is None else own
    return with_paths(advice_of(drives), quarter_paths(known, "2026Q3"), own, model)


def nobody(drives):
    return slopes_of(drives).clear()


def test_own_slopes_of_golfers_who_vary_their_attack_lie_in_their_intervals():
    planted = np.random.default_rng(9).normal(-0.7, 0.4, 60)
    drives = directed_swings(swings(golfers=60, drives=200, noise_deg=0.0), slope=planted, noise_deg=0.5)

    table = told(drives)

    assert table["path_by"].to_list() == ["golfer"] * 60
    assert set(table["direction_note"]) == {OWN}
    own = slopes_of(drives)
    off = np.abs(own["own_slope"].to_numpy() - planted) / own["own_error"].to_numpy()
    assert 0.8 <= np.mean(off < 1.645) <= 0.98
    assert 0.7 < np.sqrt(np.mean(off**2)) < 1.3
    # What 3 deg more attack does is the slope three times.
    change = (table["path_after_attack_deg"] - table["path_deg"]).to_numpy()
    np.testing.assert_allclose(change, ATTACK_CHANGE_DEG * own["own_slope"].to_numpy())


def test_geometry_is_found_where_the_plane_is_planted():
    planes = 45.0
    drives = directed_swings(swings(golfers=40, drives=200, noise_deg=0.0), planes, noise_deg=0.5)

    by_own, by_geometry = told(drives), told(drives, nobody(drives))

    assert set(by_geometry["path_by"]) == {"plane read"}
    assert set(by_geometry["direction_note"]) == {READ}
    own, geometry = ((table["path_after_attack_deg"] - table["path_deg"]).to_numpy() for table in (by_own, by_geometry))
    assert np.mean(own) == pytest.approx(np.mean(geometry), abs=0.15)
    np.testing.assert_allclose(geometry, -3.0, atol=0.2)
    attack = by_geometry["attack_deg"].to_numpy()
    np.testing.assert_allclose(geometry, path_turn_deg(attack + 3, planes) - path_turn_deg(attack, planes))


def test_without_a_plane_the_usual_one_is_taken_with_more_doubt():
    drives = directed_swings(swings(golfers=12), 60.0)
    unread = drives.with_columns(plane_deg=pl.lit(None, pl.Float64))

    read, usual_one = (told(one, nobody(one)) for one in (drives, unread))

    assert set(usual_one["path_by"]) == {"plane assumed"}
    assert set(usual_one["direction_note"]) == {USUAL}
    assert set(usual_one["plane_deg"]) == {USUAL_PLANE_DEG}
    wide, narrow = (
        (t["path_after_attack_hi90_deg"] - t["path_after_attack_lo90_deg"]).to_numpy() for t in (usual_one, read)
    )
    # The path itself is as well known; a turn of 3 deg over tan p goes with p by 3 deg over its squared sine.
    of_plane = [3.0 * np.radians(doubt) / np.sin(np.radians(p)) ** 2 for doubt, p in ((5.0, 52.0), (2.0, 60.0))]
    both = np.sqrt(wide**2 - narrow**2) / 2 / 1.645
    np.testing.assert_allclose(both, np.sqrt(of_plane[0] ** 2 - of_plane[1] ** 2), rtol=0.05)
    # The planted plane, 60 deg, lies a little further off than the doubt of one standard deviation.
    truth = read["path_after_attack_deg"]
    assert truth.is_between(usual_one["path_after_attack_lo90_deg"], usual_one["path_after_attack_hi90_deg"]).all()


def test_the_turn_makes_the_new_swing_straight():
    drives = directed_swings(swings(golfers=8, noise_deg=0.0), 48.0)

    table = told(drives, nobody(drives))

    attack, turn = table["attack_deg"].to_numpy(), table["swing_direction_turn_deg"].to_numpy()
    now = table["path_deg"].to_numpy() - path_turn_deg(attack, 48.0)
    np.testing.assert_allclose(path_of_deg(now + turn, attack + ATTACK_CHANGE_DEG, 48.0), 0, atol=1e-9)
    assert (turn > 0).any()


def test_start_and_axis_are_those_of_the_mean_impact():
    drives = directed_swings(swings(golfers=40, noise_deg=0.0), 52.0)

    table = told(drives)

    truth = drives.group_by("golfer", maintain_order=True).agg(pl.col("launch_side_deg", "spin_axis_deg").mean())
    np.testing.assert_allclose(table["start_direction_deg"], truth["launch_side_deg"], atol=0.2)
    np.testing.assert_allclose(table["spin_axis_deg"], truth["spin_axis_deg"], atol=1.5)
    assert np.ptp(truth["spin_axis_deg"].to_numpy()) > 5


def test_the_studys_own_share_of_the_face_is_used():
    drives = directed_swings(swings(golfers=40, noise_deg=0.0), 52.0, share=0.95)

    table = told(drives)

    face, path = table["face_deg"].to_numpy(), table["path_deg"].to_numpy()
    np.testing.assert_allclose(table["start_direction_deg"], path + 0.95 * (face - path), atol=0.1)
    rigid = strike_in_space(45.0, 1.0, 15.0, path, face).launch_side_deg
    assert np.abs(rigid - table["start_direction_deg"].to_numpy()).max() > 0.3


def test_a_golfer_who_hardly_varies_the_attack_goes_by_geometry():
    drives = swings(golfers=12, drives=120, noise_deg=0.0)
    still = pl.col("golfer") == "g0000000000000003"
    about = pl.col("attack_deg").mean().over("golfer")
    steady = drives.with_columns(attack_deg=pl.when(still).then(about).otherwise("attack_deg"))

    table = told(directed_swings(steady, 52.0, noise_deg=0.5))

    assert table.filter(still)["path_by"].item() == "plane read"
    assert table.filter(~still)["path_by"].value_counts().row(0) == ("golfer", 11)


def test_without_a_word_on_the_readings_errors_no_slope_is_a_golfers_own():
    drives = directed_swings(swings(golfers=7, drives=200, noise_deg=0.0), 52.0)

    assert np.isnan(errors_of(drives).variance)
    assert slopes_of(drives).height == 0


def test_intervals_hold_the_path_that_a_golfer_comes_back_to():
    # Days differ by 1 deg: the mean of six days is off by 0.4 deg, however many drives there are.
    truth = 3 + path_turn_deg(1.0 + ATTACK_CHANGE_DEG, 52.0)
    drives = swings(golfers=60, drives=60, noise_deg=0.0)
    alike = drives.with_columns(attack_deg=pl.col("attack_deg") - pl.col("attack_deg").mean().over("golfer") + 1.0)

    table = told(directed_swings(alike, 52.0), nobody(directed_swings(alike, 52.0)))

    held = pl.lit(truth).is_between("path_after_attack_lo90_deg", "path_after_attack_hi90_deg")
    assert 0.8 <= table.select(held.mean()).item() <= 0.98
    width = (table["path_after_attack_hi90_deg"] - table["path_after_attack_lo90_deg"]).mean()
    assert width == pytest.approx(2 * 1.645 * np.sqrt(1 / 6 + 0.8**2 / 60 + 0.15**2), rel=0.2)


def test_mirrored_readings_mirror_what_is_read_and_not_what_geometry_adds():
    # A left-handed golfer's swings, mirrored, are those of a right-handed one: own slopes and starts change sign.
    drives = directed_swings(swings(golfers=12, drives=200, noise_deg=0.0), 52.0)
    sides = ("path_deg", "face_deg", "launch_side_deg", "spin_axis_deg")
    one, other = told(drives), told(drives.with_columns(-pl.col(name) for name in sides))

    for name in ("path_deg", "path_after_attack_deg", "swing_direction_turn_deg", "start_direction_deg"):
        np.testing.assert_allclose(one[name], -other[name], atol=1e-9)
    assert set(one["path_by"]) == {"golfer"}


def test_a_plane_flatter_than_the_new_attack_gives_no_path():
    drives = directed_swings(swings(golfers=12), 52.0).with_columns(plane_deg=pl.lit(20.0))
    steep = drives.with_columns(attack_deg=pl.col("attack_deg") + 25.0)

    table = told(steep, nobody(steep))

    assert table["path_after_attack_deg"].null_count() == 12
    assert table["direction_note"].null_count() == 12
    assert table["path_deg"].null_count() == 0


def test_only_the_quarter_asked_for_gives_means_and_the_order_of_drives_is_none():
    drives = directed_swings(swings(golfers=8), 52.0)
    old = drives.with_columns(quarter=pl.lit("2026Q2"), path_deg=pl.col("path_deg") + 9.0)
    known = directed(pl.concat([old, drives]), usual(drives))

    found = quarter_paths(known, "2026Q3")

    assert_frame_equal(found, quarter_paths(directed(drives.reverse(), usual(drives)), "2026Q3"))
