"""What the demo's run finds of the path, face, curvature and straightness planted at the bay (data_demo/truth.csv)."""

import numpy as np
import polars as pl
import pytest

from pipeline.tables.straightness import NOT_ASSESSED

PARTS = ("contact", "launch", "spin", "consistency", "curve", "other")
# A golfer's figures against the truth, of which luck has its share: 90 % intervals of some 130 golfers and quarters
# hold it 80 to 97 times in 100 (three standard errors of a share are 8 in 100).
HELD = (0.80, 0.97)


def read(path):
    return pl.read_csv(path, infer_schema_length=None)


def beside(planted, results, file):
    """Put what a table of the run says beside the truth, for golfers and quarters in both."""
    return planted.join(read(results / "golfers" / file), on=["golfer", "quarter"], suffix="_found")


@pytest.fixture(scope="module")
def straight(demo, planted):
    return beside(planted, demo.results, "straightness.csv").filter(pl.col("status") != NOT_ASSESSED)


@pytest.fixture(scope="module")
def lost(demo, planted):
    return beside(planted, demo.results, "golfers.csv")


@pytest.mark.parametrize("figure", ["offline_mean", "offline_sd"])
def test_intervals_of_offline_hold_the_truth(straight, figure):
    truth = pl.col(f"{figure}_yd")

    held = straight.select(truth.is_between(f"{figure}_lo90_yd", f"{figure}_hi90_yd").mean()).item()

    assert straight.height == 130
    assert HELD[0] <= held <= HELD[1]


def test_offline_has_no_bias(straight):
    mean = straight.select((pl.col("offline_mean_yd_found") - pl.col("offline_mean_yd")).mean()).item()
    spread = straight.select((pl.col("offline_sd_yd_found") / pl.col("offline_sd_yd")).mean()).item()

    assert abs(mean) < 1.0
    assert spread == pytest.approx(1.0, abs=0.05)


def test_wild_golfers_have_the_widest_spreads(straight):
    newest = straight.filter(pl.col("quarter") == "2026Q3")
    wild = newest.filter(pl.col("direction_kind") == "wild")
    steady = newest.filter(pl.col("direction_kind").is_in(["usual", "push", "curve"]))

    assert wild.height == 4
    assert wild["offline_sd_yd_found"].min() > steady["offline_sd_yd_found"].max()


def test_pushed_drives_are_found_to_their_side(straight):
    pushed = straight.filter(pl.col("direction_kind") == "push")

    assert pushed.height == 9
    assert (pushed["offline_mean_yd_found"].sign() == pushed["path_deg"].sign()).all()
    assert pushed["offline_mean_yd_found"].abs().min() > 10


def test_golfers_of_the_fell_have_no_straightness_and_no_curve(demo, planted, lost):
    found = beside(planted, demo.results, "straightness.csv").filter(pl.col("site") == "fell")

    assert set(found["status"]) <= {NOT_ASSESSED}
    assert found["offline_mean_yd_found"].null_count() == found.height
    assert lost.filter(pl.col("site") == "fell")["lost_curve_yd"].null_count() == 104


def test_the_curve_part_of_yards_lost_is_what_curvature_costs(lost):
    bay = lost.filter(pl.col("site") == "bay").drop_nulls("lost_curve_yd")
    error = bay["lost_curve_yd"] - bay["true_curve_yd"]
    curve = bay.filter(pl.col("direction_kind") == "curve")
    usual = bay.filter(pl.col("direction_kind") == "usual")

    assert bay.height == 131
    assert abs(error.mean()) < 0.15
    assert error.std() < 0.25
    assert bay.select(pl.corr("lost_curve_yd", "true_curve_yd")).item() > 0.98
    assert (curve["lost_curve_yd"] / curve["true_curve_yd"]).is_between(0.9, 1.1).all()
    assert curve["lost_curve_yd"].mean() > 4.0
    assert usual["lost_curve_yd"].mean() < 0.5


