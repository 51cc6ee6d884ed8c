"""The share of drives that reach a distance, for an answer to a coach (numpy alone)."""

import math
from dataclasses import replace
from typing import Any

import numpy as np

from pipeline.benchmark.run_and_conditions import Place
from pipeline.fit.model import CarryModel, Delivery, known_key
from pipeline.shown import percent_text
from pipeline.statistics.arrays import Array
from pipeline.statistics.drive_spread import DriveSpread, UsualReaching
from pipeline.statistics.intervals import Z90
from pipeline.texts.catalogue import told

REACHING = ("share_reaching", "share_reaching_lo90", "share_reaching_hi90")


def known_part(model: CarryModel, key: str) -> float:
    """Say how much of a delivery is known, 0 to 1: by how much that narrows the model's interval of one drive.

    Parameters
    ----------
    model : CarryModel
    key : str
        See `known_key`.
    """
    whole = known_key(model.by_ball_speed, True, True)
    variance = {name: (hi - lo) ** 2 for name, (lo, hi) in model.interval.items()}
    if not {"nothing", whole, key} <= variance.keys() or variance["nothing"] <= variance[whole]:
        return float(key == whole)
    known = (variance["nothing"] - variance[key]) / (variance["nothing"] - variance[whole])
    return float(np.clip(known, 0.0, 1.0))


def usual_here(
    usual: UsualReaching, model: CarryModel, place: Place, typed: Delivery, moved_share: float, *, carry: bool
) -> DriveSpread | None:
    """Give where the drives of the usual golfer of a speed come down in a place.

    Parameters
    ----------
    usual : UsualReaching
    model : CarryModel
    place : Place
    typed : Delivery
        The typical drive, arrays without an axis; NaN is not known.
    moved_share : float
        See `Frontier`.
    carry : bool
        Whether distances are carry; else carry and roll together.

    Returns
    -------
    DriveSpread or None
        Of one golfer; None where no golfers show how drives scatter.
    """
    scatter = usual.carry if carry else usual.total
    if scatter is None:
        return None
    drive = Delivery(*(np.atleast_1d(part) for part in vars(model.with_usual(typed)).values()))
    ball, launch, spin = (bool(np.isfinite(part)) for part in (typed.speed_ratio, typed.launch_deg, typed.spin_rpm))
    known = known_part(model, known_key(ball and model.by_ball_speed, launch, spin))
    run = np.zeros(1) if carry else run_at_standard(model, place, drive)
    there = scatter.about(float((model.expected(drive) + run)[0]), known)
    unsure = 0.0 if carry else run_error(model, place, drive)
    return moved(there, *move_of(model, place, drive, carry=carry), moved_share, unsure)


def run_error(model: CarryModel, place: Place, drive: Delivery) -> Array:
    """Give the standard error that the turf leaves to the run of typical drives in a place, yd, shape (n,)."""
    ball = drive.club_speed_mph * model.ratio(drive)
    landing = place.here.landing(place.ball, ball, drive.launch_deg, drive.spin_rpm)
    _, lo, hi = place.run_interval_yd(landing)
    return (hi - lo) / (2 * Z90)


def run_at_standard(model: CarryModel, place: Place, drive: Delivery) -> Array:
    """Give the run of typical drives at standard conditions, yd, shape (n,)."""
    ball = drive.club_speed_mph * model.ratio(drive)
    return place.standard.carry_and_run_yd(place.ball, ball, drive.launch_deg, drive.spin_rpm)[1]


def move_of(model: CarryModel, place: Place, drive: Delivery, *, carry: bool) -> tuple[Array, Array]:
    """Give what a place adds to the distance of typical drives, and to their carry alone, yd, each of shape (n,)."""
    ball = drive.club_speed_mph * model.ratio(drive)
    change, run = place.change_and_run_yd(ball, drive.launch_deg, drive.spin_rpm)
    if carry or place.is_standard:
        return change, change
    return change + run - run_at_standard(model, place, drive), change


def moved(
    spread: DriveSpread, added_yd: Array, change_yd: Array, moved_share: float, run_error_yd: Array | float
) -> DriveSpread:
    """Move drives to another place: what that adds, the error of the change of carry, a share of it, and the run's."""
    doubt = np.hypot(np.hypot(spread.doubt_yd, moved_share * change_yd), run_error_yd)
    return replace(spread.farther(added_yd), doubt_yd=doubt)


def reaching_of(spread: DriveSpread | None, distance_yd: float | None) -> dict[str, float | None]:
    """Give the answer's keys `REACHING` for one golfer's drives; null where something isn't known."""
    if spread is None or distance_yd is None:
        return dict.fromkeys(REACHING)
    found = (float(part[0]) for part in spread.share_reaching(distance_yd))
    return {name: None if math.isnan(value) else value for name, value in zip(REACHING, found, strict=True)}


def reaching_text(answer: dict[str, Any]) -> str:
    """Write the share of drives that reach a distance, with its interval."""
    share, lo, hi = (percent_text(answer[name]) for name in REACHING)
    return told("command", "share", share=share, range=told("command", "range", lo=lo, hi=hi))
