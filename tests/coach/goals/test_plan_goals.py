import numpy as np
import polars as pl
import pytest
from days import on_days
from goal_samples import sample_curve, sample_frontier, sample_golfers, sample_model
from polars.testing import assert_frame_equal
from rows import table_of
from scipy.stats import norm

from pipeline.bands import SpeedBands
from pipeline.coach.goals import goal_table as goal_module
from pipeline.coach.goals.goal_table import goal_table, newest_assessed
from pipeline.coach.goals.pace import Gain, Pace, quarters_needed
from pipeline.coach.goals.plan_goals import run
from pipeline.coach.reaching import reaching_drives
from pipeline.coach.reaching.reaching_drives import GolfersDrives
from pipeline.configuration.load import load_study
from pipeline.configuration.study import BandGoals
from pipeline.edge.artefacts import read_artefact, write_artefact
from pipeline.edge.files import write_csv
from pipeline.errors import UserError
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.statistics.drive_spread import LEVELS, DriveSpread, UsualReaching
from pipeline.statistics.intervals import Z90
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.golfers import Changes

MODEL = sample_model()
SURE = np.tile(MODEL.coefficients, (3, 1))
BANDS = SpeedBands.of((80, 90, 100), 5)
GAIN = Gain.of(0.5, 0.1, 0.8, 40, 80)  # 2 mph a year


# Nobody's.
NO_DRIVES = GolfersDrives([], np.zeros(0), [], DriveSpread(np.zeros((0, 61)), *np.zeros((3, 0))), None)


def planned(*rows, asked=None, curve=None, gain=GAIN, bands=BANDS, variance=0.0, scatter=NO_DRIVES):
    golfers = sample_golfers(*({"own_error_yd": 1.0} | row for row in rows)).with_columns(speed_variance=variance)
    return Goals.validate(goal_table(MODEL, SURE, curve or sample_curve(), golfers, bands, asked or {}, gain, scatter))


def test_shares_of_drives_stand_beside_the_goal_where_there_are_drives():
    spread = DriveSpread(215 + 10 * norm.ppf(LEVELS)[None, :], np.array([215.0]), np.zeros(1), np.array([50.0]))
    scatter = GolfersDrives(["g0000000000000001"], np.array([92.0]), ["own"], spread, None)
    golfer = {"club_speed_mph": 92.0, "carry_yd": 210.0}
    without, row = planned(golfer, golfer, asked={90.0: 225.0}, scatter=scatter).to_dicts()
    assert [without[name] for name in ("share_reaching", "share_efficient", "nine_of_ten_yd", "share_from")] == [
        None
    ] * 4
    assert row["share_reaching"] == pytest.approx(norm.sf(1), abs=1e-3)
    assert row["share_reaching_lo90"] < row["share_reaching"] < row["share_reaching_hi90"]
    # Efficient is 230 yd at 92 mph, give or take 1 yd; all scatters by 230 / 215 as much there.
    assert row["share_efficient"] == pytest.approx(norm.sf(-5 / np.hypot(10 * 230 / 215, 1 / 1.645)), abs=1e-3)
    # 90 mph take an efficient delivery to 225 yd.
    assert row["share_at_goal_speed"] == pytest.approx(0.5, abs=1e-3)
    tenths = [row[f"{number}_of_ten_yd"] for number in ("nine", "five", "one")]
    assert tenths == pytest.approx([215 - 12.8, 215, 215 + 12.8], abs=0.05)
    assert row["share_from"] == "own"


