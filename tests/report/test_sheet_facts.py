import numpy as np
import polars as pl
import pytest
from small_academy import CENTRES, FEW_DRIVES, SETTINGS

from pipeline.bands import SpeedBands
from pipeline.benchmark.frontier import WINDOW_EDGES
from pipeline.report.sheet.facts import MOST_DOTS, drives_of, sheet_rows, target_at

BANDS = {"speed_bands": SpeedBands(CENTRES, 5.0)}


def test_moved_carry_is_that_of_the_band_tables_golfers(academy):
    bands = academy.bands.filter((pl.col("quarter") == "2026Q3") & (pl.col("band_mph") == 90))
    moved = academy.moved.filter((pl.col("quarter") == "2026Q3") & (pl.col("band_mph") == 90))["moved_yd"]
    assert len(moved) == bands["golfers"][0]
    # Golfers of other bands count in the table too, so that it needn't have quite these percentiles.
    assert bands["carry_p50_lo90_yd"][0] <= np.median(moved.to_numpy()) <= bands["carry_p50_hi90_yd"][0]


def test_only_flagged_golfers_have_sheets_unless_all_shall(academy):
    flagged = sheet_rows(academy.golfers, academy.bands, academy.moved, sheets="flagged", **BANDS)
    every = sheet_rows(academy.golfers, academy.bands, academy.moved, sheets="all", **BANDS)
    keys = ["golfer", "quarter"]
    assert set(flagged.select(keys).rows()) == set(academy.golfers.filter("flagged").select(keys).rows())
    assert set(every.select(keys).rows()) == set(academy.golfers.select(keys).rows())
    assert every.height == academy.golfers.height
    assert flagged["quarter"].to_list() == sorted(flagged["quarter"], reverse=True)


def test_nothing_is_told_of_the_golfers_of_a_suppressed_band(academy):
    # The rule of the table is undone, so that what stands there would be shown if it weren't held back here.
    leaky = academy.bands.with_columns(carry_p25_yd=pl.lit(123.0), golfers=pl.lit(4, pl.Int64))
    rows = sheet_rows(academy.golfers, leaky, academy.moved, sheets="all", **BANDS)
    hidden = rows.filter("band_suppressed")
    assert hidden.height == 3
    assert hidden.select("band_carry_p25_yd", "band_golfers").null_count().row(0) == (3, 3)
    assert rows.filter(~pl.col("band_suppressed"))["band_carry_p25_yd"].unique().to_list() == [123.0]


def test_golfer_with_few_drives_is_not_placed(academy):
    rows = sheet_rows(academy.golfers, academy.bands, academy.moved, sheets="all", **BANDS)
    row = rows.filter((pl.col("golfer") == FEW_DRIVES) & (pl.col("quarter") == "2026Q3")).row(0, named=True)
    assert row["moved_yd"] is None
    assert row["band_golfers"] is not None


def test_target_is_what_the_frontier_says_at_the_speed(academy):
    frontier = academy.frontier
    place = frontier.speed_mph.tolist().index(95.0)
    target = target_at(frontier, academy.model, 95.0)
    assert (target.launch_deg, target.spin_rpm) == (frontier.launch_deg[place], frontier.spin_rpm[place])
    assert vars(target.window) == {name: getattr(frontier, name)[place] for name in WINDOW_EDGES}
    assert target.speed_ratio == pytest.approx(float(academy.model.usual.better_ratio(95.0)))
    assert target_at(frontier, academy.model, 140.0) is None


def test_drives_are_thinned_evenly_and_guessed_spins_left_out():
    n = 3 * MOST_DOTS + 1
    drives = pl.DataFrame(
        {
            "golfer": ["a"] * n + ["b", "b", "c"],
            "quarter": "2026Q3",
            "launch_deg": [float(i) for i in range(n)] + [1.0, 2.0, 3.0],
            "spin_rpm": 2500.0,
            "spin_measured": [None] * n + [False, True, True],
        }
    )
    found = drives_of(drives, pl.DataFrame({"golfer": ["a", "b"], "quarter": ["2026Q3"] * 2}))
    assert set(found) == {("a", "2026Q3"), ("b", "2026Q3")}
    assert found["b", "2026Q3"]["launch_deg"].to_list() == [2.0]
    assert found["a", "2026Q3"]["launch_deg"].to_list() == [float(i) for i in range(0, n, 4)]


def test_settings_of_these_tests_are_those_of_the_bands():
    assert tuple(SETTINGS["bands"]["centres"]) == CENTRES
