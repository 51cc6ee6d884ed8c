import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.bands import SpeedBands
from pipeline.benchmark.bands import at_centre, band_table
from pipeline.benchmark.efficient import Efficient
from pipeline.benchmark.window import Window
from pipeline.tables.figures import BandTable

BANDS = SpeedBands((90.0, 100.0), 5.0)
MIN_GOLFERS = 5
WINDOW = Window(12.0, 15.0, 2300.0, 2900.0)
EFFICIENT = {90.0: Efficient(90.0, 195.0, 193.0, 197.0, 1.2, 13.5, 2600.0, WINDOW, 20.0, 218.0, 13.0, 2500.0, WINDOW)}


@pytest.fixture(scope="module")
def model(world):
    return fit_to(candidate_named("quadratic"), world.drives).model


def typical(n, speed=90.0, quarter="2026Q3", launch=13.0, spin=2600.0):
    return pl.DataFrame(
        {
            "golfer": [f"g{i:016x}" for i in range(n)],
            "quarter": quarter,
            "shots": [20] * n,
            "club_speed_mph": [speed] * n,
            "speed_ratio": [1.46] * n,
            "launch_deg": [launch] * n,
            "spin_rpm": [spin] * n,
            "carry_p50_yd": 180.0 + 2 * np.arange(n),
        }
    )


def test_a_golfer_at_the_centre_stays_and_others_move_by_the_model(model, world_carry, roller):
    table = typical(3).with_columns(club_speed_mph=pl.Series([86.0, 90.0, 94.0]))
    moved = at_centre(model, table, 90.0, roller)[0] - table.get_column("carry_p50_yd")
    truth = [world_carry(90 * 1.46, 13.0, 2600.0) - world_carry(v * 1.46, 13.0, 2600.0) for v in (86.0, 90.0, 94.0)]
    assert moved.to_list() == pytest.approx(truth, abs=0.6)
    assert moved[1] == pytest.approx(0, abs=1e-9)


def test_percentiles_are_over_golfers(model, roller):
    row = band_table(model, typical(41), EFFICIENT, BANDS, MIN_GOLFERS, roller).row(0, named=True)
    assert row["golfers"] == 40  # 41, in steps of 5
    assert row["shots"] == 840  # 820, in steps of half of what 5 golfers hit
    assert [row[f"carry_p{p}_yd"] for p in (25, 50, 75, 90)] == [200.0, 220.0, 240.0, 252.0]
    assert row["speed_ratio_p50"] == 1.46
    assert (row["efficient_carry_yd"], row["launch_lo_deg"], row["spin_hi_rpm"]) == (195.0, 12.0, 2900.0)


def test_totals_are_carry_and_the_run_of_the_typical_drive(model, roller):
    row = band_table(model, typical(41), EFFICIENT, BANDS, MIN_GOLFERS, roller).row(0, named=True)
    run = round(float(roller.run_yd(90 * 1.46, 13.0, 2600.0)))
    assert 15 < run < 40
    assert [row[f"total_p{p}_yd"] for p in (25, 50, 75, 90)] == [v + run for v in (200, 220, 240, 252)]
    assert (row["efficient_total_yd"], row["total_launch_hi_deg"], row["total_spin_lo_rpm"]) == (218.0, 15.0, 2300.0)


def test_share_in_the_window_counts_golfers(model, roller):
    inside, low, spun = typical(9), typical(4, launch=11.0), typical(2, spin=3000.0)
    row = band_table(model, pl.concat([inside, low, spun]), EFFICIENT, BANDS, MIN_GOLFERS, roller).row(0, named=True)
    assert row["in_window_share"] == pytest.approx(0.6)


def test_guessed_spins_are_no_part_of_the_share_in_the_window(model, roller):
    inside, low = typical(9), typical(6, launch=11.0)
    guessed = typical(8).with_columns(spin_rpm=pl.lit(None, pl.Float64))
    golfers = pl.concat([inside, low, guessed])
    row = band_table(model, golfers, EFFICIENT, BANDS, MIN_GOLFERS, roller).row(0, named=True)
    assert row["in_window_share"] == pytest.approx(0.6)
    assert row["golfers"] == 25  # 23, in steps of 5
    assert row["total_p50_yd"] is not None