def test_parts_add_up_with_the_curve(lost):
    known = lost.drop_nulls("lost_yd")
    parts = known.select(pl.sum_horizontal(f"lost_{part}_yd" for part in PARTS)).to_series()

    np.testing.assert_allclose(parts, known["lost_yd"], atol=1e-9)


def test_longer_but_wilder_shows_in_progress(demo, planted):
    progress = beside(planted, demo.results, "progress.csv").filter(pl.col("quarter") == "2026Q3")
    wilder = progress.filter(pl.col("direction_kind") == "wilder")

    assert wilder.height == 2
    assert wilder["carry_verdict"].to_list() == ["better", "better"]
    assert wilder["offline_sd_change_lo90_yd"].min() > 0
    # Of the other, a slow golfer's 7 yd more, luck can't be ruled out among all golfers.
    assert sorted(wilder["offline_sd_verdict"]) == ["no_clear_change", "worse"]


def test_few_others_are_told_a_change_of_spread(demo, planted):
    progress = beside(planted, demo.results, "progress.csv").drop_nulls("offline_sd_verdict")
    same = progress.filter((pl.col("direction_kind") != "wilder") | (pl.col("quarter") != "2026Q3"))

    told = same.filter(pl.col("offline_sd_verdict") != "no_clear_change").height

    assert same.height >= 75
    # By a false discovery rate of 10 %, one false finding beside the planted ones is bad luck; two are a fault.
    assert told <= 1


def test_delivery_has_path_face_and_plane_of_the_truth(demo, planted):
    found = beside(planted, demo.results, "delivery.csv").filter(pl.col("site") == "bay").drop_nulls("path_deg_found")
    path, plane = (found[f"{name}_deg_found"] - found[f"{name}_deg"] for name in ("path", "plane"))
    face_to_path = found["face_deg"] - found["path_deg_found"] - found["face_to_path_deg"]

    assert found.height == 42
    # Three days of 0.6 deg each and some forty swings of 1.5 deg: a mean path is good to 0.4 deg, wild ones less.
    assert (abs(path.mean()) < 0.25, path.std() < 0.7) == (True, True)
    assert (abs(face_to_path.mean()) < 0.1, face_to_path.std() < 0.35) == (True, True)
    assert (abs(plane.mean()) < 0.15, plane.std() < 0.3) == (True, True)


def test_delivery_expects_start_and_axis_by_face_and_path(demo, planted):
    delivery = (
        beside(planted, demo.results, "delivery.csv").filter(pl.col("site") == "bay").drop_nulls("path_deg_found")
    )
    # The simulator's share of the face, README.md: 0.82.
    start = 0.82 * delivery["face_deg"] + 0.18 * delivery["path_deg_found"]
    curving = delivery.filter(pl.col("direction_kind") == "curve")

    assert (delivery["start_direction_deg"] - start).abs().max() < 0.3
    assert curving.height == 4
    assert (curving["spin_axis_deg"].sign() == curving["face_to_path_deg"].sign()).all()
    assert curving["spin_axis_deg"].abs().is_between(8, 18).all()


def test_path_follows_attack_by_the_planted_planes(demo, planted):
    slopes = read(demo.results / "model/delivery_slopes.csv")
    found = slopes.filter(response="path_deg", predictor="attack_deg", scope="within").row(0, named=True)
    planes = planted.filter(pl.col("site") == "bay").unique("golfer").select(pl.col("plane_deg").radians())

    geometry = -planes.select((1 / pl.col("plane_deg").tan()).mean()).item()

    assert geometry == pytest.approx(-0.78, abs=0.02)
    assert found["lo90"] <= geometry <= found["hi90"]
    assert found["hi90"] - found["lo90"] < 0.2


def test_published_spreads_of_bands_widen_with_speed(demo):
    bands = read(demo.results / "benchmarks/straightness_bands.csv").filter(quarter="2026Q3").sort("band_mph")

    assert bands["suppressed"].any() is False
    assert bands["offline_sd_p50_yd"].is_sorted()
    assert bands["in_corridor_p50"].is_sorted(descending=True)
