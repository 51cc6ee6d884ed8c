import numpy as np
import polars as pl
import pytest

from pipeline.coach.progress.cohorts import cohorts_of, groups_of
from pipeline.coach.progress.measures import MEASURES
from pipeline.statistics.intervals import Z90
from pipeline.tables.progress import Cohorts

BESIDE = "suppressed so that the fewer than 5 golfers of other groups, or of none, can't be deduced"
FEW = "fewer than 5 golfers: their figures are suppressed"


def progress_of_golfers(change, std_error=1.0, shared=0.0, verdict="no_clear_change", quarter="2026Q3"):
    """Give what `progress_of` gives of golfers whose every measure changed alike; a third of it is by speed."""
    n = len(change)
    change = np.asarray(change, dtype=float)
    columns = {"golfer": [f"g{i:02d}" for i in range(n)], "quarter": [quarter] * n}
    for measure in MEASURES:
        columns |= {
            measure.change(): change,
            f"{measure.name}_std_error": np.broadcast_to(std_error, n),
            f"{measure.name}_verdict": [verdict] * n if isinstance(verdict, str) else verdict,
        }
    for part, share in (("speed", 1 / 3), ("delivery", 2 / 3)):
        columns |= {
            f"carry_from_{part}_yd": share * change,
            f"carry_from_{part}_std_error": np.broadcast_to(std_error, n),
        }
    columns |= {"device_changed": [False] * n, "ball_changed": pl.Series([None] * n, dtype=pl.Boolean)}
    columns |= {"carry_from_other_yd": np.zeros(n), "lost_shared_variance": np.full(n, shared)}
    return pl.DataFrame(columns)


def grouped(*groups):
    """Give groups of golfers g00, g01 and so on of 2026Q3."""
    return pl.DataFrame(
        {"golfer": [f"g{i:02d}" for i in range(len(groups))], "quarter": "2026Q3", "group": groups},
        schema_overrides={"group": pl.String},
    )


def told(*groups, min_golfers=5):
    table = cohorts_of(progress_of_golfers([1.0] * len(groups)), grouped(*groups), min_golfers)
    Cohorts.validate(table)
    return dict(table.select("group", pl.struct("golfers", "suppressed", "note")).iter_rows())


def test_a_golfers_group_is_the_one_of_most_drives():
    drives = pl.DataFrame(
        {
            "golfer": ["a"] * 5 + ["b"] * 4 + ["c"],
            "quarter": ["2026Q2"] * 2 + ["2026Q3"] * 3 + ["2026Q3"] * 5,
            "group": ["x", "x", "x", "y", "y", "z", "w", None, None, None],
        }
    )
    assert groups_of(drives).rows() == [
        ("a", "2026Q2", "x"),
        ("a", "2026Q3", "y"),
        ("b", "2026Q3", "w"),
        ("c", "2026Q3", None),
    ]


def test_groups_that_nobody_has():
    drives = pl.DataFrame({"golfer": ["a"], "quarter": ["2026Q3"], "group": pl.Series([None], dtype=pl.Null)})
    assert groups_of(drives).rows() == [("a", "2026Q3", None)]


def test_the_mean_change_has_the_error_of_a_mean():
    progress = progress_of_golfers([1.0, 2.0, 3.0, 4.0, 5.0], [1.0, 2.0, 2.0, 1.0, 1.0])
    row = cohorts_of(progress, grouped(*[None] * 5), 5).row(0, named=True)
    reach = Z90 * np.sqrt(1 + 4 + 4 + 1 + 1) / 5
    assert row["carry_change_yd"] == pytest.approx(3.0)
    assert (row["carry_change_lo90_yd"], row["carry_change_hi90_yd"]) == pytest.approx((3 - reach, 3 + reach))
    assert row["carry_from_speed_yd"] == pytest.approx(1.0)
    assert row["carry_from_speed_hi90_yd"] == pytest.approx(1 + reach)
    assert row["carry_from_delivery_lo90_yd"] == pytest.approx(2 - reach)
    assert (row["golfers"], row["group"], row["note"]) == (5, None, None)


def test_what_golfers_share_of_an_error_stays_in_their_mean():
    # Of 4 yd^2 each, 3 are shared: the mean of six has 3 + 1 / 6.
    progress = progress_of_golfers([0.0] * 6, std_error=2.0, shared=3.0)
    row = cohorts_of(progress, grouped(*[None] * 6), 5).row(0, named=True)
    assert row["lost_change_hi90_yd"] == pytest.approx(Z90 * np.sqrt(3 + 1 / 6))
    assert row["carry_change_hi90_yd"] == pytest.approx(Z90 * np.sqrt(4 / 6))


def test_better_and_worse_are_counted():
    verdicts = ["better", "better", "worse", "changed", "no_clear_change", None]
    row = cohorts_of(progress_of_golfers([1.0] * 6, verdict=verdicts), grouped(*[None] * 6), 5).row(0, named=True)
    assert (row["spin_better"], row["spin_worse"], row["lost_better"]) == (2, 1, 2)


