import numpy as np
import polars as pl
from rows import table_of

from pipeline.bands import SpeedBands
from pipeline.benchmark.disclosure import percentile
from pipeline.coach.straightness.band_spreads import band_spreads
from pipeline.tables.straightness import Straightness, StraightnessBands

BANDS = SpeedBands.of((80, 90, 100), 5)


def bands_of(speeds, spreads, min_golfers=5, shares=0.6, status="assessed"):
    golfers = [f"g{k:016x}" for k in range(len(speeds))]
    given = {"golfer": golfers, "quarter": "2026Q3", "shots": 30, "known": 30, "calculated": 0, "status": status}
    given |= {"offline_mean_yd": 0.0, "offline_sd_yd": spreads, "in_corridor_share": shares, "corridor_yd": 30.0}
    rows = pl.DataFrame({name: value for name, value in given.items() if not np.isscalar(value)})
    rows = rows.with_columns(pl.lit(value).alias(name) for name, value in given.items() if np.isscalar(value))
    club = rows.select("golfer", "quarter", pl.Series("club_speed_mph", speeds, pl.Float64))
    return StraightnessBands.validate(band_spreads(table_of(Straightness, rows), club, BANDS, min_golfers, 30.0))


def test_percentiles_are_those_that_may_be_published():
    rng = np.random.default_rng(1)
    spreads, shares = rng.uniform(8, 30, 25), rng.uniform(0.3, 0.9, 25)
    row = bands_of(np.full(25, 90.0), spreads, shares=shares).row(1, named=True)
    for p in (25, 50, 75):
        expected = percentile(spreads, np.ones(25), p, 5)
        assert row[f"offline_sd_p{p}_yd"] == 2 * np.floor(expected / 2 + 0.5)
    # The mean of the five golfers in the middle.
    middle = np.sort(shares)[10:15].mean()
    assert row["in_corridor_p50"] == np.floor(10 * middle + 0.5) / 10
    assert (row["golfers"], row["suppressed"], row["corridor_yd"], row["note"]) == (25, False, 30.0, None)


def test_a_band_of_few_golfers_is_suppressed():
    table = bands_of([*[80.0] * 4, *[90.0] * 5], np.linspace(10, 20, 9))
    assert table["suppressed"].to_list() == [True, False, True]
    few, some, none = table.rows(named=True)
    assert few["note"] == none["note"] == "fewer than 5 golfers: their figures are suppressed"
    assert (some["offline_sd_p25_yd"], some["offline_sd_p50_yd"], some["offline_sd_p75_yd"]) == (None, 18.0, None)
    assert some["note"] == "too few golfers for the 25th, 75th percentile"


def test_suppressed_golfers_move_no_other_band():
    here, there = (bands_of([*[80.0] * 4, *[90.0] * 9], [*[wild] * 4, *range(10, 19)]) for wild in (5.0, 60.0))
    assert here.equals(there)


def test_golfers_who_are_not_assessed_count_nowhere():
    given = {"offline_mean_yd": None, "offline_sd_yd": None, "in_corridor_share": None, "note": "few"}
    rows = [
        {"golfer": f"g{k:016x}", "shots": 30, "known": 30, "calculated": 0, "status": "assessed", "corridor_yd": 30.0,
         "offline_mean_yd": 0.0, "offline_sd_yd": 12.0, "in_corridor_share": 0.7}
        for k in range(5)
    ]  # fmt: skip
    rows[4] |= given | {"status": "not_assessed"}
    club = pl.DataFrame([{"golfer": row["golfer"], "quarter": "2026Q3", "club_speed_mph": 90.0} for row in rows])
    assert band_spreads(table_of(Straightness, rows), club, BANDS, 5, 30.0)["suppressed"].all()


def test_no_table_without_figures():
    empty = Straightness.create_empty()
    club = pl.DataFrame(schema={"golfer": pl.String, "quarter": pl.String, "club_speed_mph": pl.Float64})
    assert StraightnessBands.validate(band_spreads(empty, club, BANDS, 5, 30.0)).is_empty()
