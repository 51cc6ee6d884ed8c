"""How the coach's measures are held against their targets, on frames whose answer is known."""

from dataclasses import replace

import coach
import coach_practice
import numpy as np
import polars as pl
import pytest
from targets import Target
from worlds import COACH_WORLDS, MANY_DAYS, PLAIN, WORLDS

ERRORS = [[1.0, 2.0], [4.0, 6.0], [0.0, 2.0], [3.0, 3.0]]


def judged_rows(errors=ERRORS):
    rows = [
        {"world": world, "academy": number, "error": error}
        for k, (world, number) in enumerate((("one", 0), ("one", 1), ("two", 0), ("two", 1)))
        for error in errors[k]
    ]
    return {"figures": pl.DataFrame(rows)}


def mean_error(judged):
    rows = judged["figures"]
    return {"error": rows["error"].mean(), "worst": None if rows.filter(pl.col("error") > 5).is_empty() else 1.0}


def test_academies_left_out_in_turn_give_the_standard_error_of_their_mean():
    found = coach.std_errors(judged_rows(), mean_error)

    means = np.mean(ERRORS, axis=1)
    assert found["error"] == pytest.approx(np.std(means, ddof=1) / 2)
    assert found["worst"] is None  # only one academy has it


def test_one_academy_alone_has_no_standard_error():
    one = {"figures": judged_rows()["figures"].head(2)}

    assert coach.std_errors(one, mean_error) == {"error": None, "worst": None}


def test_a_miss_is_told_with_its_size(monkeypatch):
    targets = (
        Target("small", "error", None, 3.0),
        Target("smaller", "error", None, 2.0),
        Target("there", "worst", 0.5, 1.5),
    )
    part = coach.Part(targets, ("figures",), mean_error)
    monkeypatch.setattr(coach, "PARTS", {"a part": part})

    told = coach.coach_table(judged_rows())

    assert told.columns == ["part", "measure", "target", "value", "std_error", "met"]
    assert told.select("measure", "target", "value", "met").rows() == [
        ("small", "at most 3", 2.62, "yes"),
        ("smaller", "at most 2", 2.62, "no, missed by 0.62"),
        ("there", "0.5 to 1.5", 1.0, "yes"),
    ]
    few = coach.coach_table(judged_rows([[1.0], [1.0], [1.0], [1.0]]))
    assert few["met"].to_list() == ["yes", "yes", "not measured"]


def test_every_measure_of_practice_that_has_a_target_is_worked_out(monkeypatch):
    small = replace(coach_practice.WORLDS[0], golfers=12, weeks=12)
    monkeypatch.setattr(coach_practice, "WORLDS", (small, replace(small, name="no pairs", both=0.0)))

    rows = coach_practice.prove_practice(1)
    found = coach.PARTS["practice"].measures({"practice": rows})

    assert rows.select("world", "academy").unique().sort("world").rows() == [("no pairs", 0), ("plain", 0)]
    assert {target.measure for target in coach_practice.TARGETS} <= set(found)
    assert abs(found["gain_bias_mph"]) < 0.1
    assert found["misreads_missed"] < 0.2
    # Without pairs the factor is common practice's, 1.20, which no golfer's is.
    assert abs(found["factor_bias"]) < abs(coach_practice.measure_practice(rows)["factor_bias"])


def test_worlds_where_something_changes_are_cases_of_their_own():
    named = {name: coach.case_of(world, name) for name, world in (WORLDS | COACH_WORLDS).items()}

    assert {name for name, case in named.items() if case == name} == {"changed", "all-faster"}
    assert coach.case_of(PLAIN, "plain") == "nothing changed, form of the day"
    assert coach.case_of(MANY_DAYS, "many-days") == "nothing changed"
