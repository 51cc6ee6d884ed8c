"""A new fit is compared with a kept one by the study's own folds and candidates."""

import shutil
from datetime import date

import numpy as np
import polars as pl
import pytest

from pipeline.configuration.study import Model
from pipeline.drives import Drives
from pipeline.edge.artefacts import read_artefact, write_arrays, write_artefact
from pipeline.edge.files import write_csv
from pipeline.fit import comparison, fit_model, keep_model
from pipeline.fit.comparison import Scored
from pipeline.fit.kept import FILES
from pipeline.fit.verdict import ModelVerdict
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.flight.calibrate_flight import calibration_table
from pipeline.flight.devices import NO_DEVICES
from pipeline.flight.standard import AirNodes, StudyTables
from pipeline.physics.ball import Ball
from pipeline.physics.flight_table import FlightTable

SIDE = ("curve_yd", "launch_side_deg", "spin_axis_deg", "wind_cross_mps")  # nobody read them
AIR = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}
IN_AIR = {"altitude_m": 0.0, "temp_c": 15.0, "humidity": 0.0, "wind_along_mps": 0.0, "pressure_hpa": None}


def grid_of(drag):
    """Give a grid of a ball in an air that no drive was hit in, so that nothing is read from it."""
    return FlightTable(Ball("smits-smith-1994", drag), 0.9, 1.8e-5, np.zeros(1))


def fitted(drives, folder, choices, drag=0.95, flight=""):
    """Fit drives and judge the fit; give the scores that it was judged by. `flight` stamps the grids that are kept."""
    folder.mkdir()
    measured = pl.col("carry_standard_yd").alias("carry_measured_yd")
    air = [pl.lit(value, pl.Float64).alias(name) for name, value in IN_AIR.items()]
    keys = {"source": pl.lit("a.csv"), "row": pl.int_range(1, pl.len() + 1), "struck_on": pl.lit(date(2026, 8, 1))}
    keys |= {name: pl.lit(None, pl.Float64) for name in SIDE}
    drives.with_columns(measured, *air, **keys).write_parquet(folder / "drives.parquet")
    calibration = Calibration("smits-smith-1994", drag, 1.0, None, None, [], 0, 0, None, None, "")
    write_artefact(folder / "calibration.json", StudyFlight(calibration, 1.46))
    write_csv(folder / "calibrations.csv", calibration_table(calibration, [calibration]))
    write_artefact(folder / "devices.json", NO_DEVICES)
    (folder / "card.md").write_text("# Card\n", encoding="utf-8")
    files = {name: str(folder / file) for name, file in FILES.items()}
    parts = {name: path for name, path in files.items() if name not in ("calibrations", "card")}
    shared = {"drives": str(folder / "drives.parquet")}
    settings = {"choices": choices.model_dump(mode="json"), "strike": 0.75, "own": []}
    held_out = str(folder / "held_out.parquet")
    fit_model.run(**parts, **shared, **settings, study="hill", held_out=held_out, seed=1, air=AIR)
    kept = folder.parent / "kept"
    own = StudyTables(grid_of(drag), AirNodes([], np.zeros(0), np.zeros(0)), [])
    write_arrays(folder / "tables.npz", own.to_arrays())
    keep_model.run(
        **files,
        **shared,
        tables=str(folder / "tables.npz"),
        devices=str(folder / "devices.json"),
        grids=str(folder.parent / "grids.npz"),
        flight=flight,
        old=sorted(str(path) for path in kept.glob("*/*")),
        verdict=str(folder / "verdict.json"),
        scored=str(folder / "held_against.json"),
        kept=str(kept),
        settings={"air": AIR, "seed": 1, "model": choices.model_dump(mode="json")},
        folds=choices.folds,
        golfers=1.0,
    )
    return read_artefact(folder / "held_against.json", Scored), read_artefact(folder / "verdict.json", ModelVerdict)


# With every reading from the file, and with drives held in memory: lower them with what they count.
MOST_PASSES, MOST_READINGS = 12, 2


@pytest.mark.parametrize(("most_kept", "most_passes"), [(0, MOST_PASSES), (keep_model.MOST_KEPT, MOST_READINGS)])
def test_a_fit_is_judged_in_few_readings_and_one_flight_of_the_drives(
    tmp_path, world_maker, monkeypatch, most_kept, most_passes
):
    passes, flown, opened, flight = [], [], keep_model.open_to_compare, comparison.standard_flight

    def counting(*given):
        drives = opened(*given)
        return Drives(lambda: passes.append(1) or drives.read())

    def flying(drives, *given):
        flown.append(drives.height)
        return flight(drives, *given)

    drives = world_maker(golfers=40).drives
    line = Model(candidates=["line"], folds=5, replicates=50)
    fitted(drives, tmp_path / "first", line)
    monkeypatch.setattr(keep_model, "open_to_compare", counting)
    monkeypatch.setattr(comparison, "standard_flight", flying)
    monkeypatch.setattr(keep_model, "MOST_KEPT", most_kept)
    # The kept model has another calibration, so that the drives are moved by it.
    _, second = fitted(drives, tmp_path / "second", line, drag=0.97)
    assert second.parent is not None
    assert 0 < len(passes) <= most_passes
    assert sum(flown) == drives.height


def test_grids_of_the_last_comparison_are_not_flown_again(tmp_path, world_maker, monkeypatch):
    flown, build_each = [], FlightTable.build_each

    def counting(ball, airs):
        flown.extend([ball.drag] * len(airs))
        return build_each(ball, airs)

    monkeypatch.setattr(FlightTable, "build_each", counting)
    drives, line = world_maker(golfers=40).drives, Model(candidates=["line"], folds=5, replicates=50)
    fitted(drives, tmp_path / "first", line, flight="of some code")
    assert flown == []
    (first,) = (tmp_path / "kept").iterdir()
    judged = []
    for name in ("second", "third"):
        judged.append(fitted(drives, tmp_path / name, line, drag=0.97, flight="of some code")[0])
        assert flown == [0.95]  # by the kept ball, in the air of all drives, once
        grids = keep_model.read_grids(str(tmp_path / "grids.npz"), "of some code")
        assert sorted(table.ball.drag for table in grids.values()) == [0.95, 0.95, 0.97]
        (new,) = set((tmp_path / "kept").iterdir()) - {first}
        shutil.rmtree(new)
    assert judged[0] == judged[1]
    assert keep_model.read_grids(str(tmp_path / "grids.npz"), "of other code") == {}
    fitted(drives, tmp_path / "fourth", line, drag=0.97, flight="of other code")
    assert flown == [0.95, 0.95]


def test_a_fit_is_judged_by_the_studys_folds_and_its_own_candidate(tmp_path, world_maker):
    drives = world_maker(golfers=40).drives
    # The kept form is one that competes no more.
    _, first = fitted(drives, tmp_path / "first", Model(candidates=["line"], folds=5, replicates=50))
    scored, second = fitted(drives, tmp_path / "second", Model(candidates=["quadratic"], folds=5, replicates=50))

    assert (first.verdict, second.verdict) == ("first", "adopt")
    assert second.parent == first.id
    assert scored.folds == 5
    assert scored.on_all.new_rmse_yd < scored.on_all.old_rmse_yd
    assert len(list((tmp_path / "kept").iterdir())) == 2