@pytest.mark.parametrize(("inside", "outside"), [(11, 0), (0, 11), (7, 4), (4, 7)])
def test_share_of_nearly_all_or_nobody_is_left_out(model, roller, inside, outside):
    golfers = pl.concat([typical(n, launch=l) for n, l in ((inside, 13.0), (outside, 11.0)) if n])
    table = BandTable.validate(band_table(model, golfers, EFFICIENT, BANDS, MIN_GOLFERS, roller))
    assert table.item(0, "in_window_share") is None
    assert table.item(0, "note").endswith("too few golfers in the window or outside it for their share")


def test_percentiles_that_would_tell_of_few_golfers_are_left_out(model, roller):
    few, more = (
        BandTable.validate(band_table(model, typical(n), EFFICIENT, BANDS, MIN_GOLFERS, roller)) for n in (8, 11)
    )
    assert few.select("carry_p25_yd", "carry_p75_yd", "carry_p90_yd", "total_p90_yd").row(0) == (None,) * 4
    assert few.item(0, "note").startswith("too few golfers for the 25th, 75th, 90th percentile")
    assert more.select("carry_p25_yd", "carry_p50_yd", "carry_p75_yd", "carry_p90_yd").row(0) == (185, 190, 195, None)


def test_speed_ratio_of_few_golfers_is_left_out(model, roller):
    ratios = [1.40, 1.42, 1.44, 1.46] + [None] * 6
    four = typical(10).with_columns(speed_ratio=pl.Series(ratios))
    five = typical(10).with_columns(speed_ratio=pl.Series([1.48, *ratios[:-1]]))
    assert band_table(model, four, EFFICIENT, BANDS, MIN_GOLFERS, roller).item(0, "speed_ratio_p50") is None
    assert band_table(model, five, EFFICIENT, BANDS, MIN_GOLFERS, roller).item(0, "speed_ratio_p50") == 1.44


def test_golfers_of_other_bands_count_and_the_less_the_farther_they_are(model, roller):
    def middle(*others):
        table = band_table(model, pl.concat([typical(9), *others]), {}, BANDS, MIN_GOLFERS, roller)
        return table.item(0, "golfers"), table.item(0, "carry_p50_yd")

    # Moved to 90 mph they carry about 60 yd farther than the nine there.
    near, far = (
        typical(9, speed=speed).with_columns(golfer=f"{speed:.0f}" + pl.col("golfer"), carry_p50_yd=pl.lit(carry))
        for speed, carry in ((96.0, 265.0), (104.0, 285.0))
    )
    alone, with_near, with_far = middle(), middle(near), middle(far)
    assert alone == (10, 188.0)  # 9, in steps of 5
    assert with_near[0] == with_far[0] == 10
    assert with_near[1] >= alone[1] + 6
    assert alone[1] < with_far[1] < with_near[1]


def test_golfers_of_a_suppressed_band_or_of_none_count_nowhere(model, roller):
    others = [typical(4, speed=97.0), typical(9, speed=84.0)]
    others = [
        table.with_columns(golfer=f"{i}" + pl.col("golfer"), carry_p50_yd=pl.lit(300.0))
        for i, table in enumerate(others)
    ]
    alone, more = (
        band_table(model, pl.concat([typical(25), *rest]), EFFICIENT, BANDS, MIN_GOLFERS, roller)
        for rest in ([], others)
    )
    assert more.equals(alone)


