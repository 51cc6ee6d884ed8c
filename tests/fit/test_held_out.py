import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, hold_out, numbers_of

from pipeline.fit.factored import Factored
from pipeline.fit.held_out import EVERYTHING, EveryKnownOf, held_out_table, interval_edges, intervals_held_out
from pipeline.fit.survey import Survey

LINE, QUADRATIC = (candidate_named(name) for name in ("line", "quadratic"))


@pytest.fixture(scope="module")
def survey(world):
    return Survey.of(world.drives, 1)


@pytest.fixture(scope="module")
def held(survey):
    return hold_out(QUADRATIC, survey)


def test_a_held_out_golfer_is_not_in_his_own_fit(world):
    # One golfer's carries are raised by 60 yd. A fit that saw him would follow; one that did not, misses by 60.
    odd = world.drives.get_column("golfer")[0]
    raised = world.drives.with_columns(pl.col("carry_standard_yd") + 60 * (pl.col("golfer") == odd))
    out, base = (hold_out(LINE, Survey.of(drives, 1)) for drives in (raised, world.drives))
    rows = (raised.get_column("golfer") == odd).to_numpy()
    np.testing.assert_allclose(out.predicted[EVERYTHING][rows], base.predicted[EVERYTHING][rows], rtol=1e-12)


def test_knowing_less_predicts_worse(held):
    def rmse(known):
        return np.sqrt(np.mean((held.predicted[known] - held.measured) ** 2))

    assert rmse(EVERYTHING) < rmse("launch+spin") < rmse("nothing")


def test_interval_edges_are_quantiles_of_the_ratio():
    measured = np.linspace(90, 110, 201)
    lo, hi = interval_edges(measured, np.full(201, 100.0))
    assert (lo, hi) == pytest.approx((-0.09, 0.09))


def test_each_set_of_things_known_has_its_own_interval(survey, held):
    models = Factored.of(survey, QUADRATIC.surface(survey.extents)).without_each(survey, survey.trends())
    found = intervals_held_out([EveryKnownOf(models, survey.fold)(piece) for piece in survey.drives.pieces()])
    assert list(found) == list(held.predicted)
    assert len(found) == 8
    for known, predicted in held.predicted.items():
        assert found[known] == interval_edges(held.measured, predicted)


def test_the_table_has_a_row_for_each_drive_in_their_order(world, survey, held):
    keys = world.drives.select("golfer", source=pl.lit("a.csv"), row=pl.int_range(1, pl.len() + 1))
    table = held_out_table(held, keys)
    assert table.select("golfer", "source", "row").equals(keys)
    device_b = (world.drives.get_column("device") == "unit-B").to_numpy()
    off = world.drives.get_column("carry_standard_yd").to_numpy() / table.get_column("measured_yd").to_numpy() - 1
    assert table.height == world.drives.height
    np.testing.assert_allclose(off[~device_b], 0, atol=1e-12)
    assert off[device_b] == pytest.approx(np.full(device_b.sum(), 0.03), abs=0.003)
    assert table.get_column("fold").to_list() == survey.fold[numbers_of(survey.drives)].tolist()
    assert table.get_column("predicted_by_club_speed_yd").to_list() == held.predicted["nothing"].tolist()
