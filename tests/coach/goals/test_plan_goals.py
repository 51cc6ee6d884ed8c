import numpy as np
import polars as pl
import pytest
from days import on_days
from goal_samples import sample_curve, sample_frontier, sample_golfers, sample_model
from rows import table_of

from pipeline.bands import SpeedBands
from pipeline.coach.goals.goal_table import band_goals, goal_table, newest_assessed
from pipeline.coach.goals.plan_goals import run
from pipeline.configuration.load import load_study
from pipeline.configuration.study import BandGoals
from pipeline.edge.artefacts import write_artefact
from pipeline.edge.files import write_csv
from pipeline.errors import UserError
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.golfers import Changes

MODEL = sample_model()
SURE = np.tile(MODEL.coefficients, (3, 1))
BANDS = SpeedBands.of((80, 90, 100), 5)


def test_a_golfers_goal_is_the_next_bands_efficient_carry_unless_the_study_sets_one():
    speed = np.array([79.0, 85.0, 94.99, 104.0])
    band, goal, by_study, following = band_goals(speed, BANDS, {90.0: 240.0}, sample_curve())
    assert band.tolist() == [80, 90, 90, 100]
    assert goal == pytest.approx([225.0, 240.0, 240.0, np.nan], nan_ok=True)
    assert by_study.tolist() == [False, True, True, False]
    assert following == pytest.approx([90, 100, 100, np.nan], nan_ok=True)


def test_between_bands_the_next_one_up_sets_the_goal():
    apart = SpeedBands.of((80, 90, 100), 2)
    band, goal, _, _ = band_goals(np.array([86.0, 96.0]), apart, {90.0: 240.0}, sample_curve())
    assert np.isnan(band).all()
    assert goal == pytest.approx([225.0, 250.0])


def test_a_next_band_that_the_data_dont_reach_is_no_goal():
    _, goal, _, following = band_goals(np.array([91.0]), BANDS, {}, sample_curve(speeds=range(80, 98)))
    assert np.isnan(goal[0])
    assert following[0] == 100


def planned(*rows, asked=None, curve=None):
    golfers = sample_golfers(*rows).with_columns(speed_variance=0.0)
    return Goals.validate(goal_table(MODEL, SURE, curve or sample_curve(), golfers, BANDS, asked or {}))


