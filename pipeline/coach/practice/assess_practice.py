"""Step: clean the swings without a ball, map the light tool to the driver, work out each golfer's practice.

In: swings.parquet as collected, drives.parquet. Out: swings.parquet (one row per accepted swing, misreads marked),
sessions.csv (one row per golfer and day), paired.csv (one row per session with both tools), light_tool.json (the
mapping with its source and interval), practice.csv (one row per golfer) and outlook.npz (what forecasts rest on, see
`Outlook`).
"""

from pathlib import Path
from typing import Any

import polars as pl

from pipeline.bands import SpeedBands
from pipeline.coach.practice.light_tool import LightTool, fit_light_tool, pairs_of
from pipeline.coach.practice.outlook import outlook_of
from pipeline.coach.practice.practice import practice_figures, practice_table
from pipeline.coach.practice.sessions import day_speeds, mark_misreads, sessions_of
from pipeline.drives import Drives, keyless_order
from pipeline.edge.artefacts import write_arrays, write_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv, write_parquet
from pipeline.tables.practice import PracticeSwings, Swings

DRIVES = ("golfer", "quarter", "struck_on", "club_speed_mph")


def run(
    swings: str,
    drives: str,
    marked: str,
    sessions: str,
    paired: str,
    light_tool: str,
    practice: str,
    outlook: str,
    bands: dict[str, Any],
) -> None:
    """Run the step; see the module's docstring."""
    collected = Swings.validate(pl.read_parquet(swings, glob=False, hive_partitioning=False))
    swung, shots = in_one_order(collected, open_drives(Path(drives), DRIVES))
    clean = mark_misreads(swung)
    speeds = day_speeds(clean)
    pairs = pairs_of(speeds)
    tool, factors = fit_light_tool(pairs, swung.get_column("golfer"))
    days = sessions_of(speeds, factors)
    asked = SpeedBands.of(bands["centres"], bands["half_width_mph"])
    golfers = practice_figures(days, factors, shots, asked)
    table = practice_table(golfers)
    in_texts = in_driver_speed(clean, factors).cast({"golfer": pl.String})
    write_parquet(Path(marked), PracticeSwings.validate(in_texts))
    write_csv(Path(sessions), days)
    write_csv(Path(paired), pairs)
    write_artefact(light_tool, tool)
    write_csv(Path(practice), table)
    write_arrays(outlook, outlook_of(golfers)._asdict())
    print(_said(tool, clean, table))


def in_one_order(swings: pl.DataFrame, drives: Drives) -> tuple[pl.DataFrame, Drives]:
    """Put golfers in the drives' order, then those who have swings alone: another key must not change it."""
    others = keyless_order([swings.select("golfer", "swung_on", "tool", "club_speed_mph")])
    golfer = pl.col("golfer").cast(pl.Enum(pl.concat([drives.golfers.categories, others]).unique(maintain_order=True)))
    return swings.with_columns(golfer), drives.mapped(lambda frame: frame.with_columns(golfer))


def in_driver_speed(marked: pl.DataFrame, factors: pl.DataFrame) -> pl.DataFrame:
    """Add each swing's driver speed: the light tool's over the golfer's factor.

    Parameters
    ----------
    marked : DataFrame
        From `mark_misreads`.
    factors : DataFrame
        golfer and light_factor, of every golfer.
    """
    joined = marked.join(factors.select("golfer", "light_factor"), on="golfer", how="left", maintain_order="left")
    factor = pl.when(pl.col("tool") == "light").then("light_factor").otherwise(1.0)
    return joined.with_columns(driver_speed_mph=pl.col("club_speed_mph") / factor).drop("light_factor")


def _said(tool: LightTool, marked: pl.DataFrame, table: pl.DataFrame) -> str:
    misread = int(marked.get_column("misread").sum())
    gaining = table.filter(pl.col("trend") == "gaining").height
    return (
        f"Speed practice: {table.height} golfers, {marked.height} swings, {misread} misread; {gaining} golfers gain. "
        f"Light tool: {tool.factor:.3f} times the driver ({tool.source}; {tool.note})."
    )
