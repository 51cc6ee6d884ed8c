"""Measures, their Monte Carlo errors and the verdicts on them, on rows whose answer is known."""

import measures
import numpy as np
import polars as pl
import pytest
from measures import Value
from targets import Target, Verdict, by_world, judge, luck, overall, told, verdict, worst, worst_worlds
from words import README, cell, matrix_of, table_of, world_by_world

BIAS = Target("bias", "bias", -1.5, 1.5)
HELD = Target("coverage", "coverage", 0.85, 0.95, 3)


def test_a_miss_is_told_with_its_size():
    assert verdict(1.5, BIAS) == verdict(-1.5, BIAS) == "met"
    assert verdict(1.75, BIAS) == "**missed** by 0.25"
    assert verdict(-2.0, BIAS) == "**missed** by 0.50"
    assert verdict(None, BIAS) == "not measured"


def test_a_value_outside_by_no_more_than_twice_its_error_can_be_luck():
    assert told(Value(1.9, 0.21, 4), BIAS) == "can't say: 0.40 outside"
    assert told(Value(1.9, 0.19, 4), BIAS) == "**missed** by 0.40"
    assert told(Value(-1.4, 9.0, 4), BIAS) == "met"
    assert judge(Value(1.9, None, 4), BIAS) is Verdict.CANT_SAY


def test_the_error_of_a_share_is_at_least_the_binomial_laws_at_the_targets_edge():
    """Four academies that agree would have no error, and a share of 70 % passes nowhere."""
    none = Value(1.0, 0.0, 16, share=True)
    assert luck(none, HELD) == pytest.approx((0.95 * 0.05 / 16) ** 0.5)
    assert judge(none, HELD) is Verdict.CANT_SAY
    assert judge(Value(1.0, 0.0, 400, share=True), HELD) is Verdict.MISSED
    assert judge(Value(0.70, 0.03, 400, share=True), HELD) is Verdict.MISSED
    assert luck(Value(0.70, 0.03, 400, share=True), HELD) == 0.03


def rows_of(values, academy=(0, 0, 1, 1), world="w"):
    return pl.DataFrame({"world": world, "academy": academy, "value": values})


def test_the_error_of_a_mean_takes_an_academys_rows_together():
    found = measures.mean_of(rows_of([1.0, 3.0, 0.0, -4.0]), pl.col("value"))
    # Sums of the academies are 4 and -4: sqrt((16 + 16) * 2) / 4.
    assert found == Value(0.0, pytest.approx(2.0), 4)
    assert measures.mean_of(rows_of([1.0, None, 1.0, 1.0]), pl.col("value")).rows == 3
    assert measures.mean_of(rows_of([None] * 4), pl.col("value")) == Value(None, None, 0)


def test_the_error_of_a_ratio_is_that_of_many_draws():
    rng = np.random.default_rng(1)
    found, errors = [], []
    for _ in range(300):
        y, x = 2 * (1 + 0.05 * rng.standard_normal(40)), 1 + 0.05 * rng.standard_normal(40)
        frame = pl.DataFrame({"world": "w", "academy": np.arange(40), "y": y, "x": x})
        one = measures.root_of_means(frame, "y", "x")
        found.append(one.value)
        errors.append(one.std_error)
    assert np.mean(found) == pytest.approx(2.0, abs=0.01)
    assert np.mean(errors) == pytest.approx(np.std(found), rel=0.12)


def test_figures_of_a_band_are_bias_error_coverage_and_the_oracles():
    bands = pl.DataFrame(
        {
            "world": "w",
            "academy": [0, 0, 1, 1],
            "estimate": [201.0, 203.0, 200.0, 196.0],
            "truth": [200.0] * 4,
            "lo": [200.0, 201.0, 198.0, 195.0],
            "hi": [202.0, 205.0, 202.0, 199.0],
            "oracle": [201.0] * 4,
        }
    )
    found = measures.figure(bands, "efficient carry", "estimate", "truth", "lo", "hi", "oracle")
    assert found["bias_yd"] == 0
    assert found["rmse_yd"] == pytest.approx((26 / 4) ** 0.5)
    assert found["coverage90"] == 0.5
    assert (found["oracle_bias_yd"], found["oracle_rmse_yd"]) == (1.0, 1.0)
    assert found["bias_std_error_yd"] == pytest.approx(2.0)


def test_the_worst_band_is_the_one_that_misses_for_sure():
    bands = {80.0: Value(0.3, 0.1, 4), 90.0: Value(-1.9, 0.1, 4), 100.0: Value(2.9, 2.0, 4)}
    assert worst(bands, BIAS) == (90.0, bands[90.0])
    assert worst({}, BIAS)[1].value is None


def golfers_of(world, **columns):
    base = {
        "quarter": "2026Q1",
        "status": "clear",
        "device": "unit-A",
        "club_speed_mph": 90.0,
        "shots": 30,
        "kind": "sound",
        "flagged": False,
        "main_cause": None,
        "lost_yd": 5.0,
        "true_lost_yd": 5.0,
        "lost_lo90_yd": 3.0,
        "lost_hi90_yd": 7.0,
        "oracle_lost_yd": 5.0,
        "ranked_lost_yd": 5.0,
        "ranked_lo90_yd": 3.0,
        "ranked_hi90_yd": 7.0,
        **{f"{end}_{part}_yd": 1.0 for end in ("lost", "true") for part in measures.PARTS},
    }
    academies = pl.DataFrame({"world": world, "academy": np.repeat([0, 1], 14)})
    given = {name: value for name, value in columns.items() if isinstance(value, list)}
    rest = base | {name: value for name, value in columns.items() if not isinstance(value, list)}
    frame = academies.with_columns(pl.lit(value).alias(name) for name, value in rest.items() if name not in given)
    return frame.with_columns(pl.Series(name, value) for name, value in given.items())


