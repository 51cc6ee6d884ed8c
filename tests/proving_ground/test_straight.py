"""How straightness is held against the truth, on answers that are known."""

import polars as pl
import pytest
import straight
from targets import Verdict

TRUE = {"true_offline_mean_yd": 4.0, "true_offline_sd_yd": 10.0, "true_in_corridor": 0.80}
FOUND = {
    "offline_mean": (4.0, 2.0, 6.0),
    "offline_sd": (10.0, 8.0, 13.0),
    "offline_mean_change": (0.0, -1.0, 1.0),
    "offline_sd_change": (0.0, -1.0, 1.0),
}


def judged_of(world="w", axis=12.0, **other):
    """Two academies with ten golfers each, all of them right but for what is given."""
    columns = dict(TRUE)
    for name, values in FOUND.items():
        columns |= {f"{name}{end}_yd": v for end, v in zip(("", "_lo90", "_hi90"), values, strict=True)}
    columns |= {f"in_corridor_share{end}": v for end, v in (("", 0.80), ("_lo90", 0.7), ("_hi90", 0.9))}
    columns |= {"lost_yd": 9.0, "lost_lo90_yd": 7.0, "lost_hi90_yd": 11.0, "true_lost_yd": 9.0}
    columns |= {"lost_curve_yd": 3.0, "true_curve_yd": 3.0, "axis_deg": axis, "status": "clear"} | other
    rows = pl.DataFrame({"world": world, "academy": [k // 10 for k in range(20)]})
    frame = rows.with_columns(pl.lit(value).alias(name) for name, value in columns.items())
    return {straight.FRAME: frame, "golfers": frame}


def verdicts(judged):
    listed = straight.straight_by_world(judged)
    names = {target.what: target.measure for target in straight.TARGETS}
    return {names[row["what"]]: Verdict(row["rank"]) for row in listed.iter_rows(named=True)}


def test_what_is_right_has_no_bias_and_is_held():
    found = straight.measures(judged_of())
    assert {target.measure for target in straight.TARGETS} == set(found)
    for name, value in found.items():
        # Intervals that hold all of twenty truths can't be told from such as hold nine in ten.
        assert value.value == (1.0 if name.endswith("coverage90") else 0.0), name
    assert Verdict.MISSED not in verdicts(judged_of()).values()


@pytest.mark.parametrize(
    ("measure", "wrong", "value"),
    [
        ("offline_mean_bias_yd", {"offline_mean_yd": 5.5}, 1.5),
        ("offline_mean_out_yd", {"offline_mean_yd": -5.5, "true_offline_mean_yd": -4.0}, 1.5),
        ("offline_mean_coverage90", {"true_offline_mean_yd": 6.5, "offline_mean_yd": 6.5}, 0.0),
        ("offline_sd_bias", {"offline_sd_yd": 11.0}, 0.1),
        ("offline_sd_coverage90", {"true_offline_sd_yd": 7.0}, 0.0),
        ("in_corridor_bias", {"in_corridor_share": 0.75}, -0.05),
        ("in_corridor_coverage90", {"true_in_corridor": 0.95}, 0.0),
        ("mean_change_coverage90", {"offline_mean_change_lo90_yd": 0.5}, 0.0),
        ("sd_change_coverage90", {"offline_sd_change_hi90_yd": -0.5}, 0.0),
        ("curve_bias_yd", {"lost_curve_yd": 5.0}, 2.0),
        ("much_lost_bias_yd", {"lost_yd": 11.0}, 2.0),
        ("much_lost_coverage90", {"true_lost_yd": 12.0}, 0.0),
    ],
)
def test_what_is_wrong_is_missed(measure, wrong, value):
    judged = judged_of(**wrong)
    assert straight.measures(judged)[measure].value == pytest.approx(value)
    assert verdicts(judged)[measure] is Verdict.MISSED


def test_golfers_who_hardly_bend_their_drives_dont_count_as_such_who_do():
    assert straight.measures(judged_of(axis=-9.0))["much_lost_bias_yd"].rows == 0
    assert straight.measures(judged_of(axis=-11.0))["much_lost_bias_yd"].rows == 20


def test_a_world_whose_logs_say_nothing_has_its_yards_judged_and_no_more():
    said, unsaid = judged_of("said"), judged_of("unsaid", lost_curve_yd=None)
    both = {
        straight.FRAME: said[straight.FRAME],
        "golfers": pl.concat([said["golfers"], unsaid["golfers"]], how="diagonal_relaxed"),
    }
    listed = straight.straight_by_world(both).filter(world="unsaid")
    measured = listed.filter(pl.col("rank") > 0)["what"].to_list()
    assert measured == [target.what for target in straight.TARGETS if target.measure.startswith("much")]
    assert "| unsaid |" in straight.straight_words(straight.straight_by_world(both))
