"""Yards lost, flags and bands of results by hand."""

import polars as pl
import pytest
from hand_samples import RULES, hand_drives

from pipeline.by_hand.losses import NO_CAUSES, bands_of, golfers_over_quarters, golfers_table, study_reference
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import PARTS, Golfers


def assessed(drives):
    return Golfers.validate(golfers_table(drives, study_reference(drives, RULES), RULES)[0])


def test_a_golfer_far_short_is_flagged_without_a_cause():
    table = assessed(hand_drives(own_yd=2.5, faults=(45.0, 40.0)))
    flagged = table.filter("flagged").sort("golfer")
    assert flagged["golfer"].to_list() == ["g0000000000000000", "g0000000000000001"]
    assert set(table["main_cause"]) == {"none"}
    assert flagged["note"].to_list() == [NO_CAUSES] * 2
    assert table.select(pl.col(*PARTS[:-1], "launch_deg", "spin_rpm").null_count()).row(0) == (60,) * 7


def test_yards_lost_are_the_reference_less_the_mean_and_stand_in_other():
    drives = hand_drives()
    reference = study_reference(drives, RULES)
    table = assessed(drives).drop_nulls("lost_yd")
    own = drives.group_by("golfer").agg(pl.col("club_speed_mph").mean(), pl.col("carry_measured_yd").mean())
    both = table.join(own, on="golfer", suffix="_own")
    expected = reference.at(both["club_speed_mph_own"].to_numpy()) - both["carry_measured_yd"].to_numpy()
    assert both["lost_yd"].to_numpy() == pytest.approx(expected)
    assert both["lost_other_yd"].to_list() == both["lost_yd"].to_list()
    inside = table["lost_yd"].is_between(table["lost_lo90_yd"], table["lost_hi90_yd"])
    assert inside.all()


def test_few_drives_and_speeds_beyond_are_not_assessed():
    drives = hand_drives(faults=(45.0,))
    few = drives.filter((pl.col("golfer") != "g0000000000000000") | (pl.int_range(pl.len()) < 11))
    row = assessed(few).filter(pl.col("golfer") == "g0000000000000000").row(0, named=True)
    assert (row["status"], row["p_value"], row["flagged"]) == ("not_assessed", None, False)
    assert row["note"].startswith("11 drives, an assessment needs 12")


def test_too_few_golfers_are_told_so():
    drives = hand_drives(14)
    table = assessed(drives)
    assert set(table["status"]) == {"not_assessed"}
    assert table["lost_yd"].null_count() == 14
    assert table["note"][0] == "fewer than 15 golfers have 12 drives, too few to show what the better carry"


def test_names_and_the_order_of_rows_change_no_figure():
    drives = hand_drives(faults=(30.0,))
    renamed = drives.with_columns("g" + pl.col("golfer").str.slice(1).str.reverse()).sample(
        fraction=1, shuffle=True, seed=4
    )
    one, other = (assessed(each).sort("carry_yd").drop("golfer") for each in (drives, renamed))
    assert one.drop("note").select(pl.selectors.numeric()).to_numpy() == pytest.approx(
        other.drop("note").select(pl.selectors.numeric()).to_numpy(), nan_ok=True, abs=1e-9
    )


def test_bands_have_percentiles_of_carry_and_nothing_of_flight():
    table = BandTable.validate(bands_of(hand_drives(90, own_yd=6.0, scatter_yd=2.0), RULES))
    middle = table.filter(pl.col("band_mph") == 90).row(0, named=True)
    assert middle["golfers"] % 5 == 0
    # Golfers' own are normal with 6 yd about 2.5 * 90 - 10.
    assert middle["carry_p50_yd"] == pytest.approx(215, abs=3)
    assert middle["carry_p75_yd"] == pytest.approx(215 + 0.674 * 6, abs=3.5)
    flight = [name for name in table.columns if name.startswith(("efficient", "launch", "spin", "total", "in_window"))]
    assert len(flight) > 15
    assert table.select(pl.col(flight).null_count()).row(0) == (table.height,) * len(flight)
    assert middle["note"].endswith("no efficient carry, no windows, no totals")


def test_a_band_of_few_golfers_is_suppressed():
    drives = hand_drives(40)
    slow = golfers_over_quarters(drives).filter(pl.col("club_speed_mph") < 85)["golfer"].head(4)
    rest = golfers_over_quarters(drives).filter(pl.col("club_speed_mph") >= 86)["golfer"]
    table = bands_of(drives.filter(pl.col("golfer").is_in([*slow, *rest])), RULES)
    row = table.filter(pl.col("band_mph") == 80).row(0, named=True)
    assert row["suppressed"]
    assert row["golfers"] is None
    assert row["carry_p50_yd"] is None


def test_golfers_who_lose_little_are_seldom_flagged():
    wrong = flags = 0
    for seed in range(4):
        drives = hand_drives(60, own_yd=2.0, faults=(30.0,) * 8, seed=seed)
        flagged = assessed(drives).filter("flagged")["golfer"].to_list()
        flags += len(flagged)
        wrong += sum(int(one[1:], 16) >= 8 for one in flagged)
    assert flags >= 20
    assert wrong / flags <= 0.15