def test_golfers_on_another_device_or_ball_are_counted():
    progress = progress_of_golfers([1.0] * 6).with_columns(
        pl.Series("device_changed", [True, True, False, None, True, False]),
        pl.Series("ball_changed", [False, None, True, False, False, False]),
    )
    row = cohorts_of(progress, grouped(*[None] * 6), 5).row(0, named=True)
    assert (row["device_changed"], row["ball_changed"]) == (3, 1)


def test_golfers_without_a_figure_are_left_out_of_its_mean():
    progress = progress_of_golfers([1.0] * 5 + [7.0]).with_columns(
        pl.when(pl.col("golfer") != "g05").then(pl.col(name)).alias(name)
        for name in ("speed_ratio_change", "speed_ratio_std_error")
    )
    row = cohorts_of(progress, grouped(*[None] * 6), 5).row(0, named=True)
    assert row["speed_ratio_change"] == pytest.approx(1.0)
    assert row["speed_ratio_change_hi90"] == pytest.approx(1 + Z90 / np.sqrt(5))
    assert row["carry_change_yd"] == pytest.approx(2.0)


def test_a_figure_without_error_leaves_the_mean_without_interval():
    progress = progress_of_golfers([1.0] * 6).with_columns(
        pl.when(pl.col("golfer") != "g05").then(pl.col("carry_std_error")).alias("carry_std_error")
    )
    row = cohorts_of(progress, grouped(*[None] * 6), 5).row(0, named=True)
    assert (row["carry_change_yd"], row["carry_change_lo90_yd"]) == (1.0, None)


def test_a_figure_that_nobody_has_is_null():
    progress = progress_of_golfers([1.0] * 5).with_columns(
        pl.lit(None, dtype=pl.Float64).alias(name) for name in ("speed_ratio_change", "speed_ratio_std_error")
    )
    row = cohorts_of(progress, grouped(*[None] * 5), 5).row(0, named=True)
    assert row["speed_ratio_change"] is None
    assert row["speed_ratio_change_hi90"] is None


def test_few_golfers_are_suppressed():
    table = cohorts_of(progress_of_golfers([1.0] * 4), grouped(*[None] * 4), 5)
    row = Cohorts.validate(table).row(0, named=True)
    assert (row["suppressed"], row["note"]) == (True, FEW)
    given = {name for name, value in row.items() if value is not None}
    assert given == {"quarter", "suppressed", "note"}


def test_a_small_group_takes_the_next_with_it_so_that_it_cant_be_worked_out():
    rows = told(*["a"] * 8, *["b"] * 6, *["c"] * 2)
    assert {group: row["note"] for group, row in rows.items()} == {None: None, "a": None, "b": BESIDE, "c": FEW}
    assert rows["b"]["golfers"] is None


def test_two_small_groups_hide_each_other():
    rows = told(*["a"] * 8, *["b"] * 3, *["c"] * 2)
    assert {group: row["suppressed"] for group, row in rows.items()} == {None: False, "a": False, "b": True, "c": True}


def test_golfers_of_no_group_cant_be_worked_out_either():
    assert told(*["a"] * 8, *["b"] * 6, None)["b"]["note"] == BESIDE
    assert told(*["a"] * 8, *["b"] * 6, *[None] * 5)["b"]["note"] is None


def test_groups_that_are_all_large_are_all_told():
    rows = told(*["a"] * 8, *["b"] * 5)
    assert [row["golfers"] for row in rows.values()] == [13, 8, 5]
    assert not any(row["suppressed"] for row in rows.values())


def test_where_all_golfers_are_few_the_reason_is_that():
    rows = told("a", "a", "b")
    assert {group: row["note"] for group, row in rows.items()} == {None: FEW, "a": FEW, "b": FEW}


def test_nobody_compared_gives_an_empty_table():
    table = cohorts_of(progress_of_golfers([1.0]).clear(), grouped("a"), 5)
    assert Cohorts.validate(table).height == 0


def test_quarters_stand_apart():
    two = pl.concat([progress_of_golfers([1.0] * 5, quarter="2026Q2"), progress_of_golfers([3.0] * 6)])
    table = cohorts_of(two, grouped(*[None] * 6), 5)
    assert table.select("quarter", "golfers", "carry_change_yd").rows() == [("2026Q2", 5, 1.0), ("2026Q3", 6, 3.0)]


def test_of_groups_with_as_many_drives_the_first_by_the_type_of_the_column_counts():
    drives = pl.DataFrame({"golfer": ["a"] * 4, "quarter": ["2026Q3"] * 4, "group": ["x", "y", "x", "y"]})
    by_type = drives.cast({"group": pl.Enum(["y", "x"])})
    assert [groups_of(frame).item(0, "group") for frame in (drives, by_type)] == ["x", "y"]


def test_of_groups_as_small_the_first_by_the_type_of_the_column_is_suppressed_too():
    progress, groups = progress_of_golfers([1.0] * 12), grouped(*["x"] * 5, *["y"] * 5, None, None)
    by_type = groups.cast({"group": pl.Enum(["y", "x"])})
    hidden = [cohorts_of(progress, one, 5).filter("suppressed")["group"].to_list() for one in (groups, by_type)]
    assert hidden == [["x"], ["y"]]
