"""Calibrations of the flight sets that a study doesn't use, to see what each would make of it."""

from collections.abc import Sequence
from typing import Any

import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.drives import Drives
from pipeline.flight.calibrate import Calibration, Sample, calibrate
from pipeline.threads import in_order


def other_sets(
    kept: Calibration, tried: pl.DataFrame, sets: Sequence[str], drives: Drives, air: StandardAir, seed: int
) -> list[Calibration]:
    """Give a calibration of each of a study's sets but the kept one.

    Parameters
    ----------
    kept : Calibration
    tried : DataFrame
        The table `Calibrations`. A set that stands there unfitted, or not at all, is fitted here.
    sets : sequence of str
    drives : Drives
        golfer, device, ball, ball_speed_mph, launch_deg, spin_rpm, spin_measured, carry_measured_yd and `AIR_COLUMNS`.
    air : StandardAir
    seed : int

    Returns
    -------
    list of Calibration
        By name.
    """
    names = sorted(set(sets) - {kept.coefficients})
    fitted = {row["coefficients"]: _of_row(row) for row in tried.drop_nulls("drag_std_error").iter_rows(named=True)}
    missing = [name for name in names if name not in fitted]
    if missing:
        texts = drives.mapped(lambda frame: frame.with_columns(pl.col("golfer").cast(pl.String)))
        sample = Sample.of(texts.read, seed)
        found = in_order(lambda name: calibrate(sample, name, air.temp_c, air.pressure_hpa, seed), missing)
        fitted |= dict(zip(missing, found, strict=True))
    return [fitted[name] for name in names]


def _of_row(row: dict[str, Any]) -> Calibration:
    names = ("coefficients", "drag", "lift", "drag_std_error", "lift_std_error", "drives", "golfers", "residual_sd_yd")
    return Calibration(**{name: row[name] for name in names}, offsets=[], loss=None, note=str(row["note"]))
