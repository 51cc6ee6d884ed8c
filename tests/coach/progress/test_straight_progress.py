"""Longer but wilder: what progress says of offline, beside carry."""

import numpy as np
import polars as pl
import pytest
import straight_golfers
from rows import table_of
from test_progress import YARDSTICK, apart, changes_for, golfers_of, two

from pipeline.coach.progress.measures import MEASURES, STRAIGHT
from pipeline.coach.progress.progress import progress_of
from pipeline.coach.straightness.straightness import straightness_of
from pipeline.drives import KEYS, Drives
from pipeline.tables.progress import Progress
from pipeline.tables.straightness import Straightness

GOLFERS = 30
OTHERS = [f"{measure.name}_{part}" for measure in MEASURES for part in ("p_value", "q_value", "verdict")]


def straight_table(quarters):
    """Make the table of straightness of drives with offline_yd and carry_yd."""
    drives = pl.concat(quarters)
    number = pl.len().cast(pl.Int64)
    counts = drives.group_by(KEYS).agg(
        number.alias("shots"), number.alias("known"), pl.lit(0).cast(pl.Int64).alias("calculated"),
        pl.lit(None, pl.Float64).alias("cross_wind_yd"),
    )  # fmt: skip
    return Straightness.validate(straightness_of(Drives.of(drives), counts.sort(KEYS), 12, 30.0))


def offline(seed, wider=1.0, mean_yd=0.0, wanders=6.0):
    habit = straight_golfers.Habit(drives=60, days=6, mishits=0.0, wanders=wanders)
    first, _ = straight_golfers.drives_of(seed, GOLFERS, habit, "2026Q2")
    second, _ = straight_golfers.drives_of(seed, GOLFERS, habit, "2026Q3", mean_yd, wider)
    return straight_table([first, second])


def progress(straightness, seed=4, moved=None):
    drives = pl.concat(two(seed, GOLFERS, moved))
    table, _ = progress_of(drives, golfers_of(drives), changes_for(drives), YARDSTICK, apart(0.5), 0.10, straightness)
    return Progress.validate(table.select(Progress.column_names()))


def test_longer_but_wilder_stands_side_by_side():
    table = progress(offline(1, wider=2.0), moved={"speed": 6.0})
    for name, verdict in (("carry", "better"), ("offline_sd", "worse")):
        told = table[f"{name}_verdict"]
        assert (told == verdict).sum() > 0.8 * GOLFERS, name
        assert not told.is_in(["better", "worse"]).any() or set(told) <= {verdict, "no_clear_change"}, name
    assert table["offline_sd_change_yd"].median() > 8
    assert table["offline_mean_verdict"].to_list().count("no_clear_change") > 0.9 * GOLFERS


def test_narrower_is_better():
    told = progress(offline(1, wider=0.5))["offline_sd_verdict"]
    assert (told == "better").sum() > 0.8 * GOLFERS
    assert not (told == "worse").any()


@pytest.mark.parametrize(("start", "end", "verdict"), [(20, 2, "better"), (2, 20, "worse"), (-12, 12, "changed")])
def test_a_mean_is_better_where_it_is_nearer_to_the_line(start, end, verdict):
    given = {"quarter": "2026Q3", "since": "2026Q2", "shots": 30, "known": 30, "status": "assessed"}
    given |= {"offline_mean_yd": float(end), "in_corridor_share": 0.5, "offline_mean_change_yd": float(end - start)}
    given |= {f"offline_mean_change_{edge}_yd": end - start + by for edge, by in (("lo90", -4.0), ("hi90", 4.0))}
    given |= {"calculated": 0, "corridor_yd": 30.0, "offline_mean_p_value": 1e-6}
    golfers = [f"g{k:016x}" for k in range(GOLFERS)]
    table = table_of(Straightness, [given | {"golfer": golfer} for golfer in golfers])
    assert progress(table)["offline_mean_verdict"].to_list() == [verdict] * GOLFERS


def test_without_offline_every_other_figure_stays_as_it_was():
    plain, empty = progress(None), progress(Straightness.create_empty())
    assert plain.equals(empty)
    assert all(plain[f"{measure.name}_verdict"].is_null().all() for measure in STRAIGHT)
    beside = progress(offline(1))
    assert beside.select(pl.exclude("^(.*_q_value|.*_verdict|offline_.*)$")).equals(
        plain.select(pl.exclude("^(.*_q_value|.*_verdict|offline_.*)$"))
    )


def test_yards_lost_keep_their_half_of_the_rate_and_the_rest_is_shared_by_all():
    moved = {"speed": 2.0}
    plain, beside = (progress(table, moved=moved) for table in (None, offline(1)))
    assert beside["lost_q_value"].equals(plain["lost_q_value"])
    # Only speed and carry show something: of seven measures, not five, so that each has less of the rate.
    shown = beside["club_speed_q_value"].to_numpy() / plain["club_speed_q_value"].to_numpy()
    assert np.nanmedian(shown[plain["club_speed_q_value"].to_numpy() < 0.5]) == pytest.approx(7 / 5)


def test_where_nothing_changed_hardly_anybody_is_named():
    named = 0
    for seed in range(12):
        table = progress(offline(seed), seed=seed)
        told = [table[f"{measure.name}_verdict"] for measure in (*MEASURES, *STRAIGHT)]
        named += any(one.is_in(["better", "worse", "changed"]).any() for one in told)
    assert named <= 4  # one in ten is expected
