from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from frontiers import frontier_at
from scipy import stats

from pipeline.coach.progress.measures import MEASURES, Yardstick, drive_values
from pipeline.coach.progress.progress import progress_of
from pipeline.fit.model import CarryModel
from pipeline.fit.surface import Axis, Surface
from pipeline.fit.usual_delivery import Line, UsualDelivery
from pipeline.flight.offsets import Offsets
from pipeline.golfers.flags import FlagRules, assess
from pipeline.golfers.losses import known_losses
from pipeline.golfers.quarter_changes import PART_OF_RATE, changes_of
from pipeline.golfers.ranking import ranked
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.statistics.false_discovery import adjusted_families
from pipeline.tables.golfers import Changes
from pipeline.tables.progress import Progress

FIRST = {"2026Q1": date(2026, 1, 5), "2026Q2": date(2026, 4, 7), "2026Q3": date(2026, 7, 1)}
REFERENCE = Offsets({"device": "unit-A", "ball": "premium"}, ())
NAMES = [measure.name for measure in MEASURES]


def flown(ball_mph, launch_deg, spin_rpm):
    """Carry 1.6 yd per mph of ball speed, less squares off 14 deg and 2600 rpm."""
    return 1.6 * ball_mph - ((launch_deg - 14) / 1.5) ** 2 - ((spin_rpm - 2600) / 300) ** 2


def model():
    """Give `flown` as a carry model; the usual ratio is 1.46."""
    axes = Axis(0.0, 1.0), Axis(14.0, 1.5, degree=2), Axis(2600.0, 300.0, degree=2)
    surface = Surface("quadratic", "ball", axes, ((1, 0, 0), (0, 2, 0), (0, 0, 2)))
    usual = UsualDelivery(Line(95.0, 1.46, 0.0), None, Line(95.0, 14.0, 0.0), Line(95.0, 2600.0, 0.0))
    return CarryModel(surface, np.array([1.6, -1.0, -1.0]), REFERENCE, np.zeros(0), usual, {})


SPEEDS = np.arange(70.0, 121.0)
WINDOW = {"launch_lo_deg": 13.0, "launch_hi_deg": 15.0, "spin_lo_rpm": 2400.0, "spin_hi_rpm": 2800.0}
BEST = {"carry_yd": 1.6 * 1.47 * SPEEDS, "std_error_yd": 0.5, "launch_deg": 14.0, "spin_rpm": 2600.0}
YARDSTICK = Yardstick(model(), frontier_at(SPEEDS, **BEST, **WINDOW))


def drives_of(rng, quarter, golfers, days=3, each=10, form=0.0, noise=1.0, **usual):
    """Drives of one quarter. `usual` gives golfers' own speed, ratio, launch, spin; form: what a day's share."""
    who, day, _ = (index.ravel() for index in np.indices((golfers, days, each)))
    own = {"speed": 95.0, "ratio": 1.46, "launch": 12.0, "spin": 3000.0} | usual
    sizes = {"speed": (1.2, 0.8), "ratio": (0.012, 0.006), "launch": (1.1, 0.6), "spin": (200.0, 90.0)}
    value = {
        name: np.broadcast_to(own[name], golfers)[who]
        + noise * shot * rng.standard_normal(len(who))
        + form * daily * rng.standard_normal((golfers, days))[who, day]
        for name, (shot, daily) in sizes.items()
    }
    ball = value["speed"] * value["ratio"]
    carry = flown(ball, value["launch"], value["spin"]) + 4 * noise * rng.standard_normal(len(who))
    return pl.DataFrame(
        {
            "golfer": [f"g{i:016x}" for i in who],
            "quarter": quarter,
            "struck_on": pl.Series([FIRST[quarter] + timedelta(days=int(d)) for d in day]),
            "device": "unit-A",
            "ball": "premium",
            "club_speed_mph": value["speed"],
            "ball_speed_mph": ball,
            "launch_deg": value["launch"],
            "spin_rpm": value["spin"],
            "carry_standard_yd": carry,
            "spin_measured": True,
        }
    )