def test_a_row_tells_gap_parts_and_speeds():
    row = planned({"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0}).row(0, named=True)
    assert (row["band_mph"], row["goal_yd"], row["goal_from"]) == (90, 250, "next band")
    assert (row["gap_yd"], row["delivery_yd"], row["speed_yd"]) == pytest.approx((40, 20, 20))
    assert row["efficient_speed_mph"] == pytest.approx(100)
    # 2.8 v - 40 less a shortfall of 7.6 yd at 92 mph.
    assert row["present_speed_mph"] == pytest.approx(290 / (2.8 - 7.6 / 92))
    assert row["present_speed_lo90_mph"] < row["present_speed_mph"] < row["present_speed_hi90_mph"]
    assert (row["reach"], row["note"]) == (
        "both",
        "an efficient delivery and about 8 mph more club speed reach the goal",
    )


@pytest.mark.parametrize(
    ("row", "asked", "reach", "note"),
    [
        ({"carry_yd": 226.0}, 220.0, "reached", "the mean drive already carries the goal"),
        ({"carry_yd": 210.0}, 229.0, "delivery", "an efficient delivery at today's club speed reaches the goal"),
        ({"carry_yd": 235.0}, 240.0, "speed", "about 2 mph more club speed reach the goal"),
        (
            {"carry_yd": 210.0},
            300.0,
            "beyond_data",
            "no golfers here are fast enough to say: the data end at 110 mph",
        ),
        (
            {"carry_yd": 200.0, "spin_rpm": 5000.0},
            235.0,
            "both",
            "an efficient delivery and about 2 mph more club speed reach the goal; too few drives are that fast "
            "to say what speed today's delivery would need",
        ),
    ],
)
def test_the_note_says_what_it_takes(row, asked, reach, note):
    found = planned({"club_speed_mph": 92.0, "own_error_yd": 1.0} | row, asked={90.0: asked}).row(0, named=True)
    assert (found["reach"], found["note"], found["goal_from"]) == (reach, note, "study")


def test_no_goal_is_told_with_its_reason():
    last = planned({"club_speed_mph": 101.0, "carry_yd": 240.0, "own_error_yd": 1.0})
    short = planned(
        {"club_speed_mph": 91.0, "carry_yd": 215.0, "own_error_yd": 1.0}, curve=sample_curve(speeds=range(80, 98))
    )
    assert last["note"].item() == "no band above, and the study sets no goal"
    assert short["note"].item() == "too few golfers in the next band for a goal"
    assert (last["reach"].item(), last["gap_yd"].item(), last["goal_from"].item()) == ("no_goal", None, None)


def test_nobody_gives_an_empty_table():
    nobody = sample_golfers({"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0}).clear()
    assert Goals.validate(goal_table(MODEL, SURE, sample_curve(), nobody, BANDS, {})).height == 0


def test_only_the_assessed_of_the_newest_quarter_are_planned():
    golfers = sample_golfers(
        {"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0},
        {"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0, "quarter": "2026Q2"},
        {"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0, "status": "not_assessed"},
    )
    assert newest_assessed(golfers)["golfer"].to_list() == ["g0000000000000000"]


def test_the_step_writes_both_tables(tmp_path, capsys):
    golfers = sample_golfers(
        *({"club_speed_mph": 90.0 + i, "carry_yd": 205.0 + 2 * i, "own_error_yd": 1.0} for i in range(9))
    )
    rng = np.random.default_rng(1)
    drives = golfers.select("golfer", "club_speed_mph", "quarter")
    shots = pl.concat([drives.with_columns(quarter=pl.lit(q)) for q in ("2026Q2", "2026Q3") for _ in range(20)])
    shots = on_days(shots).with_columns(pl.col("club_speed_mph") + rng.normal(0, 1, shots.height))
    shots.sort("golfer").write_parquet(tmp_path / "drives.parquet")
    pairs = [
        {"golfer": golfer, "shots": 20, "club_speed_change_mph": 0.5, "lost_change_yd": 0.5, "movement": "clear"}
        for golfer in golfers["golfer"]
    ]
    write_csv(tmp_path / "golfers.csv", golfers)
    write_csv(tmp_path / "changes.csv", table_of(Changes, pairs))
    write_artefact(tmp_path / "frontier.json", sample_frontier())
    write_artefact(tmp_path / "model.json", FittedModel("hill", MODEL, FittedOn(360, 9, ("2026Q2", "2026Q3"))))
    np.savez(tmp_path / "replicates.npz", coefficients=SURE)
    names = {"drives": "drives.parquet", "golfers": "golfers.csv", "changes": "changes.csv"}
    names |= {
        "frontier": "frontier.json",
        "model": "model.json",
        "replicates": "replicates.npz",
        "goals": "goals.csv",
        "priorities_csv": "p.csv",
    }

    run(
        **{keyword: str(tmp_path / name) for keyword, name in names.items()},
        bands={"centres": [80, 90, 100], "half_width_mph": 5},
        wanted=BandGoals(carry_yd={90: 235}).model_dump(mode="json"),
    )

    goals, first = (pl.read_csv(tmp_path / name, infer_schema_length=None) for name in ("goals.csv", "p.csv"))
    assert goals.columns == Goals.column_names()
    assert first.columns == Priorities.column_names()
    # Of twenty drives with a spread of 1 mph, beside 1 yd of efficient carry, which goes up by 2.5 yd a mph.
    reach = ((goals["speed_hi90_yd"] - goals["speed_lo90_yd"]) / 2).drop_nulls()
    assert reach.max() == pytest.approx(np.hypot(1, 1.645 * 2.5 / np.sqrt(20)), rel=0.15)
    assert goals["goal_from"].to_list() == ["study"] * 5 + [None] * 4
    assert goals["goal_yd"].to_list() == [235.0] * 5 + [None] * 4
    assert first["speed_gain_mph"].to_list() == pytest.approx([0.5] * 9)
    assert first["first"].to_list() == ["delivery"] * 9
    assert capsys.readouterr().out == "Planned 9 goals; first: delivery 9.\n"


def test_a_study_sets_goals_by_the_centres_of_its_bands(tmp_path):
    path = tmp_path / "study.yaml"
    text = "study: hill\nlogs: [{files: a.csv}]\ngoals: {carry_yd: {'90': 230, '100': 251.5}}\n"
    path.write_text(text)
    assert load_study(path)[1].goals.carry_yd == {90.0: 230.0, 100.0: 251.5}
    path.write_text(text.replace("'100':", "'95':"))
    with pytest.raises(
        UserError, match=r"goals.carry_yd: 95 isn't the center of a band; use one of 70, 80, 90, 100, 110\.$"
    ):
        load_study(path)
    path.write_text(text.replace("230", "2300"))
    with pytest.raises(UserError, match=r"goals\.carry_yd\S*: .*less than or equal to 400"):
        load_study(path)
