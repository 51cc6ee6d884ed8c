from dataclasses import replace

import academy
import coach_progress
import numpy as np
import polars as pl
import pytest
from worlds import MANY_DAYS


@pytest.fixture
def simple_flight(monkeypatch):
    """A flight in one line in place of the true one, whose tables take seconds to make."""

    def carry_yd(_ball, speed_mph, launch_deg, spin_rpm, *_air):
        return 1.6 * speed_mph + launch_deg - spin_rpm / 300

    monkeypatch.setattr(academy, "carry_yd", carry_yd)
    monkeypatch.setattr(coach_progress, "carry_yd", carry_yd)


def rows_of(case, truths, verdicts, figure="club_speed", number=0, estimate=1.0):
    n = len(truths)
    return pl.DataFrame(
        {
            "case": [case] * n,
            "academy": number,
            "golfer": [f"Golfer {i}" for i in range(n)],
            "figure": figure,
            "estimate": estimate,
            "lo": estimate - 0.5,
            "hi": estimate + 0.5,
            "truth": truths,
            "verdict": verdicts,
            "gap": 0.0,
        },
        schema_overrides={"verdict": pl.String},
    )


def test_who_is_told_without_a_change_or_the_other_way_is_told_wrongly():
    rows = rows_of(
        "half changed",
        [1.0, 1.0, 1.0, 0.0, -1.0, 0.0],
        ["better", "better", "no more than chance", "better", "better", "no more than chance"],
    )
    row = coach_progress.figures(rows).row(0, named=True)
    assert row["false_told"] == pytest.approx(2 / 4)
    assert row["told"] == pytest.approx(4 / 6)
    assert row["found"] == pytest.approx(3 / 4)
    assert row["coverage90"] == pytest.approx(3 / 6)


def test_fewer_yards_lost_are_better_in_the_truth_too():
    lost = rows_of("half changed", [-2.0, 2.0], ["better", "better"], figure="lost")
    assert coach_progress.figures(lost)["false_told"].item() == 0.5


def test_academies_that_tell_nobody_count_as_right():
    rows = pl.concat(
        [
            rows_of("half changed", [0.0, 1.0], ["better", "no more than chance"]),
            rows_of("half changed", [0.0, 1.0], ["no more than chance"] * 2, number=1),
        ]
    )
    row = coach_progress.figures(rows).row(0, named=True)
    assert (row["false_told"], row["named"]) == (0.5, 0.5)


def test_measures_keep_the_cases_apart():
    rows = pl.concat(
        [
            rows_of("nothing changed", [0.0] * 4, ["better"] + ["no more than chance"] * 3, estimate=0.2),
            rows_of("nothing changed, form of the day", [0.0] * 2, ["no more than chance"] * 2, estimate=2.0),
            rows_of("half changed", [1.0, 0.0], ["better", "better"]),
            rows_of("half changed", [1.0], [None], figure="carry from speed"),
        ]
    )
    found = coach_progress.measures(rows)
    assert found["progress_null_told"] == 0.25
    assert (found["progress_form_null_told"], found["progress_form_coverage90"]) == (0.0, 0.0)
    assert found["progress_coverage90"] == pytest.approx(5 / 6)
    assert found["progress_false_told"] == 0.5
    assert found["progress_speed_part_coverage90"] == 1.0
    assert found["progress_delivery_part_coverage90"] is None
    assert {target.measure for target in coach_progress.TARGETS} == set(found)


@pytest.mark.usefixtures("simple_flight")
def test_an_academy_on_few_days_moves_as_planted():
    plain = academy.make_academy(replace(MANY_DAYS, golfers=20, shots=(40, 60)), "plain", 1)
    case = coach_progress.Case(days=(2, 3), changed=0.5)
    moved = coach_progress.with_days(plain, case, np.random.default_rng(1))
    before, after = plain.golfers, moved.golfers
    gained = (after["club_speed_mph"] - before["club_speed_mph"]).round(6)
    assert gained.filter(after["quarter"] == academy.QUARTERS[0]).to_list() == [0.0] * 20
    assert sorted(gained.filter(after["quarter"] == academy.QUARTERS[1]).to_list()) == [0.0] * 10 + [3.0] * 10
    days = moved.drives.group_by("row").agg(pl.col("struck_at").dt.date().n_unique())["struck_at"]
    assert (days.min(), days.max()) == (2, 3)
    # Drives carry farther for those who gain, readings move with the truth, and quarters keep their drives.
    more = moved.drives["true_carry_yd"] - plain.drives["true_carry_yd"]
    rows = moved.drives.select("row", more=more, read=moved.drives["carry_yd"] - plain.drives["carry_yd"])
    mean = rows.group_by("row").agg(pl.col("more", "read").mean()).sort("row")
    assert mean["more"].filter(gained > 0).min() > 8.0
    assert mean["read"].to_numpy() == pytest.approx(mean["more"].to_numpy(), rel=0.12, abs=0.6)
    quarter = moved.drives.select(("Q" + pl.col("struck_at").dt.quarter().cast(pl.String)).alias("q"))["q"]
    assert quarter.to_list() == [after["quarter"][row][-2:] for row in moved.drives["row"]]
    seconds = moved.drives.select(pl.struct("golfer", "struck_at").n_unique()).item()
    assert seconds == moved.drives.height


@pytest.mark.usefixtures("simple_flight")
def test_form_of_a_day_is_shared_by_its_drives():
    plain = academy.make_academy(replace(MANY_DAYS, golfers=30, shots=(40, 60)), "plain", 2)
    moved = coach_progress.with_days(plain, coach_progress.Case(days=(3, 3)), np.random.default_rng(2))
    added = moved.drives.select("row", pl.col("struck_at").dt.date().alias("day")).with_columns(
        moved.drives["true_launch_deg"] - plain.drives["true_launch_deg"]
    )
    by_day = added.group_by("row", "day").agg(
        pl.col("true_launch_deg").std().alias("within"), pl.col("true_launch_deg").mean()
    )
    assert by_day["within"].max() < 0.4  # but for launches held at their bounds
    assert by_day["true_launch_deg"].std() == pytest.approx(coach_progress.FORM["launch_deg"], rel=0.15)