def test_a_row_tells_gap_parts_speeds_and_quarters():
    row = planned({"club_speed_mph": 92.0, "carry_yd": 210.0}, asked={90.0: 250.0}).row(0, named=True)
    assert (row["band_mph"], row["goal_yd"], row["goal_from"]) == (90, 250, "study")
    assert (row["gap_yd"], row["delivery_yd"], row["speed_yd"]) == pytest.approx((40, 20, 20))
    assert row["efficient_speed_mph"] == pytest.approx(100)
    # 2.8 v - 40 less a shortfall of 7.6 yd at 92 mph.
    assert row["present_speed_mph"] == pytest.approx(290 / (2.8 - 7.6 / 92))
    assert row["present_speed_lo90_mph"] < row["present_speed_mph"] < row["present_speed_hi90_mph"]
    # 8 mph, give or take the 0.4 mph that 1 yd of efficient carry is worth.
    time = quarters_needed(8.0, GAIN, 7.6, 8.4)
    assert (row["quarters"], row["quarters_lo90"], row["quarters_hi90"]) == pytest.approx([float(v) for v in time])
    assert row["quarters"] == pytest.approx(16)
    assert (row["reach"], row["note"]) == (
        "both",
        "an efficient delivery and about 8 mph more club speed reach the goal; about 16 quarters at the pace of "
        "golfers here",
    )


def test_luck_in_todays_speed_is_in_the_interval_of_the_quarters():
    golfer = {"club_speed_mph": 92.0, "carry_yd": 210.0}
    row = planned(golfer, asked={90.0: 250.0}, variance=0.25).row(0, named=True)
    arm = np.hypot(0.4, Z90 * 0.5)
    time = quarters_needed(8.0, GAIN, 8 - arm, 8 + arm)
    assert (row["quarters_lo90"], row["quarters_hi90"]) == pytest.approx((float(time.lo90), float(time.hi90)))


@pytest.mark.parametrize(
    ("row", "asked", "reach", "note"),
    [
        ({"carry_yd": 226.0}, 220.0, "reached", "the mean drive already carries the goal"),
        (
            {"carry_yd": 210.0},
            229.0,
            "delivery",
            "an efficient delivery reaches the goal: no more club speed is needed",
        ),
        (
            {"carry_yd": 235.0},
            240.0,
            "speed",
            "about 2 mph more club speed reach the goal; about 3 quarters at the pace of golfers here",
        ),
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
            "an efficient delivery and about 2 mph more club speed reach the goal; about 4 quarters at the pace of "
            "golfers here; too few drives are that fast to say what speed today's delivery would need",
        ),
    ],
)
def test_the_note_says_what_it_takes(row, asked, reach, note):
    found = planned({"club_speed_mph": 92.0} | row, asked={90.0: asked}).row(0, named=True)
    assert (found["reach"], found["note"], found["goal_from"]) == (reach, note, "study")
    assert (found["quarters"] == 0) == (reach in ("reached", "delivery"))
    assert (found["quarters"] is None) == (reach == "beyond_data")


@pytest.mark.parametrize(
    ("gain", "why"),
    [
        (Gain.of(0.1, 0.1, 0.8, 40, 80), "nobody can say how long: golfers here gain no speed that we can see"),
        (None, "under 8 golfers here have two quarters in a row, so nobody can say how long it takes"),
    ],
)
def test_where_nobody_can_say_how_long_the_note_says_so(gain, why):
    there = {"club_speed_mph": 92.0, "carry_yd": 229.0}
    row = planned(there, gain=gain).row(0, named=True)
    assert (row["goal_from"], row["goal_yd"], row["quarters"], row["quarters_hi90"]) == (
        "a small step", 232.5, None, None,
    )  # fmt: skip
    assert row["note"] == f"an efficient delivery and about 1 mph more club speed reach the goal; {why}"


def test_where_delivery_alone_reaches_the_goal_or_it_is_reached_no_quarter_is_needed():
    speeds = np.linspace(80.3, 104.9, 50)
    own = planned(*({"club_speed_mph": v, "carry_yd": 2.5 * v - 20} for v in speeds))
    assert own["reach"].to_list() == ["delivery"] * 50
    assert own["quarters"].to_list() == [0.0] * 50
    assert (own["quarters_lo90"].to_list(), own["quarters_hi90"].null_count()) == ([0.0] * 50, 0)
    # The data don't show how slow a swing 190 yd take.
    below = planned({"club_speed_mph": 82.0, "carry_yd": 200.0, "spin_rpm": 5000.0}, asked={80.0: 190.0})
    assert below.select("reach", "efficient_speed_mph", "present_speed_mph", "quarters").row(0) == (
        "reached", None, None, 0.0,
    )  # fmt: skip


