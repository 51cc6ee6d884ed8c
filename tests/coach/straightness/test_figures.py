import numpy as np
import polars as pl
import pytest
from straight_golfers import Habit, drives_of

from pipeline.coach.straightness.figures import figures_of
from pipeline.coach.straightness.spread import excess_kurtosis
from pipeline.drives import Drives

CASES = {
    "three days": Habit(),
    "few drives": Habit(drives=14, days=2),
    "without form or mishits": Habit(drives=60, days=6, form=0.0, mishits=0.0),
    "many mishits": Habit(mishits=0.15),
    "days that differ much": Habit(drives=20, days=2, spread=16.0, form=8.0),
}


def found(habit, studies=12, golfers=60):
    """Give figures beside the truth, over several studies."""
    frames = []
    for seed in range(studies):
        drives, truth = drives_of(seed, golfers, habit)
        frames.append(figures_of(Drives.of(drives), 30.0)[0].join(truth, on=["golfer", "quarter"]))
    return pl.concat(frames)


@pytest.mark.parametrize("habit", CASES.values(), ids=CASES)
def test_intervals_hold_the_truth_about_nine_times_in_ten(habit):
    table = found(habit)
    for truth, figure, unit in (("mean", "offline_mean", "_yd"), ("sd", "offline_sd", "_yd"),
                                ("inside", "in_corridor_share", "")):  # fmt: skip
        held = pl.col(truth).is_between(f"{figure}_lo90{unit}", f"{figure}_hi90{unit}")
        assert 0.85 < table.select(held.mean()).item() < 0.95, truth
    for truth, figure in (("mean", "offline_mean_yd"), ("sd", "offline_sd_yd")):
        assert abs(table.select((pl.col(figure) - pl.col(truth)).mean()).item()) < 1, truth
    off = table.select((pl.col("in_corridor_share") - pl.col("inside")).mean()).item()
    assert abs(off) < 0.02


def test_one_day_a_quarter_has_the_form_that_quarters_show():
    frames = []
    for seed in range(8):
        quarters = [drives_of(seed, 60, Habit(days=1), quarter) for quarter in ("2026Q2", "2026Q3")]
        drives, truth = (pl.concat(part) for part in zip(*quarters, strict=True))
        table, form = figures_of(Drives.of(drives), 30.0)
        assert form.source == "quarters"
        frames.append(table.join(truth, on=["golfer", "quarter"]))
    table = pl.concat(frames)
    for truth, figure in (("mean", "offline_mean"), ("sd", "offline_sd")):
        held = pl.col(truth).is_between(f"{figure}_lo90_yd", f"{figure}_hi90_yd")
        assert 0.85 < table.select(held.mean()).item() < 0.95, truth


def test_mirrored_drives_give_mirrored_means_and_the_same_spreads():
    drives, _ = drives_of(1, 20)
    here, there = (
        figures_of(Drives.of(frame), 30.0)[0] for frame in (drives, drives.with_columns(-pl.col("offline_yd")))
    )
    turned = {
        "offline_mean_yd": "offline_mean_yd",
        "offline_mean_lo90_yd": "offline_mean_hi90_yd",
        "offline_mean_hi90_yd": "offline_mean_lo90_yd",
        "axis_tilt_deg": "axis_tilt_deg",
    }
    for name in here.columns:
        if name in ("golfer", "quarter"):
            continue
        mirrored = -there[turned[name]].to_numpy() if name in turned else there[name].to_numpy()
        assert mirrored == pytest.approx(here[name].to_numpy(), abs=1e-9), name


def test_order_of_rows_does_not_matter():
    drives, _ = drives_of(1, 10)
    here, there = (figures_of(Drives.of(frame), 30.0)[0] for frame in (drives, drives.sample(fraction=1, shuffle=True)))
    for name in here.columns[2:]:
        assert there[name].to_numpy() == pytest.approx(here[name].to_numpy(), rel=1e-9), name


def test_the_ellipse_is_that_of_the_covariance():
    # Drives on a straight line, 30 deg to the right, of known length: all scatter is along it.
    along = np.array([-2.0, -1.0, 0.0, 1.0, 2.0, -2.0, 2.0, 0.0])
    drives, _ = drives_of(1, 1, Habit(drives=8, days=1))
    right = drives.with_columns(
        pl.Series("carry_yd", 200 + along * np.cos(np.pi / 6)), pl.Series("offline_yd", along * np.sin(np.pi / 6))
    )
    row = figures_of(Drives.of(right), 30.0)[0].row(0, named=True)
    assert row["long_axis_yd"] == pytest.approx(np.std(along, ddof=1))
    assert row["short_axis_yd"] == pytest.approx(0, abs=1e-6)
    assert row["axis_tilt_deg"] == pytest.approx(30)


def test_a_corridor_that_all_drives_hit_is_not_certain():
    drives, _ = drives_of(1, 12, Habit(spread=1.0, form=0.0, mishits=0.0, wanders=1.0))
    table, _ = figures_of(Drives.of(drives), 60.0)
    # Wilson's interval of 30 in 30: n / (n + z^2).
    assert table["in_corridor_share"].to_list() == [1.0] * 12
    assert table["in_corridor_share_lo90"].to_numpy() == pytest.approx(30 / (30 + 1.6448536**2))


def test_drives_of_one_place_have_no_spread_and_no_interval():
    drives, _ = drives_of(1, 5)
    same = drives.with_columns(
        pl.when(pl.col("golfer") == f"g{0:016x}").then(3.0).otherwise("offline_yd").alias("offline_yd")
    )
    row = figures_of(Drives.of(same), 30.0)[0].row(0, named=True)
    assert row["offline_mean_yd"] == 3.0
    assert (row["offline_mean_lo90_yd"], row["offline_sd_yd"], row["offline_sd_hi90_yd"]) == (None, None, None)


def test_tails_of_all_golfers_together():
    normal, heavy = (
        np.mean([excess_kurtosis(Drives.of(drives_of(seed, 100, habit)[0])) for seed in range(10)])
        for habit in (Habit(form=0.0, mishits=0.0), Habit(form=0.0, mishits=0.1))
    )
    # A tenth of drives three times as wide: 3 (0.9 + 0.1 3^4) / (0.9 + 0.1 3^2)^2 - 3.
    assert normal == pytest.approx(0, abs=0.4)
    assert heavy == pytest.approx(3 * 9.0 / 1.8**2 - 3, rel=0.3)
