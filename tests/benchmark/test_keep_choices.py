"""A new fit is compared with a kept one by the study's own folds and candidates."""

import polars as pl
from frontiers import frontier_at

from pipeline.benchmark import keep_model
from pipeline.configuration.study import Model
from pipeline.edge.artefacts import write_artefact
from pipeline.edge.files import write_csv
from pipeline.fit import fit_model
from pipeline.fit.kept import FILES
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.flight.calibrate_flight import calibration_table

AIR = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}
IN_AIR = {"altitude_m": 0.0, "temp_c": 15.0, "humidity": 0.0, "wind_along_mps": 0.0, "pressure_hpa": None}


def fitted(drives, folder, choices):
    """Fit drives and judge the fit; give the verdict's text."""
    folder.mkdir()
    measured = pl.col("carry_standard_yd").alias("carry_measured_yd")
    air = [pl.lit(value, pl.Float64).alias(name) for name, value in IN_AIR.items()]
    drives.with_columns(measured, *air).write_parquet(folder / "drives.parquet")
    calibration = Calibration("smits-smith-1994", 0.95, 1.0, None, None, [], 0, 0, None, None, "")
    write_artefact(folder / "calibration.json", StudyFlight(calibration, 1.46))
    write_csv(folder / "calibrations.csv", calibration_table(calibration, [calibration]))
    write_artefact(folder / "frontier.json", frontier_at([80.0, 90.0]))
    files = {name: str(folder / file) for name, file in FILES.items()}
    parts = {name: path for name, path in files.items() if name != "calibrations"}
    shared = {"drives": str(folder / "drives.parquet"), "study": "hill", "choices": choices.model_dump(mode="json")}
    fit_model.run(**parts, **shared, held_out=str(folder / "held_out.parquet"), seed=1, air=AIR, strike=0.75)
    kept = folder.parent / "kept"
    keep_model.run(
        **files,
        **shared,
        frontier=str(folder / "frontier.json"),
        old=sorted(str(path) for path in kept.glob("*/*")),
        comparison=str(folder / "comparison.md"),
        verdict=str(folder / "verdict.json"),
        kept=str(kept),
        settings={"air": AIR, "coefficients": "best", "seed": 1},
        centres=[80.0, 90.0],
    )
    return (folder / "comparison.md").read_text(encoding="utf-8")


def test_a_fit_is_compared_by_the_studys_folds_and_its_own_candidate(tmp_path, world_maker):
    drives = world_maker(golfers=40).drives
    # The kept form is one that competes no more.
    first = Model(candidates=["line"], folds=5, replicates=50)
    assert "the study's first model" in fitted(drives, tmp_path / "first", first)
    second = Model(candidates=["quadratic"], folds=5, replicates=50)
    text = fitted(drives, tmp_path / "second", second)
    assert "**Adopt the new model" in text
    assert "The new model is fitted again without each fold of the golfers, and predicts that fold." in text
    assert len(list((tmp_path / "kept").iterdir())) == 2