def golfers_of(drives, few=()):
    """Give what progress needs of the table `Golfers`; quarters in `few` are not assessed."""
    ratio = (pl.col("ball_speed_mph") / pl.col("club_speed_mph")).median()
    table = drives.group_by("golfer", "quarter").agg(
        pl.len().cast(pl.Int64).alias("shots"),
        pl.col("club_speed_mph").mean(),
        pl.col("carry_standard_yd").mean().alias("carry_yd"),
        (ratio * pl.col("club_speed_mph").mean()).alias("ball_speed_mph"),
        pl.col("launch_deg").median(),
        pl.col("spin_rpm").filter("spin_measured").median(),
    )
    status = pl.when(pl.col("quarter").is_in(few)).then(pl.lit("not_assessed")).otherwise(pl.lit("clear"))
    lost = 1.6 * 1.47 * pl.col("club_speed_mph") - pl.col("carry_yd")
    return table.with_columns(status.alias("status"), lost.alias("lost_yd")).sort("golfer", "quarter")


def apart(error_yd):
    """Errors of efficient carry, the first up to 95 mph and another, independent of it, beyond."""
    draws = error_yd * np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]])
    known = replace(YARDSTICK.frontier, freedom=np.full(len(SPEEDS), 1e6))
    return SharedErrors.of(known, draws[:, (SPEEDS > 95).astype(int)])


def changes_for(drives, few=(), rate=0.10, shared=None):
    """Give changes.csv as the golfers' step makes it of these drives."""
    rules = FlagRules(10, rate, 12)
    known, _ = known_losses(drives, YARDSTICK.model, shared or apart(0.5), 0.0)
    table = assess(ranked(known), rules)
    unassessed = pl.when(pl.col("quarter").is_in(few)).then(pl.lit("not_assessed")).otherwise("status")
    return Changes.validate(
        changes_of(known, table.with_columns(unassessed.alias("status")), shared or apart(0.5), rules)
    )


def progress(*quarters, few=(), rate=0.10, yardstick=YARDSTICK, shared=None):
    drives = pl.concat(quarters)
    changes = changes_for(drives, few, rate, shared)
    table, _ = progress_of(drives, golfers_of(drives, few), changes, yardstick, shared or apart(0.5), rate)
    assert_the_same_verdicts(table, changes)
    Progress.validate(table.select(Progress.column_names()))
    return table


def assert_the_same_verdicts(table, changes):
    """Check that yards lost are told of in both tables or in neither."""
    told = changes.filter(pl.col("lost_change_yd").is_not_null())
    named = [table["lost_verdict"].is_in(["better", "worse"]).to_list(), told["more_than_chance"].to_list()]
    assert table.select("golfer", "quarter", "since").rows() == told.select("golfer", "quarter", "since").rows()
    assert [bool(one) for one in named[0]] == [bool(one) for one in named[1]]
    assert table["lost_verdict"].is_null().to_list() == told["more_than_chance"].is_null().to_list()


def two(seed, golfers, moved=None, **how):
    """Two quarters of the same golfers; `moved` adds to their usual speed, ratio, launch or spin in the second."""
    rng = np.random.default_rng(seed)
    usual = {"speed": rng.uniform(85, 105, golfers), "launch": rng.normal(12, 1, golfers)}
    later = usual | {k: usual.get(k, {"ratio": 1.46, "spin": 3000.0}.get(k)) + v for k, v in (moved or {}).items()}
    return drives_of(rng, "2026Q2", golfers, **how, **usual), drives_of(rng, "2026Q3", golfers, **how, **later)


@pytest.fixture(scope="module")
def same_with_form():
    """Two quarters in which nothing changed but days have a form."""
    return two(1, 600, form=1.0)


@pytest.fixture(scope="module")
def same(same_with_form):
    return progress(*same_with_form)


def held(table, name, unit):
    return (
        table.select(pl.lit(0.0).is_between(f"{name}_change_lo90{unit}", f"{name}_change_hi90{unit}"))
        .to_series()
        .mean()
    )


def test_with_a_day_for_each_drive_it_is_scipys_welch():
    rng = np.random.default_rng(2)
    then, now = drives_of(rng, "2026Q2", 1, 14, 1), drives_of(rng, "2026Q3", 1, 31, 1, speed=97.0)
    row = progress(then, now).row(0, named=True)
    known = stats.ttest_ind(now["club_speed_mph"].to_numpy(), then["club_speed_mph"].to_numpy(), equal_var=False)
    edges = (row["club_speed_change_lo90_mph"], row["club_speed_change_hi90_mph"])
    assert row["club_speed_change_mph"] == pytest.approx(now["club_speed_mph"].mean() - then["club_speed_mph"].mean())
    assert row["club_speed_p_value"] == pytest.approx(known.pvalue, rel=1e-9)
    assert edges == pytest.approx(tuple(known.confidence_interval(0.90)), rel=1e-9)
    assert (row["shots"], row["shots_before"], row["days"], row["days_before"]) == (31, 14, 31, 14)


