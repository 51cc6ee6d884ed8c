"""The truths of the proving ground against formulas, and against drives and golfers of its own."""

from dataclasses import replace

import academy
import analytic_truth
import judge
import measures
import numpy as np
import polars as pl
import pytest
import truth
from people import LAUNCH_DEG, LAUNCH_SD, SPIN_RPM, SPIN_SD
from scipy.ndimage import label
from true_flight import carry_yd
from worlds import MANY_DAYS, PLAIN, WORLDS

from pipeline.statistics.sound_center import sound_centers

MANY = replace(PLAIN, golfers=40_000, speed_mph=(90.0, 1e-9))


@pytest.fixture(scope="module")
def crowd():
    return academy.draw_golfers(MANY, np.random.default_rng(1)).filter(quarter="2026Q1")


def test_the_region_holds_four_fifths_of_golfers(crowd):
    inside = truth.produced(MANY, 90.0)
    row = np.abs(truth.LAUNCH_GRID[:, None] - crowd["launch_deg"].to_numpy()[None, :4000]).argmin(axis=0)
    column = np.abs(truth.SPIN_GRID[:, None] - crowd["spin_rpm"].to_numpy()[None, :4000]).argmin(axis=0)
    assert inside[row, column].mean() == pytest.approx(0.80, abs=0.02)


@pytest.mark.parametrize("speed_mph", [70.0, 90.0, 110.0])
@pytest.mark.parametrize("world", [PLAIN, MANY_DAYS, WORLDS["many-mishits"]], ids=["plain", "many days", "mishits"])
def test_the_populations_truth_is_that_of_formulas_where_these_are_known(world, speed_mph):
    for ball in PLAIN.balls:
        counted, known = (one.efficient(world, ball, speed_mph, 0.0) for one in (truth, analytic_truth))
        assert counted.carry_yd == pytest.approx(known.carry_yd, abs=0.3)
        assert counted.inside.mean() == pytest.approx(known.inside.mean(), rel=0.03)


@pytest.mark.parametrize("name", ["plain", "even-speeds"])
def test_the_line_between_the_curves_speeds_is_near_the_truth(name):
    """Under 0.1 yd is the bend; the rest is the luck of three populations."""
    known = [truth.efficient(WORLDS[name], "steady", v, 0.0).carry_yd for v in (70.0, 72.5, 75.0)]
    assert (known[0] + known[2]) / 2 == pytest.approx(known[1], abs=0.25)


def test_another_population_of_the_world_gives_the_same_truth():
    one, other = (truth.populate(WORLDS["two-schools"], 90.0, seed=seed) for seed in (0, 1))
    most = []
    for population in (one, other):
        carry = carry_yd(
            "steady", 90 * np.quantile(population.ratio, 0.75), truth.LAUNCH_GRID[:, None], truth.SPIN_GRID[None, :]
        )
        most.append(carry[truth.produced_by(population)].max())
    assert most[0] == pytest.approx(most[1], abs=0.2)


@pytest.mark.parametrize("name", ["two-schools", "loft-makes-both", "spread-by-speed", "far-site"])
def test_the_region_holds_four_fifths_whatever_its_shape(name):
    other = truth.populate(WORLDS[name], 80.0, 20_000, seed=5)
    inside = truth.produced(WORLDS[name], 80.0)
    row = np.rint((other.launch_deg - truth.LAUNCH_GRID[0]) / truth.LAUNCH_STEP_DEG).astype(int)
    column = np.rint((other.spin_rpm - truth.SPIN_GRID[0]) / truth.SPIN_STEP_RPM).astype(int)
    seen = (row >= 0) & (row < len(truth.LAUNCH_GRID)) & (column >= 0) & (column < len(truth.SPIN_GRID))
    assert inside[row[seen], column[seen]].sum() / len(row) == pytest.approx(0.80, abs=0.012)


def test_two_schools_are_two_places():
    """What is between a school's launch and the other's spin is not produced, as it is where there is one school."""

    def produced(world, launch_sds, spin_sds):
        launch, spin = LAUNCH_DEG + launch_sds * LAUNCH_SD, SPIN_RPM + spin_sds * SPIN_SD
        row, column = np.abs(truth.LAUNCH_GRID - launch).argmin(), np.abs(truth.SPIN_GRID - spin).argmin()
        return bool(truth.produced(world, 90.0)[row, column])

    for way in (-1.5, 1.5):
        assert produced(WORLDS["two-schools"], way, -way)
        assert not produced(WORLDS["two-schools"], way, way)
        assert produced(PLAIN, way, way)


def test_two_schools_are_one_region_with_a_waist():
    """Three standard deviations apart in each of two readings, and with a fault or without, their edges meet."""
    inside = truth.produced(WORLDS["two-schools"], 90.0)
    regions, _ = label(inside)
    sizes = np.bincount(regions[inside])
    assert sizes.max() > 0.95 * sizes.sum()
    row, column = (np.abs(g - c).argmin() for g, c in ((truth.LAUNCH_GRID, LAUNCH_DEG), (truth.SPIN_GRID, SPIN_RPM)))
    step = round(LAUNCH_SD / truth.LAUNCH_STEP_DEG), round(SPIN_SD / truth.SPIN_STEP_RPM)

    def across(sds):
        """Count grid points of the region along its short way, `sds` up in launch and down in spin from its middle."""
        along = np.arange(-30, 31)
        rows = row + round(sds * step[0]) + along
        columns = column - round(sds * step[1]) + along
        return inside[rows, columns].sum()

    assert 0 < across(0.0) < 0.8 * min(across(1.5), across(-1.5))


