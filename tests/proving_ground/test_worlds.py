"""The worlds' academies are what they are said to be."""

from dataclasses import replace

import academy
import directions
import numpy as np
import people
import polars as pl
import pytest
import study_run
from true_flight import carry_yd
from worlds import MANY_DAYS, PLAIN, WORLDS

DAY = pl.col("struck_at").dt.date().alias("day")


def golfers_at(world, speed_mph, count=20_000):
    return people.draw_own(world, np.full(count, speed_mph), np.zeros(count, bool), np.random.default_rng(1))


def delivery(own, sound=True):
    keep = own.kind == "sound" if sound else slice(None)
    return (own.faulty[name][keep] for name in ("speed_ratio", "launch_deg", "spin_rpm"))


@pytest.mark.parametrize("ball", PLAIN.balls)
def test_a_day_moves_carry_by_its_form(ball):
    """At the golfer's own club speed, near the middle of an ordinary world."""
    form = people.form_of_days(replace(PLAIN, form_yd=2.0), np.random.default_rng(1).standard_normal((4000, 5)))
    flown = carry_yd(ball, 91 * (1.465 + form[:, 1]), 14.5 + form[:, 2], 2600 + form[:, 3]) * (1 + form[:, 4])
    assert flown.std() == pytest.approx(2.0, rel=0.08)
    assert form[:, 0].std() == pytest.approx(1.0, rel=0.05)


@pytest.mark.parametrize(("name", "fewest", "most"), [("plain", 2, 6), ("two-days", 2, 2), ("one-day", 1, 1)])
def test_golfers_are_watched_on_few_days(name, fewest, most):
    # Sixty drives a golfer, so that hardly any day stays without one.
    drives = academy.make_academy(replace(WORLDS[name], shots=(60, 60)), "plain", 1).drives
    days = drives.group_by("row").agg(DAY.n_unique())["day"]
    assert (days.min(), days.max()) == (fewest, most)


def test_drives_of_a_day_share_its_form():
    """What drives carry beyond their delivery is the day's alone."""
    drives = academy.make_academy(replace(PLAIN, golfers=30), "plain", 1).drives
    beyond = drives.select("row", DAY, beyond=pl.col("true_carry_yd") / pl.col("true_flight_yd") - 1)
    by_day = beyond.group_by("row", "day").agg(pl.col("beyond").mean(), pl.col("beyond").std().alias("within"))
    assert by_day["within"].max() < 1e-9
    assert by_day["beyond"].std() == pytest.approx(2 * people.DAY_BEYOND, rel=0.15)
    ratio = drives.select("row", DAY, ratio=pl.col("true_ball_mph") / pl.col("true_club_mph"))
    kept = ratio.filter(pl.col("ratio") > 1.42).group_by("row", "day").agg(pl.col("ratio").mean(), n=pl.len())
    apart = kept.with_columns(pl.col("ratio") - pl.col("ratio").mean().over("row")).filter(pl.col("n") >= 8)
    # Days differ by more than 1/sqrt(8) of a drive's spread.
    assert apart["ratio"].std() > 1.15 * people.STRIKE_SD / 8**0.5


@pytest.mark.parametrize(("name", "correlation"), [("loft-makes-both", 0.75), ("anti-correlated", -0.6), ("plain", 0)])
def test_launch_and_spin_go_together_as_said(name, correlation):
    _, launch, spin = delivery(golfers_at(WORLDS[name], 90.0))
    assert np.corrcoef(launch, spin)[0, 1] == pytest.approx(correlation, abs=0.03)
    assert spin.std() == pytest.approx(people.SPIN_SD, rel=0.03)


def test_two_schools_leave_a_gap_between_them():
    _, launch, spin = delivery(golfers_at(WORLDS["two-schools"], 90.0))
    between = (launch - launch.mean()) / people.LAUNCH_SD - (spin - spin.mean()) / people.SPIN_SD
    apart = between / 2**0.5
    middle = (np.abs(apart) < 0.25).mean()
    assert middle < 0.15 * (np.abs(np.abs(apart) - 2.12) < 0.25).mean()
    assert np.abs(apart).mean() == pytest.approx(3 / 2**0.5, abs=0.05)


def test_spread_falls_with_speed_and_usual_ratio_is_curved():
    falls = [np.std(list(delivery(golfers_at(WORLDS["spread-by-speed"], v)))[1]) for v in (70.0, 110.0)]
    assert falls[0] / falls[1] == pytest.approx(2.5, rel=0.05)
    ratio = [people.usual_at(WORLDS["even-speeds"], np.array([v]))[0][0] for v in (66.0, 80.0, 94.0)]
    assert ratio[1] - ratio[0] == pytest.approx(ratio[2] - ratio[1] + 0.0125)


