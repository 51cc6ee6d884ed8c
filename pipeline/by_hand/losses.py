"""Yards lost of results by hand: against the mean carry of the better golfers of that speed, without causes."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.bands import moved_table
from pipeline.by_hand.reference import LEAST_GOLFERS, Reference, SpeedCurve, reference_of
from pipeline.drives import KEYS
from pipeline.golfers.day_form import DayForm, figure_errors
from pipeline.golfers.doubt import with_doubt
from pipeline.golfers.flags import FlagRules, assess
from pipeline.golfers.ranking import ranked
from pipeline.tables.golfers import Golfers

NO_CAUSES = (
    "results by hand: yards lost are measured against the mean carry of the better golfers of that speed, not the "
    "efficient carry; the air isn't put right and causes stay unknown"
)


@dataclass(frozen=True)
class Rules:
    """What a study says of its golfers and bands.

    Attributes
    ----------
    flags : FlagRules
    bands : SpeedBands
    min_golfers : int
    seed : int
    """

    flags: FlagRules
    bands: SpeedBands
    min_golfers: int
    seed: int


def golfers_over_quarters(drives: pl.DataFrame) -> pl.DataFrame:
    """Give each golfer's drives over all quarters: golfer, shots, mean club_speed_mph, mean and median carry, yd.

    They stand in the order of their figures, so that draws of them are the same under any key.
    """
    carry = pl.col("carry_measured_yd")
    found = drives.group_by("golfer").agg(
        pl.len().alias("shots"),
        pl.col("club_speed_mph").sort().mean(),
        carry.sort().mean().alias("carry_yd"),
        carry.median().alias("carry_p50_yd"),
    )
    return found.sort("club_speed_mph", "carry_yd", "shots", "golfer")


def study_reference(drives: pl.DataFrame, rules: Rules) -> Reference | None:
    """Fit the reference of a study's drives; None where its golfers are too few."""
    golfers, shots = golfers_over_quarters(drives), rules.flags.min_shots
    return reference_of(golfers, rules.bands.half_width_mph, rules.min_golfers, shots, rules.seed)


def golfers_table(drives: pl.DataFrame, reference: Reference | None, rules: Rules) -> tuple[pl.DataFrame, DayForm]:
    """Work out yards lost, test and flag golfers.

    Parameters
    ----------
    drives : DataFrame
        golfer, quarter, struck_on, club_speed_mph, ball_speed_mph, carry_measured_yd.
    reference : Reference or None
    rules : Rules

    Returns
    -------
    table : DataFrame
        The columns of `Golfers`.
    form : DayForm
        What a day adds to a golfer's carry.
    """
    drives = _with_lost(drives, reference)
    errors, form = figure_errors(drives, "lost_yd", median=False, assumed=rules.flags.day_form_yd)
    lost = _lost(drives, reference)
    speed = lost.get_column("club_speed_mph").to_numpy()
    unknown = np.full(lost.height, np.nan)
    shared = (unknown, unknown + 1) if reference is None else reference.variance(speed)
    known = with_doubt(lost, errors, shared).with_columns(
        pl.lit(form.source).alias("form_source"), pl.lit(None, pl.String).alias("uncompared_note")
    )
    table = assess(ranked(known), rules.flags, causes=False).with_columns(_note(reference, rules.flags))
    return table.select(Golfers.column_names()), form


def _with_lost(drives: pl.DataFrame, reference: Reference | None) -> pl.DataFrame:
    """Add each drive's yards lost at its own speed: who happened to swing faster had farther to go."""
    club = drives.get_column("club_speed_mph").cast(pl.Float64).to_numpy()
    best = np.zeros_like(club) if reference is None else reference.of_drives(club)
    return drives.with_columns(pl.Series("lost_yd", best) - pl.col("carry_measured_yd"))


def _lost(drives: pl.DataFrame, reference: Reference | None) -> pl.DataFrame:
    known = pl.col("ball_speed_mph").is_not_null().mean() >= 0.5
    golfers = drives.group_by(KEYS).agg(
        pl.len().cast(pl.Int64).alias("shots"),
        pl.col("club_speed_mph").sort().mean(),
        pl.when(known).then(pl.col("ball_speed_mph").median()).alias("ball_speed_mph"),
        pl.col("carry_measured_yd").sort().mean().alias("carry_yd"),
        pl.col("lost_yd").sort().skew(bias=False).fill_nan(None).alias("own_skewness"),
    ).sort(KEYS)  # fmt: skip
    speed = golfers.get_column("club_speed_mph").to_numpy()
    best = np.full(len(speed), np.nan) if reference is None else reference.at(speed)
    lost = pl.col("efficient_yd") - pl.col("carry_yd")
    # What can't be told apart is in other, as it is for a device that guesses spin.
    return golfers.with_columns(pl.Series("efficient_yd", best).fill_nan(None)).with_columns(
        lost.alias("lost_yd"),
        lost.alias("lost_other_yd"),
        *(
            pl.lit(None, pl.Float64).alias(name)
            for name in (
                "launch_deg", "spin_rpm", "lost_contact_yd", "lost_launch_yd", "lost_spin_yd", "lost_consistency_yd",
                "lost_curve_yd", "own_difference_yd",
            )
        ),
    )  # fmt: skip


def _note(reference: Reference | None, flags: FlagRules) -> pl.Expr:
    if reference is None:
        return pl.lit(
            f"fewer than {LEAST_GOLFERS} golfers have {flags.min_shots} drives, too few to show what the better carry"
        ).alias("note")
    told = pl.when(pl.col("lost_yd").is_not_null()).then(pl.lit(NO_CAUSES))
    return pl.concat_str([pl.col("note"), told], separator="; ", ignore_nulls=True).alias("note")


def bands_of(drives: pl.DataFrame, rules: Rules) -> pl.DataFrame:
    """Build the table `BandTable`: percentiles of golfers' typical carry, moved to the band's center.

    Golfers of a speed are moved along the line that half of the study's golfers stay below.
    """
    typical = _typical(drives).filter(pl.col("shots") >= rules.flags.min_shots)
    every = golfers_over_quarters(drives)
    speed, carry = (every.get_column(name).cast(pl.Float64).to_numpy() for name in ("club_speed_mph", "carry_p50_yd"))
    middle = SpeedCurve.fit(speed, carry, 0.5)

    def move(golfers: pl.DataFrame, centre_mph: float) -> tuple[pl.Series, None]:
        own = golfers.get_column("club_speed_mph").to_numpy()
        further = middle.at(np.array([centre_mph]))[0] - middle.at(own)
        return golfers.get_column("carry_p50_yd") + pl.Series(further), None

    return moved_table(typical, move, None, rules.bands, rules.min_golfers)


def _typical(drives: pl.DataFrame) -> pl.DataFrame:
    ratio = pl.col("ball_speed_mph") / pl.col("club_speed_mph")
    return (
        drives.group_by(KEYS)
        .agg(
            pl.len().cast(pl.Int64).alias("shots"),
            pl.col("club_speed_mph").sort().mean(),
            pl.col("carry_measured_yd").median().alias("carry_p50_yd"),
            ratio.median().alias("speed_ratio"),
        )
        .sort(KEYS)
    )