def test_no_goal_is_told_with_its_reason():
    row = planned({"club_speed_mph": 109.0, "carry_yd": 272.5}).row(0, named=True)
    assert (
        row["note"]
        == "the efficient carry at this club speed is reached, and the data end at 110 mph, short of the next"
    )
    assert (row["reach"], row["gap_yd"], row["goal_from"], row["quarters"]) == ("no_goal", None, None, None)


def test_a_goal_that_only_a_golfers_own_better_delivery_reaches_is_not_beyond_the_data():
    # 9 yd more than efficient at 107 mph: 283 yd take an efficient delivery to 113 mph, the golfer's own to 109 or so.
    row = planned({"club_speed_mph": 107.0, "carry_yd": 276.5}).row(0, named=True)
    assert (row["goal_yd"], row["efficient_speed_mph"], row["delivery_yd"]) == (281.5, None, 0)
    assert (row["reach"], row["goal_from"]) == ("speed", "a year's gain")
    assert row["quarters"] == pytest.approx((row["present_speed_mph"] - 107) / 0.5)


def test_goals_are_the_same_part_by_part_and_drives_are_looked_up_once_for_all_parts(monkeypatch):
    golfers = [{"club_speed_mph": 86.0 + 3 * k, "carry_yd": 200.0 + 6 * k} for k in range(5)]
    quantiles = (200 + 6 * np.arange(5))[:, None] + 10 * norm.ppf(LEVELS)
    codes = [f"g{number:016}" for number in (3, 0, 4, 1)]  # not all of them, and in an order of their own
    spread = DriveSpread(quantiles[:4], quantiles[:4, 30], np.full(4, 2.0), np.full(4, 40.0))
    scatter = GolfersDrives(codes, np.zeros(4), ["own", "shrunk", "others", "own"], spread, None)
    whole = planned(*golfers, scatter=scatter)
    assert whole.get_column("share_from").null_count() == 1
    looked_up = []
    rows_of = goal_module.rows_of
    monkeypatch.setattr(goal_module, "rows_of", lambda *given: looked_up.append(given) or rows_of(*given))
    monkeypatch.setattr(goal_module, "CHUNK", 2)
    assert_frame_equal(planned(*golfers, scatter=scatter), whole, rel_tol=1e-9)
    assert len(looked_up) == 1


