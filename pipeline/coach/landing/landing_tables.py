"""The tables of landing: bands and golfers on soft, normal and firm turf, in the study's standard air and calm."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.benchmark.disclosure import modelled
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.frontier_here import frontier_in
from pipeline.benchmark.landing import EfficientLandings
from pipeline.benchmark.run_and_conditions import Place, total_interval_yd
from pipeline.coach.goals.needed_speed import Present
from pipeline.fit.model import CarryModel
from pipeline.statistics.arrays import Array
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers
from pipeline.tables.landing import LandingBands, Landings

# What of `EfficientLandings` tables of bands and of golfers have under the same name.
OF_EFFICIENT = ("descent_deg", "run_yd", "run_lo90_yd", "run_hi90_yd", "total_yd", "total_lo90_yd", "total_hi90_yd")
OF_BEST = (
    "best_launch_deg", "best_spin_rpm", "best_descent_deg", "best_carry_yd",
    "best_total_yd", "best_total_lo90_yd", "best_total_hi90_yd", "carry_cost_yd", "total_gain_yd",
)  # fmt: skip

DESCENT_DECIMALS = 1

NOT_REACHED = "too few golfers of about this club speed to say what is best"
USUAL_SPIN = "the usual spin at this club speed stands in for the golfer's"
USUAL_STRIKE = "the usual strike at this club speed stands in for the golfer's"


@dataclass(frozen=True)
class OnTurf:
    """A turf in the study's standard air: the place, its frontier, and how that frontier's best drives land."""

    place: Place
    frontier: Frontier
    landings: EfficientLandings

    @classmethod
    def of(cls, frontier: Frontier, model: CarryModel, place: Place) -> "OnTurf":
        """Work out the frontier of a place, given that of standard conditions."""
        there = frontier_in(frontier, model, place)
        return cls(place, there, EfficientLandings.of(there, model, place))

    def at(self, names: tuple[str, ...], club_speed_mph: Array) -> dict[str, Array]:
        """Give columns of the landings at club speeds; NaN out of reach."""
        return {name: self.frontier.at(getattr(self.landings, name), club_speed_mph) for name in names}


def landing_bands(turfs: Mapping[str, OnTurf], bands: pl.DataFrame) -> pl.DataFrame:
    """Say how efficient drives of bands land, from what the frontier tells of each club speed, as it may be published.

    Parameters
    ----------
    turfs : mapping of str to OnTurf
        By the name of the turf.
    bands : DataFrame
        The table `BandTable`. Its newest quarter says which bands are suppressed.

    Returns
    -------
    DataFrame
        The table `LandingBands`.
    """
    newest = BandTable.validate(bands).filter(pl.col("quarter") == pl.col("quarter").max())
    told = newest.select("band_mph", "efficient_carry_yd", "suppressed", pl.col("note").alias("why")).sort("band_mph")
    centers = told.get_column("band_mph").to_numpy()
    parts = [
        told.with_columns(pl.lit(turf).alias("turf"), *_columns(_coarse(there.at((*OF_EFFICIENT, *OF_BEST), centers))))
        for turf, there in turfs.items()
    ]
    figures = ["efficient_carry_yd", *OF_EFFICIENT, *OF_BEST]
    reached = pl.col("efficient_carry_yd").is_not_null()
    note = pl.when("suppressed").then("why").when(~reached).then(pl.lit(NOT_REACHED)).alias("note")
    return (
        pl.concat(parts)
        .with_columns(note, *(pl.when(~pl.col("suppressed") & reached).then(name).alias(name) for name in figures))
        .with_columns(pl.col("turf").cast(LandingBands.turf.dtype))
        .sort("band_mph", "turf")
        .select(LandingBands.column_names())
    )


def landings_of(turfs: Mapping[str, OnTurf], golfers: pl.DataFrame, model: CarryModel) -> pl.DataFrame:
    """Say how golfers' typical drives land, and what is best for total at their club speed.

    Parameters
    ----------
    turfs : mapping of str to OnTurf
        By the name of the turf.
    golfers : DataFrame
        The table `Golfers`. Those assessed in its newest quarter count.
    model : CarryModel

    Returns
    -------
    DataFrame
        The table `Landings`: each golfer's rows together, in the table's order.

    Notes
    -----
    A golfer's total is the mean carry, mishits and all, and the run of the typical drive, as that of bands is.
    """
    newest = pl.col("quarter") == pl.col("quarter").max()
    now = Golfers.validate(golfers).filter(newest & (pl.col("status").cast(pl.String) != "not_assessed"))
    if now.is_empty() or not turfs:
        return Landings.create_empty()
    parts = [_on(turf, there, now, model) for turf, there in turfs.items()]
    found = pl.concat(parts).with_columns(pl.col("turf").cast(Landings.turf.dtype))
    return found.sort("place", "turf").select(Landings.column_names())


def _on(turf: str, there: OnTurf, golfers: pl.DataFrame, model: CarryModel) -> pl.DataFrame:
    present = Present.of(golfers, there.frontier, model)
    drive = present.drive.broadcast()
    ball = drive.club_speed_mph * model.ratio(drive)
    landing = there.place.here.landing(there.place.ball, ball, drive.launch_deg, drive.spin_rpm)
    run, run_lo, run_hi = there.place.run_interval_yd(landing)
    total = present.carry_yd + run
    interval = (present.carry_yd, present.lo90_yd, present.hi90_yd), (run, run_lo, run_hi)
    total_lo, total_hi = total_interval_yd(total, *interval)
    figures = {
        "descent_deg": landing.descent_deg,
        **{"run_yd": run, "run_lo90_yd": run_lo, "run_hi90_yd": run_hi},
        **{"total_yd": total, "total_lo90_yd": total_lo, "total_hi90_yd": total_hi},
        "efficient_drive_total_yd": there.frontier.at(there.landings.total_yd, drive.club_speed_mph),
        **there.at(OF_BEST, drive.club_speed_mph),
    }
    notes = [
        pl.when(pl.col("spin_rpm").is_null()).then(pl.lit(USUAL_SPIN)),
        pl.when(pl.col("ball_speed_mph").is_null()).then(pl.lit(USUAL_STRIKE)),
        pl.when(~pl.Series(there.frontier.reaches(drive.club_speed_mph))).then(pl.lit(NOT_REACHED)),
    ]
    note = pl.concat_str(notes, separator="; ", ignore_nulls=True).replace("", None).alias("note")
    kept = golfers.select("golfer", "quarter", "club_speed_mph", "carry_yd", note).with_row_index("place")
    return kept.with_columns(pl.lit(turf).alias("turf"), *_columns(figures))


def _coarse(figures: Mapping[str, Array]) -> dict[str, Array]:
    """Round figures of the model to be published: whole yards and tenths of a degree; deliveries are on a grid."""
    found = dict(figures)
    for name, values in figures.items():
        if name.endswith("_yd"):
            found[name] = np.array([modelled(float(value)) for value in values])
        elif name.endswith("descent_deg"):
            found[name] = np.array([modelled(float(value), DESCENT_DECIMALS) for value in values])
    return found


def _columns(figures: Mapping[str, Array]) -> list[pl.Series]:
    return [pl.Series(name, np.asarray(values, dtype=float)).fill_nan(None) for name, values in figures.items()]
