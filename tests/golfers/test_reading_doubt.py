"""How far yards lost may be off by misread drives."""

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to
from frontiers import frontier_at

from pipeline.flight.devices import DeviceReadings, StudyDevices
from pipeline.golfers.losses import losses
from pipeline.golfers.reading_doubt import (
    device_shares,
    load_columns,
    misread_yards,
    noted,
    reading_loads,
    reading_variance,
    with_readings,
)
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.statistics.intervals import MANY


def entry(device, doubt=(0.0, 0.0, 0.0, 0.0), freedom=1e6, golfer_note=None):
    moments = np.diag(np.square(doubt)).tolist()
    return DeviceReadings(device, "population", [0.0] * 4, moments, freedom, f"about {device}", golfer_note)


@pytest.fixture(scope="module")
def model(world):
    return fit_to(candidate_named("quadratic"), world.drives).model


@pytest.fixture(scope="module")
def frontier():
    return frontier_at(np.arange(66.0, 118.0))  # 2.6 yd per mph


@pytest.fixture(scope="module")
def lost(world, model, frontier):
    return losses(world.drives, model, frontier)


def test_misread_club_speed_asks_for_carry_along_the_frontier(lost, model, frontier):
    yards = misread_yards(lost, model, frontier)

    assert yards.shape == (lost.height, 4)
    assert yards[:, 0] == pytest.approx(2.6 * lost["club_speed_mph"].to_numpy())


def test_a_misread_device_moves_yards_lost_as_its_yards_say(world, model, frontier, lost):
    """Read every drive wrong, and refit what the device adds as the flight of its readings would."""
    # A device's share is fitted to its drives' readings, so that carry follows them.
    for place, change in enumerate(
        (
            {"club_speed_mph": pl.col("club_speed_mph") * 1.004},
            {"ball_speed_mph": pl.col("ball_speed_mph") * 1.004},
            {"launch_deg": pl.col("launch_deg") + 0.08},
            {"spin_rpm": pl.col("spin_rpm") * 1.015},
        )
    ):
        size = (0.004, 0.004, 0.08, 0.015)[place]
        misread = world.drives.with_columns(**change)
        typical = [losses(drives, model, frontier) for drives in (world.drives, misread)]
        from pipeline.fit.model import Delivery

        expected = [model.expected(Delivery.of(one)) for one in typical]
        asked = [frontier.at("carry_yd", one["club_speed_mph"].to_numpy()) for one in typical]
        moved = (asked[1] - asked[0]) - (expected[1] - expected[0])
        assert misread_yards(lost, model, frontier)[:, place] * size == pytest.approx(moved, abs=0.05)


def test_variance_is_that_of_draws_of_the_errors(lost, model, frontier):
    rng = np.random.default_rng(4)
    yards = misread_yards(lost, model, frontier)
    root = rng.normal(size=(4, 4)) * np.array([0.01, 0.01, 0.3, 0.03])[:, None]
    devices = StudyDevices("unit-A", [DeviceReadings("unit-B", "same golfers", [0.0] * 4, (root @ root.T).tolist(), 9.0,
                                                     "about unit-B", None)])  # fmt: skip
    shares = lost.select("golfer", "quarter", named=pl.lit("unit-B"), share=pl.lit(0.5))

    variance, freedom = reading_variance(reading_loads(lost, shares, devices, yards), devices)

    errors = root @ rng.normal(size=(4, 40_000))
    assert variance == pytest.approx(np.var(0.5 * yards @ errors, axis=1), rel=0.05)
    assert freedom == pytest.approx(9.0)


def shared_part(found, frontier, devices):
    """Variance and freedom of yards lost by what is misread, for an efficient carry without error."""
    known = SharedErrors.of(frontier, np.zeros((2, len(frontier.speed_mph))), devices=devices)
    return known.of_figure(known.quarters(found.with_columns(moved_yd=pl.lit(0.0))))


def test_the_reference_alone_leaves_no_doubt(world, model, frontier, lost):
    for listed in ([], [entry("unit-A"), entry("unit-B")]):
        devices = StudyDevices("unit-A", listed)
        found = with_readings(lost, world.drives, model, frontier, devices)

        variance, freedom = shared_part(found, frontier, devices)
        assert variance.tolist() == [0.0] * lost.height
        assert freedom.tolist() == [MANY] * lost.height
        assert found["readings_note"].null_count() == lost.height


def test_what_one_device_misreads_in_both_quarters_cancels(lost, model, frontier):
    devices = StudyDevices("unit-A", [entry("unit-B", (0.01, 0, 0, 0)), entry("unit-C", (0.02, 0, 0, 0))])
    yards = misread_yards(lost, model, frontier)
    now, then = (
        reading_loads(lost, lost.select("golfer", "quarter", named=pl.lit(name), share=pl.lit(1.0)), devices, yards)
        for name in ("unit-B", "unit-C")
    )

    assert reading_variance(now - now, devices)[0] == pytest.approx(0.0)
    both = yards[:, 0] ** 2 * (0.01**2 + 0.02**2)
    assert reading_variance(now - then, devices)[0] == pytest.approx(both)


def test_shares_are_of_the_quarters_drives():
    drives = pl.DataFrame(
        {"golfer": ["ga"] * 4 + ["gb"], "quarter": ["2026Q1"] * 5, "device": ["x", "x", "y", None, "y"]}
    )

    shares = device_shares(drives).sort("golfer", "named").rows()

    assert shares == [
        ("ga", "2026Q1", "unstated", 0.25), ("ga", "2026Q1", "x", 0.5), ("ga", "2026Q1", "y", 0.25),
        ("gb", "2026Q1", "y", 1.0),
    ]  # fmt: skip


@pytest.mark.parametrize("listed", [[], [entry("unit-A"), entry("unit-B", (0.02, 0, 0, 0))]])
def test_where_nobody_is_compared_there_are_no_loads(world, model, frontier, lost, listed):
    # So is progress in a study's first quarter.
    devices = StudyDevices("unit-A", listed)
    found = with_readings(lost.clear(), world.drives, model, frontier, devices)
    assert found.height == 0
    assert set(load_columns(devices)) <= set(found.columns)


def test_golfers_hear_of_their_own_devices_and_intervals_widen(world, model, frontier, lost):
    devices = StudyDevices("unit-A", [entry("unit-A"), entry("unit-B", (0.02, 0, 0, 0), 20.0, "unit-B may misread")])
    on_b = device_shares(world.drives).filter(named="unit-B")["golfer"].to_list()

    found = with_readings(lost, world.drives, model, frontier, devices)

    assert 0 < len(on_b) < lost.height
    assert found.filter(pl.col("readings_note") == "unit-B may misread")["golfer"].sort().to_list() == sorted(on_b)
    variance, freedom = shared_part(found, frontier, devices)
    there = found["golfer"].is_in(on_b).to_numpy()
    asked = found["misread:unit-B:club_speed_mph"].to_numpy()
    assert variance == pytest.approx(np.where(there, (0.02 * asked) ** 2, 0.0))
    assert freedom[there] == pytest.approx(20.0)
    assert load_columns(devices)[4] == "misread:unit-B:club_speed_mph"
    notes = noted(found.with_columns(note=pl.lit("few drives"))).filter(pl.col("golfer").is_in(on_b))["note"]
    assert set(notes) == {"few drives; unit-B may misread"}
    assert noted(found.with_columns(note=pl.lit(None, pl.String)))["note"].null_count() == lost.height - len(on_b)
