"""Slopes of directions against planted ones, another library, and rigid impact."""

import numpy as np
import polars as pl
import pytest
from delivery_samples import swings, usual
from direction_samples import directed_swings
from polars.testing import assert_frame_equal
from statsmodels.regression.linear_model import OLS

from pipeline.coach.delivery.directions import (
    AXIS,
    FITS,
    PATH,
    START,
    directed,
    directions_table,
    fit_directions,
    fit_within,
    mean_delivery,
)
from pipeline.coach.delivery.paths import AttackErrors
from pipeline.coach.delivery.slopes import fit_delivery
from pipeline.coach.delivery.sums import Sums, cell_sums
from pipeline.tables.delivery import DeliverySlopes


def fitted(drives):
    known = directed(drives, usual(drives))
    return fit_directions({fit: fit.sums(known) for fit in FITS}, mean_delivery(known))


def rows_of(drives):
    sums = Sums.of(cell_sums(drives, usual(drives)))
    worth = AttackErrors.of(sums, fit_delivery(sums)).worth(PATH.sums(directed(drives, usual(drives))))
    return DeliverySlopes.validate(directions_table(fitted(drives), worth))


def row(table, response, predictor):
    return table.row(by_predicate=(pl.col("response") == response) & (pl.col("predictor") == predictor), named=True)


def steady(**more):
    return swings(noise_deg=0.0, **more)


def test_start_and_axis_of_rigid_impact_are_found_and_stand_beside_it():
    table = rows_of(directed_swings(steady(), 52.0))

    share = row(table, "launch_side_deg", "face_deg")
    assert share["lo90"] < share["impact_slope"] < share["hi90"]
    assert 0.79 < share["impact_slope"] < 0.83
    assert share["hi90"] - share["lo90"] < 0.02
    path = row(table, "launch_side_deg", "path_deg")
    assert path["slope"] == pytest.approx(1 - share["slope"], abs=0.02)
    assert path["impact_slope"] == pytest.approx(1 - share["impact_slope"])
    axis = row(table, "spin_axis_deg", "face_to_path_deg")
    # Rigid impact's axis bends with face less path, and launch differs from drive to drive.
    assert axis["slope"] == pytest.approx(axis["impact_slope"], rel=0.1)
    assert (share["used"], path["used"], axis["used"]) == (True, True, True)


def test_another_share_than_that_of_impact_is_found():
    table = rows_of(directed_swings(steady(), 52.0, share=0.9))

    share = row(table, "launch_side_deg", "face_deg")
    assert share["lo90"] < 0.9 < share["hi90"]
    assert share["lo90"] > share["impact_slope"]


def test_more_loft_makes_the_axis_follow_less():
    table = rows_of(directed_swings(steady(lofts=(-2.0, 2.0), drives=120), 52.0))

    by_loft = row(table, "spin_axis_deg", "face_to_path_by_loft")
    assert by_loft["hi90"] < 0
    assert by_loft["impact_slope"] < 0
    assert not by_loft["used"]


def test_path_follows_attack_as_the_plane_has_it_and_errors_of_readings_are_taken_out():
    table = rows_of(directed_swings(steady(), 45.0, noise_deg=0.8))

    path = row(table, "path_deg", "attack_deg")
    assert path["impact_slope"] == pytest.approx(-1.0, abs=0.02)
    assert path["lo90"] < -1.0 < path["hi90"]
    assert path["as_read"] > -0.75
    assert path["reliability"] == pytest.approx(1 / 1.64, abs=0.06)
    assert not path["used"]


def test_errors_of_attack_weigh_more_where_days_differ():
    # Half of what attack does, it does from day to day, of which nothing is left within days.
    rng = np.random.default_rng(6)
    drives = directed_swings(steady(drives=120), 45.0, noise_deg=0.8)
    of_day = pl.Series(rng.normal(0, 1.0, 6)).gather(pl.Series(np.arange(drives.height) % 6))
    attack, path = pl.col("attack_deg") + of_day, pl.col("path_deg") - of_day
    moved = drives.with_columns(attack_deg=attack, path_deg=path, launch_deg=pl.col("launch_deg") + 0.68 * of_day)
    moved = moved.with_columns(spin_rpm=pl.col("spin_rpm") - 84.0 * of_day)

    found = row(rows_of(moved), "path_deg", "attack_deg")

    assert found["reliability"] == pytest.approx(1 / 1.64, abs=0.08)
    assert found["slope"] == pytest.approx(-1.0, abs=0.12)


def test_slopes_and_errors_are_those_of_another_library():
    drives = directed_swings(steady(golfers=12), 52.0)
    day = ["golfer", "struck_on", "device"]
    about = drives.select(
        "golfer", *(pl.col(c) - pl.col(c).mean().over(day) for c in ("face_deg", "path_deg", "launch_side_deg"))
    )
    X, codes = about.select("face_deg", "path_deg").to_numpy(), about["golfer"].rank("dense").to_numpy()
    theirs = OLS(about["launch_side_deg"].to_numpy(), X).fit(cov_type="cluster", cov_kwds={"groups": codes})

    ours = fitted(drives).fits[START].fitted

    np.testing.assert_allclose(ours.coefficients, theirs.params, rtol=1e-9)
    np.testing.assert_allclose(ours.std_errors, theirs.bse, rtol=1e-9)


