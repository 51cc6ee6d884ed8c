"""The step: whose benchmarks it takes, and which flight sets are fitted for it."""

import numpy as np
import polars as pl
import pytest
from frontiers import frontier_at
from rows import table_of
from sensitivity_samples import KEPT, drives_of, in_air

from pipeline.configuration.study import StandardAir
from pipeline.drives import Drives
from pipeline.errors import UserError
from pipeline.research.sensitivity import flight_sets
from pipeline.research.sensitivity.assess_sensitivity import check_newest
from pipeline.research.sensitivity.flight_sets import other_sets
from pipeline.tables.figures import Calibrations


def test_benchmarks_of_a_kept_model_are_refused(tmp_path):
    frontier, model = tmp_path / "model/frontier.json", tmp_path / "model/model.json"
    check_newest(model, frontier, frontier_at([90.0]))
    with pytest.raises(
        UserError, match=r"made with model/kept/k1/model\.json, and sensitivity is that of a fit of today's"
    ):
        check_newest(model, frontier, frontier_at([90.0], model_file="model/kept/k1/model.json"))


def test_a_set_that_was_fitted_is_taken_and_the_others_are_fitted(world_maker, monkeypatch):
    drives = in_air(drives_of(world_maker)).with_columns(golfer=pl.col("golfer").cast(pl.Categorical))
    tried = table_of(
        Calibrations,
        [
            {"coefficients": "indoor-range-2001", "drag": 0.93, "lift": 1.01, "drag_std_error": 0.01},
            {"coefficients": "lyu-2018", "drag": 1.0, "lift": 1.0, "note": "left out"},
            {"coefficients": KEPT.coefficients, "drag": 0.9, "lift": 1.0, "drag_std_error": 0.01, "kept": True},
        ],
    )
    asked = []

    def calibrate(sample, name, *_):
        asked.append((name, sample.known))
        return KEPT

    monkeypatch.setattr(flight_sets, "calibrate", calibrate)
    sets = ("indoor-range-2001", "lyu-2018", KEPT.coefficients)
    found = other_sets(KEPT, tried, sets, Drives.of(drives), StandardAir(), 1)
    assert asked == [("lyu-2018", drives.height)]
    assert [(one.drag, one.lift) for one in found] == [(0.93, 1.01), (KEPT.drag, KEPT.lift)]
    assert other_sets(KEPT, tried, [KEPT.coefficients], Drives.of(drives), StandardAir(), 1) == []


def test_every_so_many_golfer_is_kept_whole(world_maker):
    whole = drives_of(world_maker)
    names = whole["golfer"].unique().sort()
    parts = [whole.filter(pl.col("golfer").is_in(half.implode())) for half in (names[:100], names[100:])]
    read = Drives(lambda: iter(parts))
    kept = pl.concat(read.of_every(3).read())
    assert kept["golfer"].unique().sort().to_list() == names.gather_every(3).to_list()
    assert kept.group_by("golfer").len()["len"].unique().to_list() == [16]
    assert read.of_every(1) is read
    assert np.array_equal(pl.concat(read.held().read())["carry_standard_yd"], whole["carry_standard_yd"])
