from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from frontiers import frontier_at, plain_model

from pipeline.errors import UserError
from pipeline.research.library.model import NO_LEVEL, OUTSIDE, StudyModel

KNOWN = [
    f"{b}{l}{s}".strip("+") or "nothing" for b in ("", "ball_speed+") for l in ("", "launch+") for s in ("", "spin")
]
INTERVAL = {name: (-0.01 * place - 0.01, 0.01 * place + 0.02) for place, name in enumerate(KNOWN)}
FRONTIER = frontier_at(np.arange(80.0, 111.0))
# Measured over predicted: from 0.90 to 1.10 with everything known, from 0.80 to 1.20 by club speed alone.
STEPS = np.linspace(-1, 1, 201)
HELD = pl.DataFrame({"measured_yd": np.full(201, 200.0), "predicted_yd": 200 / (1 + 0.1 * STEPS),
                     "predicted_by_club_speed_yd": 200 / (1 + 0.2 * STEPS)})  # fmt: skip


def model(speed="ball", held_out=lambda: HELD):
    return StudyModel("k0", replace(plain_model(speed), interval=INTERVAL), FRONTIER, held_out)


def test_carry_is_the_models_and_what_is_not_known_is_usual():
    found = model().predict(
        {"club_speed_mph": [90, 90, 90], "ball_speed_mph": [130, None, np.nan], "launch_deg": [None, 14.0, 14.0]}
    )
    # 215 yd at 130 mph, 1.7 yd more a mph; the usual ratio is 1.46.
    assert found["expected_yd"].to_list() == pytest.approx([215.0, *[215 + 1.7 * (90 * 1.46 - 130)] * 2])
    assert found["known"].to_list() == ["ball_speed", "launch", "launch"]
    assert found["spin_rpm"].to_list() == [None] * 3
    edges = [INTERVAL[name] for name in found["known"]]
    assert (found["lo_yd"] / found["expected_yd"] - 1).to_list() == pytest.approx([lo for lo, _ in edges])
    assert (found["hi_yd"] / found["expected_yd"] - 1).to_list() == pytest.approx([hi for _, hi in edges])


def test_at_another_level_intervals_are_those_of_golfers_held_out():
    drives = {
        "club_speed_mph": [90] * 3, "ball_speed_mph": [130, None, None], "launch_deg": [14, None, 14],
        "spin_rpm": [2600, None, None],
    }  # fmt: skip
    found = model().predict(drives, level=0.5).with_columns(lo=pl.col("lo_yd") / pl.col("expected_yd") - 1)
    assert found["known"].to_list() == ["ball_speed+launch+spin", "nothing", "launch"]
    assert found["lo"].to_list() == [pytest.approx(-0.05), pytest.approx(-0.10), None]
    assert found["hi_yd"].null_count() == 1
    assert found["note"].to_list() == [None, None, NO_LEVEL]


def test_over_club_speed_ball_speed_is_not_used_and_not_needed_for_an_interval():
    drives = {"club_speed_mph": [130.0], "ball_speed_mph": [150.0], "launch_deg": [14], "spin_rpm": [2600]}
    found = model("club").predict(drives, level=0.5)
    assert found["expected_yd"].item() == pytest.approx(215.0)
    assert found["known"].item() == "launch+spin"
    assert found["lo_yd"].item() == pytest.approx(215 * 0.95)


def test_a_kept_model_has_intervals_of_the_level_that_it_stores():
    kept = model(held_out=None)
    assert kept.predict({"club_speed_mph": [90]}, level=0.8)["note"].to_list() == [NO_LEVEL]
    assert kept.predict({"club_speed_mph": [90]})["lo_yd"].null_count() == 0


def test_a_drive_that_golfers_do_not_strike_is_marked_and_still_predicted():
    found = model().predict({"club_speed_mph": [90, 130, 90], "launch_deg": [14, 14, 40], "spin_rpm": [2600] * 3})
    assert found["supported"].to_list() == [True, False, False]
    assert found["note"].to_list() == [None, OUTSIDE, OUTSIDE]
    assert found["expected_yd"].null_count() == 0


def test_other_columns_stay():
    found = model().predict(pl.DataFrame({"golfer": ["ga"], "club_speed_mph": [90]}))
    assert found["golfer"].to_list() == ["ga"]
    assert model().predict(pl.DataFrame({"club_speed_mph": []}, schema={"club_speed_mph": pl.Float64})).height == 0


@pytest.mark.parametrize(
    ("drives", "level", "told"),
    [
        ({"launch_deg": [12]}, 0.9, "club_speed_mph: the drives lack this column"),
        ({"club_speed_mph": [90, None]}, 0.9, "club_speed_mph: some drives have none"),
        ({"club_speed_mph": [90]}, 90, "level=90: must be between 0 and 1"),
    ],
)
def test_what_can_not_be_predicted_is_told(drives, level, told):
    with pytest.raises(UserError, match=told):
        model().predict(drives, level)
