"""What a study calls efficient changes of the benchmarks what it should; a model keeps the strike of its fit."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.benchmark import build_bands
from pipeline.benchmark.efficient_by_speed import find_efficient
from pipeline.benchmark.frontier import Frontier
from pipeline.drives import typical_drives
from pipeline.edge.artefacts import read_arrays, read_artefact, write_arrays, write_artefact
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.fit.resampled import draw_counts, refit
from pipeline.fit.usual_delivery import fit_usual_delivery
from pipeline.flight.curve import SIDE_COLUMNS
from pipeline.flight.devices import NO_DEVICES
from pipeline.flight.standard import AirNodes, StudyTables

AIR = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}
PERCENTILES = [f"carry_p{level}_yd" for level in (25, 50, 75, 90)]


@pytest.fixture(scope="module")
def built(world_maker, roller, tmp_path_factory):
    """Build the bands of golfers from 82 to 98 mph; give the frontier, the bands and the model's efficient ratio."""
    root = tmp_path_factory.mktemp("bands")
    in_air = {"carry_measured_yd": pl.col("carry_standard_yd"), "pressure_hpa": pl.lit(None, pl.Float64)}
    in_air |= {"altitude_m": pl.lit(0.0), "temp_c": pl.lit(15.0), "humidity": pl.lit(0.0)}
    in_air |= {"wind_along_mps": pl.lit(0.0), "curve_yd": pl.lit(None, pl.Float64)}
    in_air |= dict.fromkeys(SIDE_COLUMNS, pl.lit(None, pl.Float64))
    named = world_maker().golfers.filter(pl.col("club_speed_mph").is_between(82, 98))
    drives = world_maker().drives.filter(pl.col("golfer").is_in(named["golfer"].implode()))
    drives.with_columns(**in_air).write_parquet(root / "drives.parquet")
    typical = typical_drives(drives, ["golfer"])
    typical.write_parquet(root / "typical.parquet")
    write_arrays(root / "tables.npz", StudyTables(roller.table, AirNodes([], np.zeros(0), np.zeros(0)), []).to_arrays())
    write_artefact(root / "devices.json", NO_DEVICES)
    fitted = fit_to(candidate_named("quadratic"), drives).model
    made, calls = {}, {}

    def with_choices(strike=0.75, deliveries=0.8):
        if (strike, deliveries) in made:
            return made[strike, deliveries]
        model = replace(fitted, usual=fit_usual_delivery(typical, strike))
        folder = root / f"{strike}_{deliveries}"
        (folder / "benchmarks").mkdir(parents=True)
        (folder / "model").mkdir()
        for former in ("frontier.json", "chart.json", "guide.json"):
            (folder / "benchmarks" / former).write_text("{}", encoding="utf-8")
        write_artefact(
            folder / "model.json", FittedModel("hill", model, FittedOn(drives.height, typical.height, ("2026Q3",)))
        )
        write_arrays(
            folder / "replicates.npz", refit(model, drives, typical, draw_counts(typical.height, 1, 20)).to_arrays()
        )
        out = {"csv": "benchmarks/bands.csv", "parquet": "benchmarks/bands.parquet"}
        out |= {"frontier": "model/frontier.json", "chart": "model/chart.json"}
        paths = dict(
            **{name: str(root / f"{name}.parquet") for name in ("drives", "typical")},
            model=str(folder / "model.json"),
            replicates=str(folder / "replicates.npz"),
            tables=str(root / "tables.npz"),
            devices=str(root / "devices.json"),
            **{name: str(folder / file) for name, file in out.items()},
            efficient_replicates=str(folder / "efficient_replicates.npz"),
            efficient=str(folder / "efficient.npz"),
        )
        choices = {
            "about": {"study": "hill", "air": AIR, "turf": "normal", "units": "yards"},
            "bands": {"centres": [85, 95], "half_width_mph": 5},
            "window_tolerance_yd": 5.0,
            "min_shots": 12,
            "min_golfers": 5,
            "deliveries": deliveries,
        }
        build_bands.run(**paths, **choices, code="this code")
        # What earlier versions wrote there is gone: it must not be published.
        assert {path.name for path in (folder / "benchmarks").iterdir()} == {"bands.csv", "bands.parquet"}
        frontier = read_artefact(folder / "model/frontier.json", Frontier)
        errors = read_arrays(folder / "efficient_replicates.npz")
        assert errors["error_yd"].shape == (20, len(frontier.speed_mph))
        calls[strike, deliveries] = paths, choices
        made[strike, deliveries] = frontier, pl.read_csv(folder / "benchmarks/bands.csv"), model.usual.better_ratio
        return made[strike, deliveries]

    with_choices.calls = calls
    return with_choices