def test_nobody_gives_an_empty_table():
    nobody = sample_golfers({"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0}).clear()
    assert Goals.validate(goal_table(MODEL, SURE, sample_curve(), nobody, BANDS, {}, GAIN, NO_DRIVES)).height == 0


def test_only_the_assessed_of_the_newest_quarter_are_planned():
    golfers = sample_golfers(
        {"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0},
        {"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0, "quarter": "2026Q2"},
        {"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0, "status": "not_assessed"},
    )
    assert newest_assessed(golfers)["golfer"].to_list() == ["g0000000000000000"]


def test_the_step_writes_both_tables(tmp_path, capsys, roller, monkeypatch):
    rolled, with_reach = [], reaching_drives.with_reach
    monkeypatch.setattr(reaching_drives, "with_reach", lambda one, *by: rolled.append(one) or with_reach(one, *by))
    golfers = sample_golfers(
        *({"club_speed_mph": 90.0 + i, "carry_yd": 205.0 + 2 * i, "own_error_yd": 1.0} for i in range(9))
    )
    rng = np.random.default_rng(1)
    drives = golfers.select("golfer", "club_speed_mph", "quarter")
    shots = pl.concat([drives.with_columns(quarter=pl.lit(q)) for q in ("2026Q2", "2026Q3") for _ in range(20)])
    shots = on_days(shots).with_columns(pl.col("club_speed_mph") + rng.normal(0, 1, shots.height))
    carry = 2 * 1.4 * shots["club_speed_mph"] - 47.6 + rng.normal(0, 8, shots.height)
    read = {"device": "a", "ball": "x", "launch_deg": 14.0, "spin_rpm": 2800.0, "spin_measured": True}
    shots = shots.with_columns(pl.lit(value).alias(name) for name, value in read.items())
    ball = pl.col("club_speed_mph") * 1.4
    shots = shots.with_columns(ball.alias("ball_speed_mph"), carry_standard_yd=carry, flown_yd=carry)
    shots = shots.with_columns(curve_yd=pl.lit(None, pl.Float64))
    shots.sort("golfer").write_parquet(tmp_path / "drives.parquet")
    table = {f"standard_{part}": value for part, value in roller.table.to_arrays().items()}
    np.savez(tmp_path / "tables.npz", **table, density=np.zeros(0), viscosity=np.zeros(0))
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
        "pace": "pace.json",
        "tables": "tables.npz",
        "reaching": "reaching.npz",
        "usual_reaching": "usual_reaching.json",
    }

    run(
        **{keyword: str(tmp_path / name) for keyword, name in names.items()},
        bands={"centres": [80, 90, 100], "half_width_mph": 5},
        wanted=BandGoals(carry_yd={90: 235}).model_dump(mode="json"),
        turf="normal",
    )

    assert sum(frame.height for frame in rolled) == shots.height  # how far a drive goes is worked out once
    goals, first = (pl.read_csv(tmp_path / name, infer_schema_length=None) for name in ("goals.csv", "p.csv"))
    assert goals.columns == Goals.column_names()
    assert first.columns == Priorities.column_names()
    # Of twenty drives with a spread of 1 mph, beside 1 yd of efficient carry, which goes up by 2.5 yd a mph.
    reach = ((goals["speed_hi90_yd"] - goals["speed_lo90_yd"]) / 2).drop_nulls()
    assert reach.max() == pytest.approx(np.hypot(1, 1.645 * 2.5 / np.sqrt(20)), rel=0.15)
    assert goals["goal_from"].to_list() == ["study"] * 5 + ["own speed"] * 4
    assert goals["goal_yd"].to_list() == [235.0] * 5 + [237.5, 240.0, 242.5, 245.0]
    assert first["speed_gain_mph"].to_list() == pytest.approx([0.5] * 9)
    assert first["first"].to_list() == ["delivery"] * 9
    gain = read_artefact(tmp_path / "pace.json", Pace).gain
    assert (gain.mean_mph, gain.golfers, gain.pairs) == (pytest.approx(0.5), 9, 9)
    # Drives scatter by 8 yd and what 1 mph is worth, 2.8 yd: about 8.5 yd.
    assert goals["share_from"].to_list() == ["shrunk"] * 9
    assert (goals["one_of_ten_yd"] - goals["nine_of_ten_yd"]).mean() == pytest.approx(2 * 1.2816 * 8.5, rel=0.15)
    own = goals.filter(goal_from="own speed")  # 20 yd or so short of the goal
    assert own["share_reaching"].max() < 0.15 < 0.4 < own["share_efficient"].min() < own["share_efficient"].max() < 0.6
    with np.load(tmp_path / "reaching.npz") as arrays:
        assert arrays["golfer"].tolist() == goals["golfer"].to_list()
        assert (arrays["total_center_yd"] - arrays["carry_center_yd"]).mean() == pytest.approx(24, abs=8)
    usual = read_artefact(tmp_path / "usual_reaching.json", UsualReaching)
    assert usual.carry.spread_share * 230 == pytest.approx(8.5, rel=0.25)
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
