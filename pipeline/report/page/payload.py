"""Everything that the academy's page shows, as plain values: a script tag of the page holds it as JSON.

Figures that the page rounds have three digits more than it shows, so that none is rounded twice to another; yards are
whole, so that they add up as shown
(`pipeline.report.shown_sums`). Golfers stand under their pseudonyms; no name is ever in it. Each part is made by a
module of its own. What is shown of each golfer is made as it is asked for, so that nothing has to hold it of all.
"""

from collections.abc import Mapping
from typing import Any

import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.coach.practice.practice import SPEED_PRACTICE_CAUTIONS
from pipeline.drives import Drives
from pipeline.errors import UserError
from pipeline.report.page.band_view import bands_of, curve_of, dots_of
from pipeline.report.page.golfer_rows import COLUMNS, rows_of
from pipeline.report.page.ground import Ground
from pipeline.report.page.landing_part import band_landings_of
from pipeline.report.page.quality import quality_of
from pipeline.report.page.quarter_view import quarter_of
from pipeline.report.page.said import say
from pipeline.report.page.stories import stories_of
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import Sources
from pipeline.tables.practice import Practice
from pipeline.tables.table_set import TableSet
from pipeline.texts.better import better_golfers


def payload_of(
    *,
    tables: TableSet,
    frontier: Frontier,
    drives: pl.DataFrame | Drives,
    settings: Mapping[str, Any],
    landings: pl.DataFrame | None = None,
) -> dict[str, Any]:
    """Make the page's data.

    Parameters
    ----------
    tables : TableSet
        `Golfers`, `BandTable`, `Goals`, `Priorities`, `Delivery`, `Progress`, `Sources`, `Rejects`, `Devices` and,
        where there are speed logs, `Practice`, `PracticePlan` and `SpeedGoals`; `Landings` and `LandingBands`, if made.
        Where logs say where drives came down, `Straightness`.
    frontier : Frontier
    drives : DataFrame or Drives
        The columns of `pipeline.report.page.facts.PAGE_COLUMNS`.
    settings : mapping
        Keys `study`, `flags`, `bands`, `privacy` and `window_tolerance_yd`; `title` and `units` where they are known.
    landings : DataFrame, optional
        From `pipeline.report.page.straight_part.landings_to_draw`.

    Returns
    -------
    dict
        study: see `study_of`. quarter: see `pipeline.report.page.quarter_view`. golfers: columns and rows, see
        `pipeline.report.page.golfer_rows`. stories: golfers and what is told of each, in the rows' order, see
        `pipeline.report.page.stories`. bands, curve and dots: see `pipeline.report.page.band_view`. landings: by band,
        see `pipeline.report.page.landing_part`. quality: see `pipeline.report.page.quality`. Rows, stories and dots
        are iterators, each to be read once.

    Raises
    ------
    UserError
        If no drive was accepted.
    """
    ground = Ground(tables, frontier, drives, settings, landings)
    if tables[Golfers].is_empty():
        raise UserError("golfers.csv: no drive was accepted, so there is nothing to report; see sources.csv.")
    return {
        "study": study_of(ground),
        "quarter": quarter_of(ground),
        "golfers": {"columns": list(COLUMNS), "rows": rows_of(ground)},
        "stories": stories_of(ground),
        "bands": bands_of(ground),
        "curve": curve_of(ground),
        "dots": dots_of(ground),
        "landings": band_landings_of(ground),
        "quality": quality_of(tables, ground.of_drives.unknown),
    }


def study_of(ground: Ground) -> dict[str, Any]:
    """Give the study's name, quarters and settings, and what the page was made from."""
    settings, golfers = ground.settings, ground.golfers
    used = ground.tables[Sources].filter(pl.col("status").cast(pl.String) == "used")
    return {
        "name": ground.frontier.study,
        "title": settings.get("title") or settings["study"],
        "units": ground.units.distance,
        "quarters": ground.quarters,
        "newest": ground.newest,
        "lost_yd": ground.threshold_yd,
        "min_shots": ground.min_shots,
        "min_golfers": settings["privacy"]["min_golfers"],
        "half_width_mph": ground.bands.half_width_mph,
        "false_discovery_rate": settings["flags"]["false_discovery_rate"],
        "tolerance_yd": settings["window_tolerance_yd"],
        "better": better_golfers(ground.frontier.strike),
        "made_from": {
            "logs": used.height,
            "drives": int(golfers["shots"].sum()),
            "golfers": golfers["golfer"].n_unique(),
        },
        "associations": say("associations"),
        "cautions": list(SPEED_PRACTICE_CAUTIONS) if ground.tables.get(Practice) is not None else [],
    }