def test_a_model_keeps_the_strike_that_it_was_fitted_with(built):
    (plain, bands, quarter), (tenth, same, better) = built(), built(strike=0.9)
    assert (plain.strike, tenth.strike) == (0.75, 0.9)
    # Carry goes by 1.7 yd per mph of ball speed where launch and spin are best.
    more = 1.7 * 90 * float(better(90.0) - quarter(90.0))
    assert more > 0.5
    assert tenth.at("carry_yd", 90.0) - plain.at("carry_yd", 90.0) == pytest.approx(more, rel=0.15)
    # Golfers' own drives are what they were, and so is what is reachable.
    assert same.select(PERCENTILES).equals(bands.select(PERCENTILES))
    np.testing.assert_array_equal(tenth.reach.masks, plain.reach.masks)


def test_the_share_of_deliveries_moves_what_is_reachable_and_no_golfers(built):
    (plain, bands, _), (wide, same, _) = built(), built(deliveries=0.95)
    assert wide.reach.masks.sum() > 1.5 * plain.reach.masks.sum()
    assert bands.select(PERCENTILES).equals(same.select(PERCENTILES))
    assert wide.strike == plain.strike
    assert (wide.carry_yd >= plain.carry_yd - 1e-9).all()


def test_what_is_efficient_is_taken_from_the_last_run_of_the_same_model(built, tmp_path, capsys, monkeypatch):
    built()
    paths, choices = built.calls[0.75, 0.8]
    outputs = ("csv", "parquet", "frontier", "efficient_replicates", "chart")
    for name in outputs:
        (tmp_path / Path(paths[name]).parent.name).mkdir(exist_ok=True)
    again = paths | {name: str(tmp_path / Path(paths[name]).parent.name / Path(paths[name]).name) for name in outputs}
    asked = []
    monkeypatch.setattr(build_bands, "find_efficient", lambda *about: asked.append(about) or find_efficient(*about))
    capsys.readouterr()
    build_bands.run(**again, **choices, code="this code")
    assert asked == []
    assert "is taken from there" in capsys.readouterr().out
    for name in ("csv", "parquet", "efficient_replicates", "chart"):
        assert Path(again[name]).read_bytes() == Path(paths[name]).read_bytes(), name
    # Other drives of the same model: nothing but their bands is calculated anew.
    fewer = pl.read_parquet(paths["drives"]).filter(pl.int_range(pl.len()) % 7 != 0)
    fewer.write_parquet(other := tmp_path / "fewer.parquet")
    build_bands.run(**again | {"drives": str(other)}, **choices, code="this code")
    assert asked == []
    assert Path(again["csv"]).read_bytes() != Path(paths["csv"]).read_bytes()
    apart = again | {"efficient": str(tmp_path / "efficient.npz")}
    for count, changed in enumerate([{"deliveries": 0.9}, {"window_tolerance_yd": 4.0}, {"code": "other code"}], 1):
        shutil.copy(paths["efficient"], apart["efficient"])
        build_bands.run(**apart, **{**choices, "code": "this code", **changed})
        assert len(asked) == count, changed
    Path(apart["efficient"]).write_bytes(b"damaged")
    build_bands.run(**apart, **choices, code="this code")
    assert len(asked) == 4
