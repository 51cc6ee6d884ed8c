"""The step `assess_landing` on a study in closed form."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from goal_samples import sample_frontier, sample_golfers, sample_model, sample_place
from rows import table_of

from pipeline.benchmark.reach import Reach
from pipeline.coach.landing.assess_landing import run
from pipeline.coach.landing.landing_tables import NOT_REACHED, USUAL_SPIN, USUAL_STRIKE
from pipeline.edge.artefacts import write_artefact
from pipeline.edge.files import write_csv
from pipeline.edge.tables_file import read_table
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.physics.trajectory import RPM
from pipeline.physics.turf import FIRMNESS, NEIGHBORS, run_m
from pipeline.tables.figures import BandTable
from pipeline.tables.landing import TURFS, LandingBands, Landings

SPEEDS = range(80, 111)
FILES = ("bands", "golfers", "frontier", "model", "calibration", "landing", "landing_bands_csv")


def sample_reach():
    launch, spin = np.arange(8, 20.1, 0.25), np.arange(1300, 4301, 50.0)
    inside = ((launch[:, None] - 14) / 2) ** 2 + ((spin - 2800) / 500) ** 2 <= 1
    return Reach.of(launch, spin, [inside] * len(SPEEDS), [np.zeros((13, 16))] * len(SPEEDS))


def sample_bands():
    """Bands of 70 to 100 mph: nobody reaches the first, too few golfers are in the last of the newest quarter."""
    rows = [
        {
            "quarter": quarter,
            "band_mph": band,
            "suppressed": quarter == "2026Q3" and band == 100.0,
            "efficient_carry_yd": None if band == 70.0 else 2.96 * band - 34,
            "note": "fewer than 5 golfers: their figures are suppressed" if band == 100.0 else None,
        }
        for quarter in ("2026Q2", "2026Q3")
        for band in (70.0, 80.0, 90.0, 100.0)
    ]
    return table_of(BandTable, rows)


def assessed(tmp_path, golfers, frontier=None):
    at = {name: str(tmp_path / name) for name in FILES}
    write_csv(tmp_path / "bands", sample_bands())
    write_csv(tmp_path / "golfers", golfers)
    write_artefact(at["frontier"], frontier or study_frontier())
    write_artefact(at["model"], FittedModel("hill", sample_model(), FittedOn(41, 2, ("2026Q2", "2026Q3"))))
    flight = Calibration("smits-smith-1994", 0.9, 1.0, None, None, [], 0, 0, None, None, "")
    write_artefact(at["calibration"], StudyFlight(flight, None))
    run(**at)
    return read_table(at["landing"], Landings), read_table(at["landing_bands_csv"], LandingBands)


def study_frontier():
    """Efficient carry of `sample_model`, at the highest launch that is reached, and most total of all launches."""
    speeds = np.array(SPEEDS, dtype=float)
    launches = np.arange(12, 16.1, 0.25)
    drives = [part.ravel() for part in np.meshgrid(1.48 * speeds, launches, 2800.0, indexing="ij")]
    run = sample_place().change_and_run_yd(*drives)[1].reshape(len(speeds), -1)
    totals = 2 * 1.48 * speeds[:, None] - 40 + 3 * (launches - 14) + run
    carry = 2 * 1.48 * speeds - 34
    columns = {"carry_yd": carry, "lo90_yd": carry - 1, "hi90_yd": carry + 1, "total_yd": totals.max(axis=1)}
    columns |= {"launch_deg": np.full(len(speeds), 16.0), "total_launch_deg": launches[totals.argmax(axis=1)]}
    return replace(sample_frontier(), reach=sample_reach(), total_spin_rpm=np.full(len(speeds), 2800.0), **columns)


GOLFERS = (
    {"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0},
    {"club_speed_mph": 88.5, "carry_yd": 200.0, "own_error_yd": 1.0, "spin_rpm": None},
    {"club_speed_mph": 95.0, "carry_yd": 215.0, "own_error_yd": 1.0, "ball_speed_mph": None},
    {"club_speed_mph": 120.0, "carry_yd": 260.0, "own_error_yd": 1.0},
    {"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0, "shots": 5, "status": "not_assessed"},
)


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    return assessed(tmp_path_factory.mktemp("landing"), sample_golfers(*GOLFERS))


def test_every_assessed_golfer_has_a_row_per_turf(tables):
    landings, _ = tables
    names = [f"g{number:016x}" for number in range(4)]
    assert landings.select(pl.col("golfer", "turf").cast(pl.String)).rows() == [
        (one, turf) for one in names for turf in TURFS
    ]


def test_carry_and_run_add_up_and_are_those_of_the_typical_drive(tables):
    landings, _ = tables
    assert (landings["carry_yd"] + landings["run_yd"] - landings["total_yd"]).abs().max() < 1e-9
    row = landings.row(1, named=True)
    landing = sample_place().here.landing(sample_place().ball, *(np.array([x]) for x in (1.40 * 92, 14.0, 2800.0)))
    at = landing.speed_mps, landing.descent_deg, landing.spin_rpm * RPM
    normal = FIRMNESS["normal"]
    runs = [float(run_m(*at, turf)[0]) / 0.9144 for turf in (normal, *NEIGHBORS[normal])]
    assert row["turf"] == "normal"
    assert row["descent_deg"] == pytest.approx(float(landing.descent_deg[0]))
    assert [row["run_yd"], row["run_lo90_yd"], row["run_hi90_yd"]] == pytest.approx(runs)
    lost = sample_golfers(*GOLFERS).row(0, named=True)
    below = np.hypot(lost["lost_hi90_yd"] - lost["lost_yd"], runs[0] - runs[1])
    assert row["total_lo90_yd"] == pytest.approx(210.0 + runs[0] - below)


def test_firmer_turf_goes_farther(tables):
    landings, _ = tables
    for name in ("run_yd", "total_yd"):
        by_turf = landings.select(pl.col(name).filter(pl.col("turf") == turf).alias(turf) for turf in TURFS)
        assert (
            by_turf.select((pl.col("soft") < pl.col("normal")) & (pl.col("normal") < pl.col("firm"))).to_series().all()
        )


def test_best_totals_gain_and_cost_no_less_than_nothing(tables):
    for table in tables:
        known = table.drop_nulls("best_total_yd")
        total = known["efficient_drive_total_yd" if "golfer" in table.columns else "total_yd"]
        assert known.height == (9 if "golfer" in table.columns else 6)
        assert known["total_gain_yd"].min() >= 0
        assert known["carry_cost_yd"].min() >= 0
        assert (known["best_total_yd"] - total).min() >= -0.75
        rounding = 0.0 if "golfer" in table.columns else 1.5  # figures of bands are whole yards
        assert (known["best_total_yd"] - total - known["total_gain_yd"]).abs().max() < 0.75 + rounding


def test_what_isnt_known_is_usual_and_said(tables):
    landings, _ = tables
    figures = ["descent_deg", "run_yd", "run_lo90_yd", "run_hi90_yd", "total_yd", "total_lo90_yd", "total_hi90_yd"]
    assert landings.select(pl.col(figures).is_null().any()).row(0) == (False,) * 7
    assert landings.select(pl.selectors.float().is_nan().any()).row(0).count(True) == 0
    assert landings["note"].to_list() == [
        note for note in (None, USUAL_SPIN, USUAL_STRIKE, NOT_REACHED) for _ in TURFS
    ]  # fmt: skip
    assert landings.filter(pl.col("note") == NOT_REACHED)["best_total_yd"].to_list() == [None] * 3


def test_bands_are_told_from_the_frontier_and_suppressed_as_bands_are(tables):
    _, bands = tables
    assert bands.select("band_mph", pl.col("turf").cast(pl.String)).rows() == [
        (band, turf) for band in (70.0, 80.0, 90.0, 100.0) for turf in TURFS
    ]
    assert bands["suppressed"].to_list() == [False] * 9 + [True] * 3
    figures = bands.select(pl.exclude("band_mph", "turf", "suppressed", "note"))
    empty = figures.select(pl.all_horizontal(pl.all().is_null())).to_series().to_list()
    assert empty == [True] * 3 + [False] * 6 + [True] * 3
    assert (
        bands["note"].to_list()
        == [NOT_REACHED] * 3 + [None] * 6 + ["fewer than 5 golfers: their figures are suppressed"] * 3
    )


def test_nothing_of_a_golfer_enters_the_bands(tmp_path, tables):
    others = assessed(tmp_path, sample_golfers({"club_speed_mph": 90.0, "carry_yd": 180.0, "own_error_yd": 3.0}))[1]
    assert others.equals(tables[1])


def test_a_study_without_assessed_golfers_or_benchmarks_has_empty_tables(tmp_path):
    nobody = sample_golfers(*GOLFERS[-1:])
    landings, bands = assessed(tmp_path, nobody, sample_frontier(speeds=[]))
    assert landings.is_empty()
    assert bands["run_yd"].null_count() == bands.height == 12
