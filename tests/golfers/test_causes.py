import numpy as np
import polars as pl
import pytest

from pipeline.golfers.causes import CAUSES, main_cause


@pytest.mark.parametrize(
    ("contact", "launch", "spin", "consistency", "other", "cause"),
    [
        (20, 2, 1, 2, 0, "contact"),
        (2, 18, -6, 2, 0, "launch"),
        (1, 3, 16, 2, 1, "spin"),
        (3, 3, 2, 20, -4, "consistency"),
        (10, 10, 0, 2, 0, "mixed"),
        (8, 7, 6, 2, 0, "mixed"),
        (12, 7, 6, 2, 0, "contact"),
        (5, 4, 3, 2, 14, "mixed"),
        (1, 1, 1, 1, 1, "none"),
        (-3, 2, 0, 0, -4, "none"),
        (None, 3, 15, 2, 1, "spin"),
        (None, 1, 1, 1, 20, "mixed"),
    ],
)
def test_main_cause(contact, launch, spin, consistency, other, cause):
    parts = {"contact": contact, "launch": launch, "spin": spin, "consistency": consistency, "other": other}
    row = {f"lost_{name}_yd": value for name, value in parts.items()}
    total = float(sum(value for value in parts.values() if value is not None))
    table = pl.DataFrame(
        [row | {"lost_yd": total, "efficient_yd": 240.0}], schema_overrides=dict.fromkeys(row, pl.Float64)
    )
    assert main_cause(table).to_list() == [cause]


def academy(golfers, rng, usual=(2.0, 7.0, 0.5, 2.5), spread=(3.0, 4.0, 1.0, 1.7), other_yd=1.0):
    parts = rng.normal(usual, spread, (golfers, len(CAUSES)))
    return pl.DataFrame(
        {f"lost_{name}_yd": parts[:, k] for k, name in enumerate(CAUSES)}
        | {"lost_other_yd": rng.normal(0, other_yd, golfers), "efficient_yd": np.full(golfers, 230.0)}
    )


def with_lost(table):
    return table.with_columns(lost_yd=pl.sum_horizontal(f"lost_{name}_yd" for name in (*CAUSES, "other")))


@pytest.mark.parametrize("cause", CAUSES)
def test_a_planted_fault_is_named_though_another_part_costs_as_much_in_everybody(cause):
    rng = np.random.default_rng(3)
    table = academy(200, rng)
    faulty = pl.Series(np.arange(200) < 40)
    size = {"contact": 16.0, "launch": 22.0, "spin": 12.0, "consistency": 8.0}[cause]
    more = pl.when(faulty).then(pl.col(f"lost_{cause}_yd") + size).otherwise(pl.col(f"lost_{cause}_yd"))
    named = main_cause(with_lost(table.with_columns(more.alias(f"lost_{cause}_yd"))))
    assert (named.filter(faulty) == cause).mean() >= 0.9


def test_where_no_part_is_unusual_yards_decide():
    rng = np.random.default_rng(4)
    table = with_lost(academy(100, rng, spread=(0.2, 0.2, 0.2, 0.2), other_yd=0.2))
    assert set(main_cause(table)) == {"launch"}


def test_a_part_that_nobody_knows_is_never_named():
    table = academy(60, np.random.default_rng(5)).with_columns(lost_contact_yd=pl.lit(None, pl.Float64))
    assert "contact" not in set(main_cause(with_lost(table)))


def test_what_is_usual_does_not_depend_on_the_rows_order():
    table = with_lost(academy(50, np.random.default_rng(6)))
    order = np.random.default_rng(7).permutation(50)
    assert main_cause(table[order]).to_list() == main_cause(table)[order].to_list()


def test_other_that_stands_out_more_than_every_cause_makes_it_mixed():
    table = academy(60, np.random.default_rng(8))
    large = pl.when(pl.int_range(pl.len()) == 0).then(40.0).otherwise(pl.col("lost_other_yd"))
    assert main_cause(with_lost(table.with_columns(lost_other_yd=large)))[0] == "mixed"


def test_a_curve_counts_as_the_rest_and_is_never_named():
    table = academy(60, np.random.default_rng(8))
    first = pl.int_range(pl.len()) == 0
    split = table.with_columns(lost_curve_yd=pl.when(first).then(40.0))
    whole = table.with_columns(lost_other_yd=pl.col("lost_other_yd") + pl.when(first).then(40.0).otherwise(0.0))
    lost = with_lost(whole).get_column("lost_yd")
    named = main_cause(split.with_columns(lost))
    assert named.to_list() == main_cause(whole.with_columns(lost)).to_list()
    assert named[0] == "mixed"