@pytest.mark.parametrize(("name", "unit"), [(measure.name, measure.unit) for measure in MEASURES])
def test_nine_in_ten_intervals_hold_nil_though_days_have_form(same, name, unit):
    assert 0.875 < held(same, name, unit) < 0.93
    assert (same[f"{name}_verdict"] != "no_clear_change").mean() <= 0.02


def test_taken_as_independent_drives_of_days_with_form_would_mislead(same_with_form):
    # The same drives, each with a day of its own: what a test that forgets days would say.
    apart = [
        quarter.with_columns(
            (pl.col("struck_on") + pl.duration(days=pl.int_range(pl.len()).over("golfer"))).alias("struck_on")
        )
        for quarter in same_with_form
    ]
    assert held(progress(*apart), "club_speed", "_mph") < 0.75


def test_of_golfers_told_hardly_one_in_ten_didnt_change():
    gain = np.repeat([1.0, 0.0], 60)
    moved = {"speed": 3 * gain, "ratio": 0.02 * gain, "launch": 1.8 * gain, "spin": -350 * gain}
    table = progress(*two(3, 120, moved, form=1.0)).sort("golfer")
    for name in NAMES[:4]:
        told = (table[f"{name}_verdict"] != "no_clear_change").to_numpy()
        assert told[60:].sum() <= 0.16 * told.sum()  # one in ten, and room for the luck of 60 golfers
        assert told[:60].mean() > 0.5
    for name in ("club_speed", "speed_ratio"):
        assert "worse" not in table[f"{name}_verdict"].head(60).to_list()


def test_yards_lost_have_half_of_the_rate_and_the_other_measures_share_the_rest():
    first, second = two(4, 30, {"speed": 2.0})
    third = drives_of(np.random.default_rng(5), "2026Q1", 30)
    table = progress(third, first, second)
    shared = adjusted_families(
        [table[f"{name}_p_value"] for name in NAMES[:5]], table["quarter"], 0.10, 1 - PART_OF_RATE
    )
    for name, q_value in zip(NAMES[:5], shared, strict=True):
        assert table[f"{name}_q_value"].to_numpy() == pytest.approx(q_value.to_numpy())
    for quarter in ("2026Q2", "2026Q3"):
        rows = table.filter(quarter=quarter)
        known = stats.false_discovery_control(rows["lost_p_value"].to_numpy(), method="bh") / PART_OF_RATE
        assert rows["lost_q_value"].to_numpy() == pytest.approx(np.minimum(known, 1.0))


@pytest.mark.parametrize("known", [True, False])
def test_more_speed_alone_is_all_of_the_gain(known):
    quarters = two(6, 3, {"speed": 4.0}, noise=0.0)
    if not known:
        quarters = [q.with_columns(pl.lit(None, dtype=pl.Float64).alias("ball_speed_mph")) for q in quarters]
    table = progress(*quarters)
    # 1.6 yd per mph of ball speed at a ratio of 1.46, the golfers' own and the usual one.
    assert table["carry_from_speed_yd"].to_list() == pytest.approx([4 * 1.6 * 1.46] * 3)
    assert table["carry_from_delivery_yd"].to_list() == pytest.approx([0.0] * 3, abs=1e-9)
    assert table["carry_from_other_yd"].to_list() == pytest.approx([0.0] * 3, abs=1e-9)


def test_shares_of_a_gain_in_speed_strike_launch_and_spin():
    then, now = (
        drives_of(np.random.default_rng(7), quarter, 1, noise=0.0, **usual)
        for quarter, usual in (
            ("2026Q2", {"speed": 95.0, "ratio": 1.40, "launch": 11.0, "spin": 3200.0}),
            ("2026Q3", {"speed": 100.0, "ratio": 1.46, "launch": 12.5, "spin": 2900.0}),
        )
    )
    row = progress(then, now).row(0, named=True)
    # Speed times ratio: each is worth its change at the mean of the other (Shapley of a product).
    assert row["carry_from_speed_yd"] == pytest.approx(1.6 * 5 * 1.43)
    assert row["carry_from_contact_yd"] == pytest.approx(1.6 * 0.06 * 97.5)
    assert row["carry_from_launch_yd"] == pytest.approx((3.0**2 - 1.5**2) / 1.5**2)
    assert row["carry_from_spin_yd"] == pytest.approx((600**2 - 300**2) / 300**2)
    assert row["carry_from_consistency_yd"] == pytest.approx(0.0, abs=1e-9)