def test_readings_of_the_second_device_are_off_as_said():
    def off(name, reading, true):
        drives = academy.make_academy(WORLDS[name], "plain", 1).drives.filter(device="unit-B")
        return drives.select((pl.col(reading) / pl.col(true)).mean() - 1).item()

    assert off("club-reads-low", "club_speed_mph", "true_club_mph") == pytest.approx(-0.03, abs=0.001)
    assert off("ball-reads-low", "ball_speed_mph", "true_ball_mph") == pytest.approx(-0.02, abs=0.001)
    assert off("overlap", "club_speed_mph", "true_club_mph") == pytest.approx(-0.03, abs=0.001)
    assert off("share-short", "carry_yd", "true_carry_yd") == pytest.approx(-0.05, abs=0.003)
    assert off("no-ball-device", "carry_yd", "true_carry_yd") == pytest.approx(-0.04, abs=0.003)


def test_the_second_devices_ball_speed_and_spin_are_missing_as_said():
    blind = academy.make_academy(WORLDS["no-ball-device"], "plain", 1).drives
    assert (blind["ball_speed_mph"].is_null() == (blind["device"] == "unit-B")).all()
    guesses = academy.make_academy(WORLDS["guesses-spin-device"], "plain", 1).drives
    assert (~guesses["spin_measured"] == (guesses["device"] == "unit-B")).all()


def test_a_third_of_the_golfers_use_both_devices():
    drives = academy.make_academy(WORLDS["overlap"], "plain", 1).drives
    devices = drives.group_by("golfer").agg(pl.col("device").n_unique())["device"]
    assert (devices == 2).mean() == pytest.approx(1 / 3, abs=0.03)
    assert drives.group_by("row", DAY).agg(pl.col("device").n_unique())["device"].max() == 1


@pytest.mark.parametrize("name", list(WORLDS))
def test_the_first_device_is_the_reference_of_all_worlds(name):
    golfers = academy.draw_golfers(WORLDS[name], np.random.default_rng(3))
    drives = golfers.group_by("device").agg(pl.col("shots").sum()).rows_by_key("device", named=True, unique=True)
    other = sum(drives.get(device, {"shots": 0})["shots"] for device in ("unit-B", "both"))
    both = drives.get("both", {"shots": 0})["shots"]
    assert drives["unit-A"]["shots"] + both / 2 > 1.2 * (other - both / 2)


def test_golfers_of_the_far_site_strike_poorer_and_differ_more():
    far = academy.draw_golfers(replace(WORLDS["far-site"], golfers=4000), np.random.default_rng(1))
    found = far.filter(pl.col("kind") == "sound").group_by("device").agg(
        pl.col("speed_ratio").mean(), pl.col("launch_deg").std()
    ).sort("device")  # fmt: skip
    assert found["speed_ratio"].diff()[1] == pytest.approx(-0.03, abs=0.002)
    assert found["launch_deg"][1] / found["launch_deg"][0] == pytest.approx(1.4, rel=0.1)


def test_mishits_alone_are_the_fault_and_leave_no_gap():
    golfers = academy.draw_golfers(replace(WORLDS["one-mishits"], golfers=2000), np.random.default_rng(1))
    assert set(golfers["kind"]) == {"sound", "consistency"}
    share = np.sort(golfers["mishit_share"].to_numpy())
    assert np.diff(share).max() < 0.01
    assert share[-1] > 0.44


def test_golfers_who_differ_for_good_carry_farther_in_both_quarters():
    one = academy.make_academy(replace(WORLDS["lasting"], days=None, form_yd=0.0), "plain", 1)
    ratio = pl.col("true_carry_yd") / pl.col("true_flight_yd") - 1
    by_row = one.drives.group_by("row", "golfer").agg(ratio.mean().alias("beyond")).sort("row")
    assert by_row.group_by("golfer").agg(pl.col("beyond").std())["beyond"].max() < 1e-9
    assert by_row["beyond"].std() == pytest.approx(0.02, rel=0.3)
    more = (
        one.usual["mean_carry_yd"] / replace(one, golfers=one.golfers.with_columns(beyond=0.0)).usual["mean_carry_yd"]
    )
    np.testing.assert_allclose(more - 1, by_row["beyond"], atol=1e-9)


def test_many_days_have_no_form():
    drives = academy.make_academy(replace(MANY_DAYS, golfers=10), "plain", 1).drives
    assert (drives["true_carry_yd"] == drives["true_flight_yd"]).all()
    assert drives.group_by("row").agg(DAY.n_unique())["day"].min() > 10


