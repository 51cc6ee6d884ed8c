"""A tiny study for the tests of sensitivity: three devices with the same golfers on each, two quarters."""

import numpy as np
import polars as pl
from days import on_days
from fitting import candidate_named, fit_to
from frontiers import AIR, one_error

from pipeline.bands import SpeedBands
from pipeline.benchmark.efficient import Population
from pipeline.benchmark.efficient_by_speed import find_efficient, frontier_of
from pipeline.configuration.study import StandardAir
from pipeline.drives import Drives, typical_drives
from pipeline.fit.resampled import draw_counts, refit
from pipeline.fit.survey import Survey
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.golfers.flags import FlagRules
from pipeline.golfers.losses import known_losses
from pipeline.research.sensitivity.worked_out import Asked

BANDS = SpeedBands((80.0, 90.0, 100.0), 5.0)
RULES = FlagRules(6.0, 0.1, 6)
KEPT = Calibration("smits-smith-1994", 0.9, 1.0, 0.01, 0.01, [], 2000, 80, 3.0, 100.0, "")
SCORES = pl.DataFrame({"model": ["line", "quadratic"], "rmse_yd": [6.0, 4.0], "chosen": [False, True]})
COPIES = {"unit-A": 4, "unit-B": 1, "unit-C": 1}  # of the same golfers' drives


def drives_of(world_maker, ball_speed_c=1.0):
    """Copy one world's golfers to every device, half of their drives to each quarter.

    Whatever device is left out, those that remain are the same golfers. `ball_speed_c` is what unit-C makes of ball
    speed, for a bias that no share of carry takes up.
    """
    one = world_maker(seed=5, golfers=36, shots=16, noise_yd=1.0, share_b=0.0).drives
    place = pl.int_range(pl.len()).over("golfer")
    halves = one.with_columns(quarter=pl.when(place < 8).then(pl.lit("2026Q2")).otherwise(pl.lit("2026Q3")))
    copies = [
        halves.with_columns(pl.lit(device).alias("device"), golfer=pl.col("golfer") + f"{device[-1]}{copy}")
        for device, count in COPIES.items()
        for copy in range(count)
    ]
    biased = pl.when(pl.col("device") == "unit-C").then(pl.lit(ball_speed_c)).otherwise(1.0)
    return pl.concat(copies).sort("golfer", maintain_order=True).with_columns(pl.col("ball_speed_mph") * biased)


def in_air(drives):
    """Add what moves by another flight need: measured carry and air, that of standard conditions."""
    nothing = {name: pl.lit(None, pl.Float64) for name in ("altitude_m", "humidity", "wind_along_mps")}
    return drives.with_columns(
        carry_measured_yd=pl.col("carry_standard_yd"),
        temp_c=pl.lit(15.0),
        pressure_hpa=pl.lit(1013.25),
        spin_axis_deg=pl.lit(None, pl.Float64),
        **nothing,
    )


def study_of(drives, roller, seed=1):
    """Fit and judge drives as the workflow does; give what scenarios start from, the doubt and the scores."""
    survey = Survey.of(drives, seed)
    model, typical = fit_to(candidate_named("quadratic"), drives).model, typical_drives(drives, ["golfer"])
    refits = refit(model, survey.drives, typical, draw_counts(typical.height, seed, 8))
    population = Population.from_typical(typical, RULES.min_shots)
    efficient = find_efficient(model, refits, population, BANDS, 5, 5.0, roller)
    where = {"study": "hill-school", "air": AIR, "turf": "normal", "model_file": "model/model.json"}
    frontier = frontier_of(efficient, Drives.of(drives), 5.0, tolerance_yd=5.0, **where)
    dated = in_air(on_days(drives))
    asked = Asked(
        drives=Drives.of(dated),
        model=model,
        frontier=frontier,
        flight=StudyFlight(KEPT, 1.46),
        bands=BANDS,
        min_golfers=5,
        flags=RULES,
        air=StandardAir(),
        seed=seed,
        deliveries=0.8,
        strike=0.75,
    )
    doubt, _ = known_losses(dated, model, one_error(frontier), 0.0)
    return asked, doubt, SCORES


def moves_at(table, scenario):
    """Give a scenario's moves of efficient carry by band."""
    rows = table.filter((pl.col("scenario") == scenario) & pl.col("band_mph").is_not_null())
    return np.array(rows.get_column("move_yd").to_list(), dtype=float)