def test_parts_add_up_and_their_intervals_hold_the_truth(same):
    parts = same.select(pl.sum_horizontal("carry_from_speed_yd", "carry_from_delivery_yd", "carry_from_other_yd"))
    assert parts.to_series().to_numpy() == pytest.approx(same["carry_change_yd"].to_numpy(), abs=1e-9)
    for part in ("speed", "delivery"):
        inside = pl.lit(0.0).is_between(f"carry_from_{part}_lo90_yd", f"carry_from_{part}_hi90_yd")
        assert 0.875 < same.select(inside).to_series().mean() < 0.925


def test_steadier_drives_are_a_gain_of_consistency():
    then, now = (
        drives_of(np.random.default_rng(8), q, 40, noise=noise) for q, noise in (("2026Q2", 2.0), ("2026Q3", 0.5))
    )
    table = progress(then, now)
    # Scatter of launch and spin costs (1.1 / 1.5)^2 + (200 / 300)^2 yd times the square of its size.
    expected = (2**2 - 0.5**2) * ((1.1 / 1.5) ** 2 + (200 / 300) ** 2)
    assert table["carry_from_consistency_yd"].mean() == pytest.approx(expected, rel=0.15)


@pytest.mark.parametrize(
    ("launch_then", "launch_now", "verdict"),
    [
        (9.0, 12.0, "better"),
        (17.0, 15.5, "better"),
        (12.0, 9.0, "worse"),
        (11.5, 16.5, "changed"),
        (13.2, 14.8, "changed"),
    ],
)
def test_launch_is_better_only_if_the_way_to_the_window_got_shorter(launch_then, launch_now, verdict):
    rng = np.random.default_rng(9)
    then, now = (
        drives_of(rng, q, 1, noise=0.3, launch=launch)
        for q, launch in (("2026Q2", launch_then), ("2026Q3", launch_now))
    )
    assert progress(then, now)["launch_verdict"].to_list() == [verdict]


def test_without_a_window_the_efficient_delivery_stands_in():
    bare = Yardstick(model(), frontier_at(SPEEDS, **BEST))
    rng = np.random.default_rng(10)
    then, now = (drives_of(rng, q, 1, noise=0.3, launch=l) for q, l in (("2026Q2", 12.5), ("2026Q3", 13.8)))
    assert progress(then, now, yardstick=bare)["launch_verdict"].to_list() == ["better"]


def test_fewer_yards_lost_are_better():
    table = progress(*two(11, 20, {"ratio": 0.05}))
    assert set(table["lost_verdict"]) == {"better"}
    assert (table["lost_change_yd"] < 0).all()


def test_efficient_carrys_error_widens_yards_lost_alone():
    then, now = two(19, 12, {"speed": 6.0})
    unsure, sure = (progress(then, now, shared=apart(error)) for error in (0.5, 0.0))
    # Whoever crossed 95 mph has all of 0.5^2 of each quarter; for all others it cancels.
    slow, fast = (
        (
            frame.group_by("golfer").agg(pl.col("club_speed_mph").mean()).sort("golfer")["club_speed_mph"] < edge
        ).to_list()
        for frame, edge in ((then, 95.0), (now, 96.0))
    )
    crossed = [was and not still for was, still in zip(slow, fast, strict=True)]
    assert 0 < sum(crossed) < 12
    more = unsure["lost_std_error"].to_numpy() ** 2 - sure["lost_std_error"].to_numpy() ** 2
    assert more == pytest.approx([0.5 * moved for moved in crossed], abs=0.01)  # 95 to 96 mph are on a line
    assert unsure["lost_shared_variance"].to_numpy() == pytest.approx(more, abs=1e-9)
    assert unsure["carry_std_error"].to_list() == pytest.approx(sure["carry_std_error"].to_list())


