"""How far yards lost may be off because a device misreads: what is known of it stands in devices.json.

Yards lost are efficient carry at the club speed read, less carry on the reference device. A club speed that is read too
high asks for too much carry. What a device adds to carry is fitted to the flight of its readings, so carry on the
reference is what ball speed, launch and spin as read would give: read too high, they make carry look long.
"""

import numpy as np
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.drives import KEYS, Drives
from pipeline.fit.model import CarryModel, Delivery
from pipeline.flight.devices import READINGS, StudyDevices
from pipeline.flight.offsets import UNSTATED
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import satterthwaite

STEP = np.array([0.005, 0.005, 0.1, 0.02])  # to either side, of shares and deg: carry is smooth over far more

Part = tuple[Array, Array]  # variances, and their degrees of freedom


def device_shares(drives: pl.DataFrame | Drives) -> pl.DataFrame:
    """Give the share of each golfer's quarter's drives that each device measured: golfer, quarter, named, share."""
    named = pl.col("device").fill_null(UNSTATED).alias("named")
    counts = Drives.of(drives).gathered(
        lambda frame: frame.group_by(*KEYS, named).agg(pl.len().cast(pl.Float64).alias("drives"))
    )
    return counts.select(*KEYS, "named", (pl.col("drives") / pl.col("drives").sum().over(KEYS)).alias("share"))


def misread_yards(golfers: pl.DataFrame, model: CarryModel, frontier: Frontier) -> Array:
    """Give the yards lost that a golfer gets for misread drives, shape (n, 4), in the order of `READINGS`.

    Parameters
    ----------
    golfers : DataFrame
        From `losses`: club_speed_mph, speed_ratio, launch_deg, spin_rpm.
    model : CarryModel
    frontier : Frontier

    Returns
    -------
    ndarray
        For a reading that is too high by a share of 1, launch by a degree; NaN where the benchmarks don't reach.
    """
    typical = model.with_usual(Delivery.of(golfers))
    club, ratio = typical.club_speed_mph, model.ratio(typical)

    def carry(more: Array) -> Array:
        club_read = club * (1 + more[0])
        struck = ratio * (1 + more[1]) / (1 + more[0])
        return model.expected(
            Delivery(club_read, struck, typical.launch_deg + more[2], typical.spin_rpm * (1 + more[3]))
        )

    steps = np.diag(STEP)
    slopes = [(carry(step) - carry(-step)) / (2 * step.sum()) for step in steps]
    asked = frontier.slope_at(frontier.carry_yd, club) * club
    return np.stack([(asked if name == READINGS[0] else 0) - s for name, s in zip(READINGS, slopes, strict=True)], 1)


def reading_loads(golfers: pl.DataFrame, shares: pl.DataFrame, devices: StudyDevices, yards: Array) -> Array:
    """Give how much of each device's errors a golfer's quarter has, shape (n, devices, 4).

    The loads of a change between quarters are the difference of theirs: what one device misreads in both cancels.

    Parameters
    ----------
    golfers : DataFrame
        golfer, quarter.
    shares : DataFrame
        From `device_shares`.
    devices : StudyDevices
    yards : ndarray, shape (n, 4)
        From `misread_yards`.
    """
    loads = np.zeros((golfers.height, len(devices.devices), len(READINGS)))
    for place, device in enumerate(devices.devices):
        own = shares.filter(pl.col("named") == device.device).select(*KEYS, "share")
        share = golfers.select(KEYS).join(own, on=KEYS, how="left", maintain_order="left").get_column("share")
        loads[:, place] = share.fill_null(0.0).to_numpy()[:, None] * yards
    return loads


def reading_variance(loads: Array, devices: StudyDevices) -> Part:
    """Give the variance of yards lost, or of their change, by what devices may misread, yd^2, with its freedom.

    Parameters
    ----------
    loads : ndarray, shape (n, devices, 4)
        From `reading_loads`, or the difference of two quarters' loads.
    devices : StudyDevices

    Returns
    -------
    variance, freedom : ndarray, shape (n,)
        Freedom by Satterthwaite's rule over the devices; `MANY` where there is no variance.
    """
    each = np.zeros(loads.shape[:2])
    freedom = np.ones(loads.shape[1])
    for place, device in enumerate(devices.devices):
        doubt = np.array(device.doubt)
        each[:, place] = np.einsum("ni,ij,nj->n", loads[:, place], doubt, loads[:, place])
        freedom[place] = device.freedom
    return each.sum(axis=1), satterthwaite(each, freedom)


def load_columns(devices: StudyDevices) -> list[str]:
    """Name the columns of `with_readings` that hold loads, by device and reading, such as misread:unit-B:launch_deg."""
    return [f"misread:{one.device}:{reading}" for one in devices.devices for reading in READINGS]


def with_readings(
    golfers: pl.DataFrame, drives: pl.DataFrame | Drives, model: CarryModel, frontier: Frontier, devices: StudyDevices
) -> pl.DataFrame:
    """Add what devices' readings leave open: the loads of each error, named by `load_columns`, and readings_note.

    Parameters
    ----------
    golfers : DataFrame
        From `losses`, or with its keys, speed, ratio, launch and spin.
    drives : DataFrame or Drives
        golfer, quarter and device of the drives.
    model : CarryModel
    frontier : Frontier
    devices : StudyDevices
    """
    shares = device_shares(drives)
    loads = reading_loads(golfers, shares, devices, misread_yards(golfers, model, frontier))
    columns = loads.reshape(golfers.height, loads.shape[1] * loads.shape[2]).T  # -1 is no width where nobody is
    notes = _notes(golfers, shares, {one.device: one.golfer_note for one in devices.devices})
    named = zip(load_columns(devices), columns, strict=True)
    return golfers.with_columns(*(pl.Series(name, load, pl.Float64) for name, load in named), notes)


def _notes(golfers: pl.DataFrame, shares: pl.DataFrame, said: dict[str, str | None]) -> pl.Series:
    """Say what is to keep in mind of the devices that measured a golfer's drives, the same sentence once."""
    telling = [name for name, note in said.items() if note]
    told = shares.filter(pl.col("named").is_in(telling)).sort(*KEYS, "named")
    told = told.with_columns(pl.col("named").replace_strict({n: said[n] for n in telling}, default=None).alias("said"))
    joined = told.group_by(KEYS, maintain_order=True).agg(pl.col("said").str.join("; "))
    found = golfers.select(KEYS).join(joined, on=KEYS, how="left", maintain_order="left")
    return found.get_column("said").cast(pl.String).alias("readings_note")


def noted(golfers: pl.DataFrame) -> pl.DataFrame:
    """Put readings_note behind what `note` says."""
    joined = pl.concat_str("note", "readings_note", separator="; ", ignore_nulls=True)
    return golfers.with_columns(pl.when(joined != "").then(joined).alias("note"))
