"""What the fit takes of a shot, which drives it uses, and typical drives of golfers."""

from typing import Literal

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.fit.surface import Array

FIT_COLUMNS = (
    "golfer",
    "quarter",
    "device",
    "ball",
    "club_speed_mph",
    "ball_speed_mph",
    "launch_deg",
    "spin_rpm",
    "carry_yd",
    "spin_measured",
)

# A study is fitted on ball speed when at least this many golfers and drives have it; else on club speed.
MIN_BALL_SPEED_GOLFERS = 8
MIN_BALL_SPEED_DRIVES = 200

# A golfer's ball speed counts as known when at least this share of the drives has a reading.
MIN_KNOWN_SHARE = 0.5

Speed = Literal["ball", "club"]


def speed_of_study(drives: pl.DataFrame) -> Speed:
    """Say whether carry is fitted on ball speed or, where too few drives have it, on club speed."""
    known = drives.filter(pl.col("ball_speed_mph").is_not_null())
    enough = known.get_column("golfer").n_unique() >= MIN_BALL_SPEED_GOLFERS and known.height >= MIN_BALL_SPEED_DRIVES
    return "ball" if enough else "club"


def usable(drives: pl.DataFrame, speed: str) -> npt.NDArray[np.bool_]:
    """Mark the drives that a fit can use: spin really measured and, for ball speed, ball speed known."""
    measured = pl.col("spin_measured").fill_null(True)
    known = pl.col("ball_speed_mph").is_not_null() if speed == "ball" else pl.lit(True)
    return drives.select((measured & known).alias("usable")).get_column("usable").to_numpy()


def inputs(drives: pl.DataFrame, speed: str) -> tuple[Array, Array, Array]:
    """Give speed (mph), launch (deg) and spin (rpm), each of shape (n,)."""
    names = (f"{speed}_speed_mph", "launch_deg", "spin_rpm")
    s, l, p = (drives.get_column(name).to_numpy().astype(float) for name in names)
    return s, l, p


def golfer_codes(drives: pl.DataFrame) -> npt.NDArray[np.int64]:
    """Give each drive its golfer's number, golfers in the order of their pseudonyms, shape (n,)."""
    return drives.get_column("golfer").rank("dense").to_numpy().astype(np.int64) - 1


def typical_drives(drives: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """Work out each golfer's typical drive: mean club speed, medians of speed ratio, launch and spin.

    Medians, since a mishit now and then does not belong to a typical drive.

    Parameters
    ----------
    drives : DataFrame
        Needs `keys` and the columns of `FIT_COLUMNS`.
    keys : list of str
        ["golfer"] or ["golfer", "quarter"].

    Returns
    -------
    DataFrame
        One row per key, sorted: keys, shots, club_speed_mph, speed_ratio (null where ball speed is known for
        less than half the drives), speed_ratio_var (of one drive), launch_deg, spin_rpm.
    """
    ratio = pl.col("ball_speed_mph") / pl.col("club_speed_mph")
    measured = pl.col("spin_measured").fill_null(True)
    known = pl.col("ball_speed_mph").is_not_null().mean() >= MIN_KNOWN_SHARE
    return (
        drives.group_by(keys)
        .agg(
            pl.len().cast(pl.Int64).alias("shots"),
            pl.col("club_speed_mph").mean(),
            pl.when(known).then(ratio.median()).alias("speed_ratio"),
            pl.when(known).then(ratio.var()).alias("speed_ratio_var"),
            pl.col("launch_deg").median(),
            # A guessed spin is used only where there is no measured one at all.
            pl.coalesce(pl.col("spin_rpm").filter(measured).median(), pl.col("spin_rpm").median()).alias("spin_rpm"),
        )
        .sort(keys)
    )