@pytest.mark.parametrize("moves", [(0.0, -8.0), (-8.0, -8.0)])
def test_carry_in_another_air_is_as_unsure_as_coefficient_sets_differ(moves):
    quarters = [
        frame.with_columns((pl.col("carry_standard_yd") * (1 - move / 200)).alias("carry_measured_yd"))
        for frame, move in zip(two(19, 12), moves, strict=True)
    ]
    doubtful = replace(YARDSTICK, frontier=replace(YARDSTICK.frontier, moved_share=0.25))
    unsure = progress(*quarters, yardstick=doubtful, shared=replace(apart(0.5), frontier=doubtful.frontier))
    sure = progress(*quarters)
    carry = pl.concat(quarters).group_by("golfer").agg(pl.col("carry_standard_yd").mean()).sort("golfer")
    far = (carry["carry_standard_yd"] * (moves[1] - moves[0]) / 200).to_numpy()
    for name in ("carry_std_error", "lost_std_error"):
        more = unsure[name].to_numpy() ** 2 - sure[name].to_numpy() ** 2
        assert more == pytest.approx((0.25 * far) ** 2, rel=0.1, abs=1e-9)  # a golfer's carry changes a little


def half_over_error(table, name, unit):
    half = table[f"{name}_change_hi90{unit}"] - table[f"{name}_change{unit}"]
    return (half / table[f"{name}_std_error"]).to_numpy()


def test_an_error_that_is_known_well_leaves_the_normal_interval():
    table = progress(*two(19, 12, {"speed": 6.0}), shared=apart(100.0)).filter(pl.col("lost_shared_variance") > 0)
    assert half_over_error(table, "lost", "_yd") == pytest.approx([1.645] * table.height, rel=1e-2)


def test_days_of_few_golfers_leave_few_degrees_of_freedom():
    # Most of the error is the days'; three golfers' two quarters of three days have twelve degrees to learn it from.
    few, many = (progress(*two(20, golfers, form=4.0, noise=0.1)) for golfers in (3, 60))
    reach, reach_of_many = (half_over_error(table, "club_speed", "_mph") for table in (few, many))
    assert (stats.t.ppf(0.95, 16) < reach).all()
    assert (reach < stats.t.ppf(0.95, 12)).all()
    assert (reach_of_many < stats.t.ppf(0.95, 18)).all()


def test_with_guessed_spin_in_one_quarter_spin_is_not_told():
    then, now = two(12, 5, {"launch": 1.0})
    guessed = then.with_columns(spin_measured=pl.lit(False), spin_rpm=pl.lit(4000.0))
    table = progress(guessed, now)
    assert table["carry_from_spin_yd"].null_count() == table["spin_change_rpm"].null_count() == 5
    assert table["spin_verdict"].null_count() == 5
    assert table["carry_from_launch_yd"].null_count() == 0
    unknown = "spin isn't measured in both quarters: it can't be separated from other"
    assert table["note"].str.contains(unknown, literal=True).all()
    again = progress(guessed.with_columns(spin_rpm=pl.lit(1500.0)), now)
    assert again.equals(table)  # whatever was guessed


def test_without_ball_speed_in_one_quarter_contact_is_not_told():
    then, now = two(12, 5, {"ratio": 0.03})
    table = progress(then.with_columns(pl.lit(None, dtype=pl.Float64).alias("ball_speed_mph")), now)
    assert table["carry_from_contact_yd"].null_count() == table["speed_ratio_change"].null_count() == 5
    assert table["speed_ratio_verdict"].null_count() == 5
    unknown = "ball speed isn't known in both quarters: contact can't be separated from other"
    assert table["note"].to_list() == [unknown] * 5
    # The better strike, 1.6 * 0.03 * 95 = 4.6 yd, is in the rest.
    assert table["carry_from_other_yd"].mean() == pytest.approx(4.6, abs=1.6)


def test_without_ball_speed_delivery_has_the_error_of_launch_and_spin_alone():
    then, now = (frame.drop("ball_speed_mph") for frame in two(20, 1, days=30, each=1))
    unknown = pl.lit(None, dtype=pl.Float64).alias("ball_speed_mph")
    table = progress(then.with_columns(unknown), now.with_columns(unknown))
    fallen = ((pl.col("launch_deg") - 14) / 1.5) ** 2 + ((pl.col("spin_rpm") - 2600) / 300) ** 2
    variance = sum(frame.select(fallen.var() / pl.len()).item() for frame in (then, now))
    assert table["carry_from_delivery_std_error"].item() ** 2 == pytest.approx(variance)