CURVING = ("curving", "cross-wind", "curving-calculated", "curving-unsaid")


@pytest.mark.parametrize("name", CURVING)
def test_what_goes_sideways_is_drawn_from_a_stream_of_its_own(name):
    """So other worlds' academies are the same as before there was any of it."""
    straight, bent = (academy.make_academy(WORLDS[one], "plain", 5).drives for one in ("plain", name))
    same = [c for c in straight.columns if c not in ("carry_yd", "true_carry_yd", "true_flight_yd")]
    assert bent.select(same).equals(straight.select(same))
    assert (bent["true_flight_yd"] < straight["true_flight_yd"]).mean() > 0.95


@pytest.mark.parametrize("name", CURVING)
def test_logs_have_what_a_world_says_of_where_drives_went(name, tmp_path):
    one = academy.make_academy(replace(WORLDS[name], golfers=8), "plain", 1)
    study_run.write_study(one, tmp_path / "study", 1)
    side = {"launch_side_deg", "spin_axis_deg", "offline_yd", "wind_cross_mps"}
    for log in (tmp_path / "study/logs").glob("*.csv"):
        assert side & set(pl.read_csv(log).columns) == set(WORLDS[name].side_said)


def test_a_day_has_one_cross_wind_and_the_log_has_it():
    drives = academy.make_academy(WORLDS["cross-wind"], "plain", 1).drives
    by_day = drives.group_by(DAY).agg(pl.col("wind_cross_mps").n_unique().alias("n"), pl.col("wind_cross_mps").mean())
    assert by_day["n"].max() == 1
    assert by_day["wind_cross_mps"].min() >= 0
    assert by_day["wind_cross_mps"].mean() == pytest.approx(3.0, abs=0.4)
    assert by_day["wind_cross_mps"].max() > 5.5
    blown = drives.select(pl.col("offline_yd") - pl.col("true_offline_yd"), wind="wind_cross_mps")
    slope = np.polyfit(blown["wind"], blown["offline_yd"], 1)
    assert 1.5 < slope[0] < 3.0
    assert slope[1] == pytest.approx(0.0, abs=0.8)
    calm = academy.make_academy(WORLDS["curving"], "plain", 1).drives
    assert (calm["offline_yd"] - calm["true_offline_yd"]).std() == pytest.approx(directions.OFFLINE_READ_YD, rel=0.05)


def test_some_golfers_bend_their_drives_much_and_start_them_the_other_way():
    golfers = academy.make_academy(replace(WORLDS["curving"], golfers=400), "plain", 1).golfers
    axis, start = (golfers[name].to_numpy() for name in ("axis_deg", "start_deg"))
    much = np.abs(axis) > 10
    assert much.mean() == pytest.approx(0.21, abs=0.05)
    assert (axis[much] > 0).mean() == pytest.approx(0.7, abs=0.1)
    assert np.polyfit(axis, start, 1)[0] == pytest.approx(-directions.STARTS_AGAINST, abs=0.05)
    assert golfers.group_by("golfer").agg(pl.col("axis_deg").n_unique())["axis_deg"].max() == 1


def test_drives_of_a_day_go_the_same_way_and_mishits_scatter_wider():
    world = replace(WORLDS["curving"], golfers=60, shots=(60, 60), days=(4, 4))
    one = academy.make_academy(world, "plain", 1)
    drives = one.drives.join(
        one.golfers.with_row_index("row").select(pl.col("row").cast(pl.Int64), *directions.OWN), on="row"
    )
    off = drives.with_columns(
        pl.col("true_axis_deg") - pl.col("axis_deg"), pl.col("true_side_deg") - pl.col("start_deg")
    )
    by_day = off.group_by("row", DAY).agg(pl.col("true_axis_deg", "true_side_deg").mean(), n=pl.len())
    by_day = by_day.filter(pl.col("n") >= 10)
    wide = np.sqrt(directions.DAY_SD_DEG[1] ** 2 + (off["scatter"] ** 2).mean() * directions.DRIVE_SD_DEG[1] ** 2 / 14)
    assert by_day["true_axis_deg"].std() == pytest.approx(wide, rel=0.25)
    assert by_day["true_axis_deg"].std() > 1.15 * directions.DRIVE_SD_DEG[1] / 14**0.5
    bad = off.with_columns(
        bad=pl.col("true_ball_mph") / pl.col("true_club_mph") < 1.38, z=pl.col("true_axis_deg") / pl.col("scatter")
    )
    sound = bad.filter(~pl.col("bad"))["z"].std()
    assert bad.filter("bad")["z"].std() > 1.1 * sound
