import numpy as np
import polars as pl
import pytest
from straight_golfers import Habit, drives_of

from pipeline.coach.straightness.straightness import straightness_of
from pipeline.drives import KEYS, Drives
from pipeline.tables.straightness import Straightness

ROOMY = 30.0
STEADY = Habit(drives=60, days=6, mishits=0.0)


def table_of(*quarters, unknown=None, min_shots=12):
    """Make the table of drives; those for which the expression holds have no offline."""
    drives = pl.concat(quarters)
    if unknown is not None:
        drives = drives.with_columns(pl.when(~unknown).then("offline_yd").alias("offline_yd"))
    known = pl.col("offline_yd").is_not_null().sum().cast(pl.Int64)
    counts = drives.group_by(KEYS).agg(
        pl.len().cast(pl.Int64).alias("shots"),
        known.alias("known"),
        pl.lit(0).cast(pl.Int64).alias("calculated"),
        pl.lit(None, pl.Float64).alias("cross_wind_yd"),
    )
    found = straightness_of(Drives.of(drives.drop_nulls("offline_yd")), counts.sort(KEYS), min_shots, ROOMY)
    return Straightness.validate(found)


def two(seed, golfers=60, habit=Habit(), **later):  # noqa: B008
    return [
        drives_of(seed, golfers, habit, "2026Q2")[0],
        drives_of(seed, golfers, habit, "2026Q3", **later)[0],
    ]


def test_a_study_without_offline_has_an_empty_table():
    assert table_of(drives_of(1, 5)[0], unknown=pl.lit(True)).is_empty()


def test_who_is_not_assessed_has_no_figures_and_a_note():
    drives = drives_of(1, 6)[0]
    index = pl.int_range(pl.len()).over("golfer")
    few = (pl.col("golfer") == f"g{0:016x}") & (index >= 11)
    half, less = ((pl.col("golfer") == f"g{k:016x}") & (index >= least) for k, least in ((1, 15), (2, 14)))
    table = table_of(drives.filter(~few), unknown=half | less)
    assert table["status"].to_list() == ["not_assessed", "assessed", "not_assessed", *["assessed"] * 3]
    assert table["note"].to_list()[:3] == [
        "fewer than 12 drives", None, "offline is known for less than half of the drives"
    ]  # fmt: skip
    assert table["known"].to_list()[:3] == [11, 15, 14]


def test_changes_hold_the_truth_and_say_nothing_where_nothing_changed():
    tables = [table_of(*two(seed)) for seed in range(10)]
    table = pl.concat(tables).filter(pl.col("since").is_not_null())
    assert table.height == 600
    for name in ("offline_mean", "offline_sd"):
        held = pl.lit(0.0).is_between(f"{name}_change_lo90_yd", f"{name}_change_hi90_yd")
        assert 0.85 < table.select(held.mean()).item() < 0.95, name
        assert table.select((pl.col(f"{name}_p_value") < 0.05).mean()).item() < 0.07, name


def test_planted_changes_are_found_with_their_size():
    tables = [table_of(*two(seed, habit=STEADY, mean_yd=12.0, wider=1.6)) for seed in range(4)]
    table = pl.concat(tables).filter(pl.col("since").is_not_null())
    mean = table["offline_mean_change_yd"]
    assert mean.mean() == pytest.approx(12, abs=1)
    true = [
        after["sd"].to_numpy() - before["sd"].to_numpy()
        for seed in range(4)
        for before, after in [[drives_of(seed, 60, STEADY, q, wider=w)[1] for q, w in
                               (("2026Q2", 1.0), ("2026Q3", 1.6))]]
    ]  # fmt: skip
    off = table["offline_sd_change_yd"].to_numpy() - np.concatenate(true)
    assert abs(off.mean()) < 1
    low, high = (table[f"offline_sd_change_{end}_yd"].to_numpy() for end in ("lo90", "hi90"))
    assert 0.85 < np.mean((low <= np.concatenate(true)) & (np.concatenate(true) <= high)) < 0.95
    for name in ("offline_mean", "offline_sd"):
        assert table.select((pl.col(f"{name}_p_value") < 0.05).mean()).item() > 0.5, name


def test_a_quarter_is_compared_with_the_last_one_that_was_assessed():
    quarters = [drives_of(1, 4, quarter=quarter)[0] for quarter in ("2026Q1", "2026Q2", "2026Q3")]
    table = table_of(*quarters, unknown=(pl.col("quarter") == "2026Q2") & (pl.col("golfer") == f"g{1:016x}"))
    assert table.filter(quarter="2026Q3")["since"].to_list() == ["2026Q2", "2026Q1", "2026Q2", "2026Q2"]
    assert table.filter(quarter="2026Q1")["since"].to_list() == [None] * 4


def test_days_that_cannot_be_told_are_told():
    table = table_of(drives_of(1, 8, Habit(days=1))[0])
    assert set(table["note"]) == {"these logs don't show how much days differ: the intervals don't cover a day's form"}
    assert set(table_of(drives_of(1, 8, Habit(days=3, form=0.0))[0])["note"]) == {None}