def test_another_device_or_ball_is_a_reason_for_doubt():
    then, now = two(13, 2)
    now = now.with_columns(
        pl.when(pl.col("golfer") == f"g{1:016x}").then(pl.lit("unit-B")).otherwise("device").alias("device"),
        pl.lit(None, dtype=pl.String).alias("ball"),
    )
    table = progress(then, now)
    assert table["device_changed"].to_list() == [False, True]
    assert table["ball_changed"].to_list() == [None, None]
    assert table["note"].to_list() == [None, "another device than before: a part of any change may be the device's"]


def test_what_tells_of_form_is_said():
    table = progress(*two(14, 2, days=1, each=30))
    said = "golfers were watched on one day a quarter: what moved for many at once counts as a day's form"
    assert table["note"].to_list() == [said] * 2
    alike = progress(*two(14, 2, days=1, each=30, noise=0.0))
    unknown = "these logs don't show how much days differ: the intervals don't cover a day's form"
    assert alike["note"].to_list() == [unknown] * 2


@pytest.mark.parametrize("golfers", [60, 400])
def test_with_one_day_a_quarter_intervals_hold_zero_and_hardly_anybody_is_told(golfers):
    table = progress(*two(21, golfers, days=1, each=24, form=1.0))
    for measure in MEASURES:
        inside = held(table, measure.name, measure.unit)
        assert inside == pytest.approx(0.90, abs=0.02 + 3 * np.sqrt(0.09 / golfers))
        assert (table[f"{measure.name}_verdict"] != "no_clear_change").mean() <= 0.02


def test_guessed_spin_is_left_out_where_there_is_measured_spin():
    then, now = two(15, 1)
    guessed = now.head(10).with_columns(pl.lit(9000.0).alias("spin_rpm"), pl.lit(False).alias("spin_measured"))
    drives = pl.concat([then, guessed, now.tail(20)])
    table = golfers_of(drives).with_columns(
        pl.when(pl.col("quarter") == "2026Q3")
        .then(now["spin_rpm"].tail(20).median())
        .otherwise("spin_rpm")
        .alias("spin_rpm")
    )
    found, _ = progress_of(drives, table, changes_for(drives), YARDSTICK, apart(0.5), 0.10)
    assert found["spin_std_error"].item() < 100


def test_a_quarter_without_assessment_is_passed_over():
    quarters = [drives_of(np.random.default_rng(16), quarter, 1) for quarter in FIRST]
    assert progress(*quarters, few=["2026Q2"]).select("quarter", "since").rows() == [("2026Q3", "2026Q1")]


def test_a_single_quarter_has_no_progress():
    assert progress(drives_of(np.random.default_rng(17), "2026Q3", 4)).height == 0


def test_the_order_of_rows_changes_nothing():
    drives = pl.concat(two(18, 12))
    mixed, golfers = drives.sample(fraction=1.0, shuffle=True, seed=1), golfers_of(drives)
    plain, shuffled = (
        progress_of(frame, golfers, changes_for(frame), YARDSTICK, apart(0.5), 0.10)[0] for frame in (drives, mixed)
    )
    for name in NAMES:
        assert shuffled[f"{name}_p_value"].to_numpy() == pytest.approx(plain[f"{name}_p_value"].to_numpy(), rel=1e-6)


def test_expected_carry_of_drives_is_worked_out_once_for_each_strike(monkeypatch):
    drives = drives_of(np.random.default_rng(4), "2026Q1", 3).with_columns(slope=2.5, carry_reference_yd=200.0)
    asked = []
    expected = CarryModel.expected
    monkeypatch.setattr(CarryModel, "expected", lambda *given: asked.append(given[2:]) or expected(*given))
    values = drive_values(drives, YARDSTICK)
    assert sorted(asked) == [(), ("usual",)]
    by_speed = 2.5 * drives.get_column("club_speed_mph")
    for part, whole in (("delivery_yd", "expected_yd"), ("steady_yd", "usual_yd")):
        np.testing.assert_allclose(values.get_column(part) + by_speed, values.get_column(whole), rtol=1e-12)