def judged_of(world="w", changes=(False, False), verdicts=("chance", "chance"), **golfers):
    academy = [0, 1]
    return {
        "golfers": golfers_of(world, **golfers),
        "bands": pl.DataFrame(
            {
                "world": world,
                "academy": academy,
                "band_mph": 90.0,
                "golfers": 14,
                "estimate": 200.5,
                "truth": 200.0,
                "oracle": 200.0,
                "lo": 199.0,
                "hi": 202.0,
                "window_true_share": 1.0,
                "window_size_share": 0.7,
            }
        ),
        "changes": pl.DataFrame(
            {
                "world": world,
                "academy": academy,
                "true_change_yd": 0.0,
                "lost_change_lo90_yd": -1.0,
                "lost_change_hi90_yd": 1.0,
                "more_than_chance": changes,
            }
        ),
        "progress": pl.DataFrame({"world": world, "academy": academy, "figure": "lost", "verdict": verdicts}),
        "held_out": pl.DataFrame(
            {
                "world": world,
                "academy": academy,
                "rmse_yd": 5.0,
                "oracle_rmse_yd": 4.8,
                "readings_rmse_yd": 4.9,
                "least_rmse_yd": 4.85,
            }
        ),
    }


def test_an_academy_where_nothing_changed_is_told_by_either_table():
    assert measures.measures(judged_of())["null_academies_told"].value == 0.0
    assert measures.measures(judged_of(changes=(True, False)))["null_academies_told"].value == 0.5
    assert measures.measures(judged_of(verdicts=("worse", "chance")))["null_academies_told"].value == 0.5
    both = measures.measures(judged_of(changes=(True, False), verdicts=("chance", "better")))
    assert both["null_academies_told"].value == 1.0


def test_the_true_cause_is_the_planted_fault():
    """Golfers who lose enough: 15 yd, or by mishits 10 yd; a cause that isn't named is named wrongly."""
    kind = ["contact"] * 7 + ["consistency"] * 7 + ["sound"] * 7 + ["launch"] * 7
    lost = [20.0] * 7 + [11.0] * 7 + [20.0] * 7 + [12.0] * 7
    cause = ["contact"] * 6 + [None] + ["consistency"] * 5 + ["launch"] * 2 + ["spin"] * 14
    found = measures.measures(judged_of(kind=kind, true_lost_yd=lost, main_cause=cause))["cause_right"]
    assert (found.value, found.rows) == (pytest.approx(11 / 14), 14)
    blind = golfers_of("w", kind=kind, true_lost_yd=lost, lost_contact_yd=[None] * 28)
    assert set(measures.planted(blind)["kind"]) == {"consistency"}


def test_every_target_is_listed_in_every_world_and_the_worst_world_named():
    # In the bad world yards lost are 9 yd too many and no interval holds the truth.
    bad = judged_of("bad", lost_yd=14.0, lost_lo90_yd=12.0, lost_hi90_yd=16.0)
    both = {name: pl.concat([frame, bad[name]]) for name, frame in judged_of("good").items()}
    listed = by_world(both)
    assert listed["world"].unique().sort().to_list() == ["bad", "good"]
    named = {row["what"]: row for row in worst_worlds(listed).iter_rows(named=True)}
    held = named["yards lost: 90 % intervals that hold the truth"]
    assert (held["world"], held["measured"], held["missed"]) == ("bad", 0.0, 1)
    bias = named["yards lost, worst band: bias, yd"]
    assert (bias["world"], bias["measured"], bias["met"], bias["missed"]) == ("bad", 9.0, 1, 1)
    assert "power" not in named
    all_together = {row["what"]: row for row in overall(both).iter_rows(named=True)}
    assert all_together["yards lost: bias, yd"]["measured"] == 4.5
    text = world_by_world(listed)
    assert "| bad |" in text
    assert "9.00 ± 0.00 **!**" in text
    assert "{" not in README.format(
        **dict.fromkeys(
            ("academies", "worlds", "golfers", "worst", "world_by_world", "targets", "figures", "devices", "coach"), ""
        ),
        population=1,
        apart="",
    )


def test_a_measure_stands_beside_its_error_and_mark():
    row = {"measured": 0.731, "std_error": 0.029, "rank": Verdict.MISSED}
    assert cell(row, 2) == "0.73 ± 0.03 **!**"
    assert cell(row | {"std_error": None, "rank": Verdict.CANT_SAY}, 2) == "0.73 ?"
    assert cell(row | {"measured": None, "rank": Verdict.NOT_MEASURED}, 2) == ""
    listed = pl.DataFrame([{"world": "w", "what": "coverage", **row, "rank": 3}])
    assert (
        matrix_of(listed, (HELD,))
        == "- A: coverage (0.85 to 0.95)\n\n| world | A |\n|---|---|\n| w | 0.73 ± 0.03 **!** |"
    )
    assert table_of(pl.DataFrame({"a": [0.90001]})).endswith("| 0.9 |")