def test_a_quarter_of_golfers_reach_the_better_ratio():
    few = replace(MANY, golfers=4000)
    golfers = academy.draw_golfers(few, np.random.default_rng(2)).filter(quarter="2026Q1")
    assert (golfers["speed_ratio"] >= truth.better_ratio(few, 90.0)).mean() == pytest.approx(0.25, abs=0.03)


def test_efficient_carry_is_the_most_that_the_region_gives():
    best = truth.efficient(PLAIN, "steady", 95.0, 0.02)
    inside = best.inside.nonzero()
    carry = carry_yd("steady", best.ball_speed_mph, truth.LAUNCH_GRID[inside[0]], truth.SPIN_GRID[inside[1]]) * 1.02
    assert best.carry_yd == pytest.approx(carry.max(), abs=1e-9)
    assert best.ball_speed_mph == pytest.approx(95 * truth.better_ratio(PLAIN, 95.0))


def test_usual_figures_are_those_of_many_drives():
    # A quarter has 88 days: their forms leave the mean of a golfer 1/9 of a day's standard deviation to move by.
    world = replace(PLAIN, golfers=6, shots=(4000, 4000), days=(88, 88), faulty=1.0, lasting=0.02)
    one = academy.make_academy(world, "plain", 4)
    drives = one.drives.group_by("row").agg(
        (pl.col("true_ball_mph") / pl.col("true_club_mph")).sort().alias("ratios"),
        pl.col("true_launch_deg").median(),
        pl.col("true_spin_rpm").median(),
        pl.col("true_carry_yd").mean(),
    ).sort("row")  # fmt: skip
    usual = one.usual
    # Of 4,000 drives the densest stretch of ratios lies at the sound ones, mishits or not.
    ratios = np.stack(drives["ratios"].to_list())
    center, _ = sound_centers(ratios.ravel(), 4000 * np.arange(len(ratios)))
    np.testing.assert_allclose(usual["usual_ratio"], center, atol=0.004)
    np.testing.assert_allclose(usual["usual_launch_deg"], drives["true_launch_deg"], atol=0.2)
    np.testing.assert_allclose(usual["usual_spin_rpm"], drives["true_spin_rpm"], rtol=0.015)
    scale = 1 + one.reference_share
    np.testing.assert_allclose(usual["mean_carry_yd"], drives["true_carry_yd"] * scale, atol=1.8)


def test_where_drives_come_down_in_the_long_run_is_where_many_come_down():
    world = replace(WORLDS["cross-wind"], golfers=6, shots=(4000, 4000), days=(88, 88), faulty=1.0, lasting=0.02)
    one = academy.make_academy(world, "plain", 4)
    inside = (pl.col("true_offline_yd").abs() <= academy.CORRIDOR_YD / 2).mean()
    offline = pl.col("true_offline_yd")
    drives = one.drives.group_by("row").agg(
        offline.mean().alias("mean"), offline.std().alias("sd"), inside.alias("inside"), pl.col("true_carry_yd").mean()
    ).sort("row")  # fmt: skip
    usual = one.usual
    np.testing.assert_allclose(usual["true_offline_mean_yd"], drives["mean"], atol=1.6)
    np.testing.assert_allclose(usual["true_offline_sd_yd"], drives["sd"], rtol=0.05)
    np.testing.assert_allclose(usual["true_in_corridor"], drives["inside"], atol=0.05)
    np.testing.assert_allclose(usual["mean_carry_yd"], drives["true_carry_yd"] * (1 + one.reference_share), atol=1.8)
    # What curve costs goes with the square of the axis.
    axis = one.drives.group_by("row").agg((pl.col("true_axis_deg") ** 2).mean()).sort("row")["true_axis_deg"]
    cost = (usual["mean_straight_yd"] - usual["mean_carry_yd"]).to_numpy() / axis.to_numpy()
    assert cost.min() > 0.002
    assert cost.max() < 0.04


def test_the_parts_of_what_is_truly_lost_add_up_with_what_curve_costs():
    one = academy.make_academy(replace(WORLDS["curving"], golfers=30), "steady", 2)
    lost = judge.golfer_truth(one, judge.true_curve(one.world, one.ball))
    parts = lost.select(pl.sum_horizontal(f"true_{part}_yd" for part in (*measures.PARTS, "curve"))).to_series()
    # Contact, launch and spin are worked out from the efficient drive's own delivery, between speeds by a line.
    np.testing.assert_allclose(parts, lost["true_lost_yd"], atol=0.3)
    assert lost["true_curve_yd"].min() > 0
    straight = replace(one, world=replace(one.world, curving=False))
    assert judge.golfer_truth(straight, judge.true_curve(one.world, one.ball))["true_curve_yd"].abs().max() == 0
