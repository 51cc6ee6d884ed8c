import polars as pl
import pytest
from rows import row_of
from scipy import stats

from pipeline.golfers.flags import FlagRules, assess
from pipeline.tables.golfers import Golfers
from pipeline.tables.types import types_of

RULES = FlagRules(lost_yd=10, false_discovery_rate=0.10, min_shots=12)

# Benjamini and Hochberg (1995), section 3.2: the 15 ordered p-values of the worked example; at 5 % the procedure
# rejects the four smallest.
WORKED = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0,
]  # fmt: skip


def lost(values, shots=30, error=2.0, quarter="2026Q3", **columns):
    n = len(values)
    base = {
        "golfer": [f"g{i:016x}" for i in range(n)],
        "quarter": [quarter] * n,
        "shots": [shots] * n,
        "club_speed_mph": [95.0] * n,
        "ball_speed_mph": [138.0] * n,
        "launch_deg": [13.0] * n,
        "spin_rpm": [2600.0] * n,
        "carry_yd": [240.0 - (v or 0.0) for v in values],
        "efficient_yd": [240.0 if v is not None else None for v in values],
        "lost_yd": values,
        "lost_contact_yd": values,
        "lost_launch_yd": [0.0] * n,
        "lost_spin_yd": [0.0] * n,
        "lost_consistency_yd": [0.0] * n,
        "lost_other_yd": [0.0] * n,
        "std_error_yd": [error if v is not None else None for v in values],
        "own_variance": [error**2 if v is not None else None for v in values],
        "own_skewness": [0.0] * n,
        "freedom": [float(shots - 1)] * n,
        "exposure": [0.0] * n,
        "form_source": ["days"] * n,
        "uncompared_note": pl.Series([None] * n, dtype=pl.String),
    }
    # Any other column holds what `assess` leaves alone or overwrites.
    others = {name: [value] * n for name, value in row_of(Golfers).items()}
    return pl.DataFrame(others | base | columns, schema_overrides=types_of(Golfers))


def test_the_worked_example_of_benjamini_and_hochberg():
    # Losses are chosen so that their p-values are the published ones (1.0 stands for 0.99999, t being finite).
    published = [min(p, 0.99999) for p in WORKED]
    values = [10 + 2.0 * stats.t.isf(p, 29) for p in published]
    table = assess(lost(values), FlagRules(10, 0.05, 12))
    assert table.get_column("p_value").to_list() == pytest.approx(published, rel=1e-9)
    assert table.get_column("flagged").to_list() == [True] * 4 + [False] * 11


def test_a_guessed_spin_is_told():
    table = assess(lost([20.0], spin_rpm=[None], lost_spin_yd=[None]), RULES)
    assert table["note"].item() == "spin is guessed, not measured: spin can't be separated from other"
    assert table["main_cause"].item() == "contact"


def test_quarters_are_adjusted_apart():
    one = lost([30.0, 10.5])
    other = lost([30.0] + [9.0] * 20, quarter="2026Q2")
    table = assess(pl.concat([one, other]), RULES)
    alone = assess(one, RULES)
    assert table.filter(quarter="2026Q3").get_column("q_value").to_list() == alone.get_column("q_value").to_list()


def test_the_threshold_is_what_is_tested_not_nil():
    table = assess(lost([10.0, 0.0]), RULES)
    assert table.get_column("p_value").to_list() == pytest.approx([0.5, stats.t.sf(-5.0, 29)])


def test_interval_is_students():
    row = assess(lost([20.0], shots=13, error=3.0), RULES).row(0, named=True)
    assert row["lost_hi90_yd"] - 20 == pytest.approx(3.0 * 1.782288, rel=1e-6)  # t table: 12 degrees, 95 %
    assert 20 - row["lost_lo90_yd"] == pytest.approx(3.0 * 1.782288, rel=1e-6)


def test_the_interval_of_skewed_drives_reaches_farther_up():
    row = assess(lost([20.0], shots=25, error=2.0, own_skewness=[1.5]), RULES).row(0, named=True)
    up, down = row["lost_hi90_yd"] - 20, 20 - row["lost_lo90_yd"]
    t = stats.t.isf(0.05, 24)
    # To first order both ends move by skewness / root of drives * (1 + 2 t^2) / 6 (Hall 1992, from memory).
    moved = 2.0 * 1.5 / 5 * (1 + 2 * t**2) / 6
    assert (up - down) / 2 == pytest.approx(moved, rel=0.15)
    assert row["p_value"] < stats.t.sf(5.0, 24)


def test_what_the_benchmarks_leave_open_is_not_skewed():
    shared = lost([20.0], shots=25, error=2.0, own_skewness=[1.5], own_variance=[0.0])
    row = assess(shared, RULES).row(0, named=True)
    assert row["lost_hi90_yd"] - 20 == pytest.approx(20 - row["lost_lo90_yd"])


def test_few_drives_and_unreached_speeds_are_not_assessed():
    table = assess(pl.concat([lost([40.0], shots=11), lost([None]).with_columns(golfer=pl.lit("g" + "f" * 16))]), RULES)
    assert table.get_column("status").to_list() == ["not_assessed", "not_assessed"]
    assert table.get_column("p_value").to_list() == [None, None]
    assert table.get_column("q_value").to_list() == [None, None]
    assert table.get_column("flagged").to_list() == [False, False]
    assert table.get_column("note").to_list() == [
        "11 drives, an assessment needs 12",
        "the benchmarks don't reach this club speed",
    ]
    Golfers.validate(table)


def test_unassessed_golfers_do_not_weigh_on_the_others():
    alone = assess(lost([16.0]), RULES).item(0, "q_value")
    with_others = assess(
        pl.concat([lost([16.0]), lost([5.0] * 9, shots=3).with_columns(golfer="x" + pl.col("golfer"))]), RULES
    )
    assert with_others.item(0, "q_value") == alone


def test_flagged_and_clear():
    table = assess(lost([25.0, 4.0]), RULES)
    assert table.get_column("status").to_list() == ["flagged", "clear"]
    assert table.get_column("main_cause").to_list() == ["contact", "contact"]
    Golfers.validate(table)
