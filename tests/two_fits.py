"""Two fits of the same golfers and swings, of whose drives only the device or ball is another."""

from dataclasses import replace

import numpy as np
import polars as pl
from fitting import candidate_named

from pipeline.bands import SpeedBands
from pipeline.benchmark.published import BenchmarkRules
from pipeline.configuration.study import StandardAir
from pipeline.drives import typical_drives
from pipeline.fit.factored import Factored, fit_candidate
from pipeline.fit.findings import compare
from pipeline.fit.model import Delivery
from pipeline.fit.model_changes import ComparedFit
from pipeline.fit.resampled import draw_counts, refit
from pipeline.fit.shares import find_shares
from pipeline.fit.survey import Survey
from pipeline.fit.usual_delivery import fit_usual_delivery
from pipeline.flight.calibrate import Calibration
from pipeline.flight.devices import NO_DEVICES
from pipeline.research.model_comparison import Side

FORM = candidate_named("quadratic")
FLIGHT = Calibration("smits-smith-1994", 1.0, 1.0, None, None, [], 0, 0, None, None, "")
RULES = BenchmarkRules(SpeedBands.of((80, 90, 100), 5.0), min_shots=12, min_golfers=5, tolerance_yd=5.0)
SHOTS = 15
REPLICATES = 40


def swings(world_maker):
    """Make drives of 50 golfers at sea level, all on unit-A with the ball premium."""
    drives = world_maker(golfers=50, shots=SHOTS, noise_yd=0.5, share_b=0.0).drives
    unknown = [pl.lit(None, pl.Float64).alias(name) for name in ("pressure_hpa", "humidity", "wind_along_mps")]
    return drives.with_columns(
        *unknown,
        device=pl.lit("unit-A"),
        temp_c=pl.lit(15.0),
        altitude_m=pl.lit(0.0),
        carry_measured_yd=pl.col("carry_standard_yd"),
        struck_on=pl.date(2026, 7, 1) + pl.duration(days=pl.int_range(pl.len()) % SHOTS // 8),
    )


def with_others(drives, of_fifteen, column="device", name="unit-B", reads=0.98):
    """Put some of each golfer's 15 drives on another device, or hit them with another ball, which reads a share."""
    other = pl.int_range(pl.len()) % SHOTS < of_fifteen
    carry = [pl.col(c) * pl.when(other).then(reads).otherwise(1.0) for c in ("carry_standard_yd", "carry_measured_yd")]
    named = pl.when(other).then(pl.lit(name)).otherwise(pl.col(column)).alias(column)
    return drives.with_columns(named, *carry)


def side_of(drives, name):
    """Fit drives as the workflow does, with fewer resampled golfers."""
    survey = Survey.of(drives, 1)
    factored = Factored.of(survey, FORM.surface(survey.extents))
    found = fit_candidate(factored, survey, fit_usual_delivery(survey.typical))
    typical = typical_drives(drives, ["golfer"])
    refits = refit(found.model, survey.drives, typical, draw_counts(typical.height, 1, REPLICATES))
    shares = find_shares(found.model, drives, refits, typical)
    lo, hi = found.fit.edges90
    terms = pl.DataFrame({"term": found.labels, "estimate": found.fit.coefficients, "lo90": lo, "hi90": hi})
    fit = ComparedFit(name, shares.of_model(found.model), terms, typical, ("2026Q3",), typical.height, drives.height,
                      StandardAir(), FLIGHT, 1.46)  # fmt: skip
    return Side(fit, replace(refits, offset_share=shares.draws), RULES)


def compared(old, new, drives, devices=NO_DEVICES):
    """Compare two sides on the drives of the new one."""
    survey = Survey.of(drives, 1)
    speeds = np.arange(78.0, 103.0)
    n = len(speeds)
    efficient = Delivery(speeds, np.full(n, np.nan), np.full(n, 14.0), np.full(n, 2700.0))
    return compare(old.fit, new.fit, FORM.surface(survey.extents), survey, efficient, {}, devices=devices)
