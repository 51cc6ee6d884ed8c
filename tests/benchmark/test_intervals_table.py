from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named
from frontiers import frontier_at, plain_model
from scipy.stats import norm, t

from pipeline.benchmark.intervals_table import intervals_table
from pipeline.fit.contest import hold_contest
from pipeline.fit.held_out import held_out_table
from pipeline.fit.survey import Survey
from pipeline.tables.figures import Coefficients
from pipeline.tables.intervals import Intervals

FRONTIER = frontier_at([79.0, 80.0, 90.0], std_error_yd=[0.8, 0.9, 1.2], freedom=[9.0, 12.0, 30.0])
CENTRES = [70.0, 80.0, 90.0]


@pytest.fixture(scope="module")
def found(world):
    made = hold_contest([candidate_named("quadratic")], Survey.of(world.drives, 1), lambda _: None)
    golfers = np.full(len(made.model.offsets.levels), 27.0)
    return replace(made, model=replace(made.model, offset_golfers=golfers))


def table_at(level, found, held_out=True):
    keys = pl.DataFrame({"golfer": "g", "source": "a.csv", "row": np.arange(len(found.held_out.fold))})
    held = held_out_table(found.held_out, keys) if held_out else None
    return Intervals.validate(intervals_table(found.model, found.coefficients, FRONTIER, CENTRES, level, held))


def ends(table, quantity, key):
    return table.filter(pl.col("quantity").cast(pl.String) == quantity, key=key).select("lo", "hi").row(0)


def test_at_the_common_level_intervals_are_those_of_the_tables(found):
    table = table_at(0.9, found)
    terms = Coefficients.validate(found.coefficients).filter(~pl.col("term").str.starts_with("device"))
    assert terms.height == 10
    for term, lo, hi in terms.select("term", "lo90", "hi90").iter_rows():
        assert ends(table, "coefficient", term) == pytest.approx((lo, hi), rel=1e-12)
    lo, hi = found.model.interval["ball_speed+launch+spin"]
    assert ends(table, "drive", "everything known") == (lo, hi)
    assert ends(table, "drive", "club speed alone") == found.model.interval["nothing"]
    # Bands that the data don't reach have no row.
    keys = table.filter(pl.col("quantity").cast(pl.String) == "efficient carry")["key"].to_list()
    assert keys == ["80", "90"]


@pytest.mark.parametrize("level", [0.5, 0.9, 0.99])
def test_intervals_are_as_wide_as_the_level_asks(found, level):
    table, tail = table_at(level, found), (1 + level) / 2
    first = found.coefficients.row(0, named=True)
    reach = norm.ppf(tail) * first["std_error"]
    assert ends(table, "coefficient", first["term"]) == pytest.approx(
        (first["estimate"] - reach, first["estimate"] + reach)
    )
    device = found.coefficients.filter(term="device:unit-B").row(0, named=True)
    reach = t.ppf(tail, 26) * device["std_error"]
    assert ends(table, "coefficient", "device:unit-B") == pytest.approx(
        (device["estimate"] - reach, device["estimate"] + reach)
    )
    reach = t.ppf(tail, 12) * 0.9
    carry, total = 2.6 * 80 - 16, 2.6 * 80 - 16 + 24
    assert ends(table, "efficient carry", "80") == pytest.approx((carry - reach, carry + reach))
    assert ends(table, "efficient total", "80") == pytest.approx((total - reach, total + reach))
    lo, hi = ends(table, "drive", "everything known")
    departure = found.held_out.measured / found.held_out.predicted["ball_speed+launch+spin"] - 1
    assert np.mean((departure >= lo) & (departure <= hi)) == pytest.approx(level, abs=0.002)
    assert set(table["level"]) == {level}


def test_units_are_told(found):
    units = dict(table_at(0.8, found).select("key", "unit").iter_rows())
    assert (units["intercept"], units["device:unit-B"], units["everything known"]) == ("yd", *["share of carry"] * 2)


def test_a_kept_model_has_no_other_interval_of_a_drive_than_its_own(found):
    table = table_at(0.8, found, held_out=False).filter(pl.col("quantity").cast(pl.String) == "drive")
    assert table["lo"].to_list() == [None, None]
    assert set(table["note"]) == {
        "Predictions of golfers held out aren't kept with a model, so there is only the 90 % interval."
    }
    own = table_at(0.9, found, held_out=False)
    assert ends(own, "drive", "club speed alone") == found.model.interval["nothing"]


def test_a_study_without_benchmarks_has_its_coefficients(found):
    nowhere = intervals_table(plain_model(), found.coefficients, frontier_at([]), CENTRES, 0.9, None)
    assert set(nowhere["quantity"].cast(pl.String)) == {"drive"}