def test_aims_of_days_change_no_slope():
    one, other = (fitted(directed_swings(steady(golfers=12), 52.0, day_deg=deg)) for deg in (0.0, 20.0))

    for fit in (START, AXIS, PATH):
        # Start and axis hang on face less path and on their scatter in a day alone.
        np.testing.assert_allclose(
            one.fits[fit].fitted.coefficients, other.fits[fit].fitted.coefficients, rtol=1e-6, atol=1e-9
        )


def test_readings_of_the_face_with_errors_do_not_add_up_and_are_not_used():
    model = fitted(directed_swings(steady(drives=240), 52.0, face_noise_deg=1.5))
    lost, error = model.flattened()

    # Of a share of 0.8 the readings, whose variance is 4 of face and 2.25 of errors, lose 36 %.
    assert model.fits[START].fitted.coefficients[0] == pytest.approx(0.64 * 0.8, abs=0.02)
    assert lost == pytest.approx(0.36 * 0.8, abs=0.05)
    assert error < 0.02
    assert not model.used(START)
    assert not model.used(AXIS)
    np.testing.assert_array_equal(model.beside_impact(START), 0)
    notes = directions_table(model, None)["note"].to_list()
    assert "readings as they are: errors of face and path flatten it; rigid impact is used instead" in notes


def test_a_slope_that_is_hardly_known_is_not_used():
    drives = directed_swings(steady(golfers=8, drives=30), 52.0)
    luck = pl.Series(np.random.default_rng(4).normal(0, 30, drives.height))

    rough = fitted(drives.with_columns(spin_axis_deg=pl.col("spin_axis_deg") + luck))
    start = fitted(drives.with_columns(launch_side_deg=pl.col("launch_side_deg") + luck))

    assert fitted(drives).used(AXIS)
    assert rough.used(START)
    assert not rough.used(AXIS)
    assert not start.used(START)
    assert not start.used(AXIS)


def test_sums_of_parts_are_those_of_all():
    drives = directed_swings(steady(golfers=12), 52.0)
    half = pl.col("golfer") < "g0000000000000006"
    known = directed(drives, usual(drives))

    parts = [START.sums(known.filter(one)) for one in (half, ~half)]

    assert_frame_equal(pl.concat(parts), START.sums(known))


def test_a_single_drive_of_a_day_and_guessed_spin_count_for_nothing():
    drives = directed_swings(steady(golfers=8, drives=30), 52.0)
    alone = drives.head(1).with_columns(struck_on=pl.lit(None, pl.Date), launch_side_deg=50.0, face_deg=40.0)
    whole = directed(pl.concat([drives, alone]), usual(drives))

    assert_frame_equal(START.sums(whole), START.sums(directed(drives, usual(drives))))
    guessed = whole.with_columns(spin_measured=pl.lit(False))
    assert AXIS.sums(guessed).height == 0
    assert START.sums(guessed).height == 8


def test_too_few_golfers_and_columns_that_never_vary_give_no_fit():
    few = directed_swings(steady(golfers=7), 52.0)
    same = directed_swings(steady(golfers=8), 52.0).with_columns(face_deg=pl.col("path_deg"))

    assert directions_table(fitted(few), None).height == 0
    assert fitted(same).fits[START].fitted is None
    assert fitted(same).fits[AXIS].fitted is None
    assert fitted(same).fits[PATH].fitted is not None


@pytest.mark.parametrize("missing", ["path_deg", "attack_deg"])
def test_logs_without_path_or_attack_have_no_rows(missing):
    drives = directed_swings(steady(golfers=8), 52.0).with_columns(pl.lit(None, pl.Float64).alias(missing))

    assert fitted(drives) is None
    assert directions_table(None, None).columns == DeliverySlopes.column_names()


def test_intervals_hold_the_share_as_often_as_they_say():
    rng = np.random.default_rng(2)
    held = []
    for _ in range(200):
        # 12 golfers whose own shares differ, so that drives of one golfer go together.
        who = np.repeat(np.arange(12), 30)
        face, path = rng.normal(0, 2, 360), rng.normal(0, 2, 360)
        start = path + (0.85 + rng.normal(0, 0.05, 12)[who]) * (face - path) + rng.normal(0, 0.3, 360)
        frame = pl.DataFrame({"golfer": [f"g{k:016x}" for k in who], "face_deg": face, "path_deg": path})
        frame = frame.with_columns(
            launch_side_deg=start, struck_on=pl.lit(None, pl.Date), device=pl.lit("unit-A"), spin_measured=True
        )
        found = fit_within(START.sums(frame), 2)
        held.append(abs(found.fitted.coefficients[0] - 0.85) <= found.reach[0])
    assert 0.84 <= np.mean(held) <= 0.95