def test_intervals_hold_their_percentiles_and_narrow_with_golfers(model, roller):
    def width(n, *others):
        carry = 180.0 + 20 * np.linspace(-1, 1, n)
        table = pl.concat([typical(n).with_columns(carry_p50_yd=pl.Series(carry)), *others])
        row = BandTable.validate(band_table(model, table, {}, BANDS, MIN_GOLFERS, roller)).row(0, named=True)
        for p in (25, 50, 75, 90):
            ends = [row[f"carry_p{p}_{end}90_yd"] for end in ("lo", "hi")]
            if row[f"carry_p{p}_yd"] is None:
                assert ends == [None, None]
            else:
                assert ends[0] < row[f"carry_p{p}_yd"] < ends[1]
                assert ends == [round(end) for end in ends]
        return row["carry_p50_hi90_yd"] - row["carry_p50_lo90_yd"]

    # Even from 160 to 200 yd: the standard error of the middle of n is 20 / sqrt(n). An end is rounded outwards.
    assert [width(n) for n in (16, 100)] == pytest.approx([2 * 1.645 * 5 + 1, 2 * 1.645 * 2 + 1], abs=2)
    # Golfers of the next band are worth something.
    assert width(16, typical(16, speed=96.0).with_columns(golfer="x" + pl.col("golfer"))) < width(16)


def test_intervals_come_from_a_band_with_enough_golfers_where_another_is_published_as_equally_full(model, roller):
    # All are published as 10 golfers, but 8 are too few for the 25th percentile.
    faster = [typical(12, speed=v).with_columns(golfer=pl.lit(f"{v:.0f}") + pl.col("golfer")) for v in (90.0, 100.0)]
    golfers, bands = pl.concat([typical(8, speed=80.0), *faster]), SpeedBands((80.0, 90.0, 100.0), 5.0)
    rows = BandTable.validate(band_table(model, golfers, {}, bands, MIN_GOLFERS, roller))
    assert rows["golfers"].to_list() == [10, 10, 10]
    assert rows["carry_p25_yd"].is_null().to_list() == [True, False, False]
    for percent in (25, 50):
        middle, ends = rows[f"carry_p{percent}_yd"], [rows[f"carry_p{percent}_{end}90_yd"] for end in ("lo", "hi")]
        assert all(end.is_null().to_list() == middle.is_null().to_list() for end in ends)


def test_a_quarter_without_any_band_of_nine_golfers_has_no_intervals(model, roller):
    row = band_table(model, typical(8), EFFICIENT, BANDS, MIN_GOLFERS, roller).row(0, named=True)
    assert row["carry_p50_yd"] == 187.0
    assert row["carry_p50_lo90_yd"] is row["carry_p50_hi90_yd"] is None
    assert "too few golfers in each band of the quarter for intervals of percentiles" in row["note"]


def test_a_band_of_few_golfers_is_suppressed(model, roller):
    table = BandTable.validate(band_table(model, typical(4), EFFICIENT, BANDS, MIN_GOLFERS, roller))
    row = table.row(0, named=True)
    assert row["suppressed"] is True
    assert row["golfers"] is None
    assert row["carry_p50_yd"] is None
    assert row["in_window_share"] is None
    assert row["total_p50_yd"] is None
    assert row["carry_p50_lo90_yd"] is None
    # What rests on all golfers of about this speed, not on these four, may be shown.
    assert row["efficient_carry_yd"] == 195.0
    assert row["note"] == "fewer than 5 golfers: their figures are suppressed"


def test_the_lower_edge_belongs_to_a_band_and_the_upper_to_the_next(model, roller):
    table = pl.concat([typical(5, speed=95.0), typical(8, speed=94.99).with_columns(golfer="x" + pl.col("golfer"))])
    found = band_table(model, table, {}, BANDS, MIN_GOLFERS, roller)
    assert found.get_column("golfers").to_list() == [10, 5]


def test_every_quarter_has_every_band(model, roller):
    found = band_table(model, pl.concat([typical(6), typical(5, quarter="2026Q1")]), {}, BANDS, MIN_GOLFERS, roller)
    assert found.select("quarter", "band_mph").rows() == [
        ("2026Q1", 90.0), ("2026Q1", 100.0), ("2026Q3", 90.0), ("2026Q3", 100.0),
    ]  # fmt: skip
    assert "too few golfers of about this speed" in found.item(0, "note")
