"""The table of sensitivity: what planted faults move, and what stays."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from sensitivity_samples import RULES, drives_of, moves_at, study_of

from pipeline.golfers.flags import assess
from pipeline.research.sensitivity.moves import moves_of
from pipeline.research.sensitivity.scenarios import AXIS, Scenario, by_level, by_quarter, scenarios_of
from pipeline.shown import number_text
from pipeline.tables.sensitivity import Sensitivity

EFFICIENT = {"deliveries": 0.8, "strike": 0.75}


def silent(_):
    pass


def listed(study, scenarios):
    asked, doubt, _ = study
    return Sensitivity.validate(moves_of(asked, scenarios, doubt, silent))


@pytest.fixture(scope="module")
def table(study):
    asked, _, scores = study
    flight = asked.flight.calibration
    kept = scenarios_of(asked.drives, flight, [], scores, RULES.min_shots, EFFICIENT)
    return listed(study, [one for one in kept if one.choice != "flight"])


def test_nothing_moves_where_nothing_differs(table):
    for device in ("unit-A", "unit-B", "unit-C"):
        assert np.abs(moves_at(table, f"without device {device}")).max() < 0.3
    rows = table.filter(pl.col("choice").is_in(["device", "quarter"]) & pl.col("band_mph").is_not_null())
    assert rows.height == 3 * (3 + 2)
    assert rows.get_column("held").all()


def test_a_device_that_misreads_ball_speed_moves_its_own_scenario(world_maker, roller):
    # Of one golfer in six ball speed reads 6 % high: better strikes than anybody's, which no share of carry takes up.
    biased = study_of(drives_of(world_maker, ball_speed_c=1.06), roller)
    found = listed(biased, [*by_level(biased[0].drives), *by_quarter(biased[0].drives)])
    own, other = moves_at(found, "without device unit-C"), moves_at(found, "without device unit-B")
    assert np.all(own < -0.6)
    assert np.abs(other).max() < np.abs(own).min() / 2
    assert np.abs(moves_at(found, "without quarter 2026Q2")).max() < np.abs(own).min()


def test_every_scenario_has_a_row_a_band_and_one_of_all_golfers(table, study):
    whole = next(study[0].drives.read())
    base = table.filter(pl.col("kind") == "base")
    assert base["band_mph"].to_list() == [80.0, 90.0, 100.0, None]
    assert base["drives"].to_list() == [whole.height] * 4
    assert table.group_by("scenario").len()["len"].to_list() == [4] * table["scenario"].n_unique()
    for device in ("unit-A", "unit-B", "unit-C"):
        rows = table.filter(pl.col("scenario") == f"without device {device}")
        assert set(rows["drives"]) == {whole.filter(pl.col("device") != device).height}


def test_flags_are_those_of_the_same_rule(table, study):
    _, doubt, _ = study
    newest = assess(doubt, RULES).filter(pl.col("quarter") == "2026Q3")
    base = table.filter((pl.col("kind") == "base") & pl.col("band_mph").is_null()).row(0, named=True)
    assert base["flagged"] == newest["flagged"].sum() > 0
    assert base["assessed"] == newest.filter(pl.col("status") != "not_assessed").height
    changed = table["flagged"] - table["joined"] + table["left"] + table["gone"]
    whole = table.with_columns(before=changed).filter(pl.col("band_mph").is_null())
    assert whole["before"].to_list() == [base["flagged"]] * whole.height
    bands = table.filter((pl.col("kind") == "base") & pl.col("band_mph").is_not_null())
    assert 0 < bands["assessed"].sum() <= base["assessed"]


def test_golfers_without_drives_left_are_not_assessed(table, study):
    newest = next(study[0].drives.read()).filter(pl.col("quarter") == "2026Q3")
    gone = newest.filter(pl.col("device") == "unit-A")["golfer"].n_unique()
    base, found = (
        table.filter((pl.col("scenario") == name) & pl.col("band_mph").is_null()).row(0, named=True)
        for name in ("as it is", "without device unit-A")
    )
    assert base["assessed"] - found["assessed"] == gone
    assert found["gone"] > 0


def test_more_deliveries_never_lower_efficient_carry(table):
    moves = [moves_at(table, f"{share} % of deliveries") for share in (60, 70)]
    assert np.all(moves[0] <= moves[1])
    assert np.all(moves[1] <= 0)
    assert np.all(moves_at(table, "90 % of deliveries") >= 0)
    assert table.filter(pl.col("kind") == "definition")["held"].null_count() == 4 * 5


def test_twice_the_drives_leave_golfers_out(study):
    found = listed(study, [Scenario("more", "least drives", min_shots=9)]).filter(pl.col("band_mph").is_null())
    assert found["assessed"].to_list() == [found["assessed"][0], 0]
    assert found["gone"].to_list() == [0, found["flagged"][0]]


def test_a_base_that_is_not_the_published_one_says_so(study):
    asked, doubt, _ = study
    few = asked.drives.mapped(lambda frame: frame.filter(pl.col("golfer").rank("dense") % 5 == 0))
    sampled = moves_of(replace(asked, drives=few), [], doubt, silent)
    published = asked.frontier.at("carry_yd", [80.0, 90.0, 100.0])
    away = np.abs(sampled["efficient_carry_yd"].drop_nulls().to_numpy() - published).max()
    assert away > 0.05
    note = f"efficient carry of the drives tried here is up to {number_text(away, 1)} yd from the published one"
    assert sampled["note"].to_list() == [note] * 4
    assert moves_of(asked, [], doubt, silent)["note"].null_count() == 4


def test_a_scenario_that_cannot_be_fitted_says_so(study):
    none = Scenario("without device all", "device", fitted=pl.lit(False), judged=pl.lit(False))
    [row] = listed(study, [none]).filter(pl.col("choice") == "device").to_dicts()
    assert row["note"] == "not tried: too few drives or golfers are left for a fit"
    assert row["move_yd"] is None


def test_same_bytes_on_any_number_of_threads(study, monkeypatch):
    asked, doubt, _ = study
    scenarios = list(by_level(asked.drives))
    one = moves_of(asked, scenarios, doubt, silent).write_csv()
    monkeypatch.setenv("YARDBAND_THREADS", "2")
    assert moves_of(asked, scenarios, doubt, silent).write_csv() == one


def test_curved_drives_are_left_out_where_the_axis_is_known(study):
    asked, _, scores = study
    axis = pl.int_range(pl.len()).cast(pl.Float64) % 100 - 50
    curved = asked.drives.mapped(lambda frame: frame.with_columns(axis.alias(AXIS)))
    [one] = [
        s
        for s in scenarios_of(curved, asked.flight.calibration, [], scores, 6, EFFICIENT)
        if s.choice == "curved drives"
    ]
    kept = next(curved.read()).filter(one.fitted)
    assert kept[AXIS].abs().max() == 45
    assert kept.height == pytest.approx(0.9 * next(curved.read()).height, rel=0.02)
    none = scenarios_of(asked.drives, asked.flight.calibration, [], scores, 6, EFFICIENT)
    assert not [s for s in none if s.choice == "curved drives"]
