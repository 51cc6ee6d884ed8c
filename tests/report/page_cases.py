"""Hand-made studies for the academy page's data: a golfer's quarter in a line, everything else plain."""

import polars as pl
from frontiers import frontier_at
from rows import table_of

from pipeline.report.page.ground import Ground
from pipeline.report.page.payload import payload_of
from pipeline.tables.delivery import Delivery
from pipeline.tables.devices import Devices
from pipeline.tables.figures import BandTable
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.golfers import PARTS, Golfers
from pipeline.tables.logs import DriveTable, Rejects, Sources
from pipeline.tables.progress import Progress
from pipeline.tables.table_set import TableSet

SETTINGS = {
    "study": "Hill School",
    "bands": {"centres": [80, 90, 100], "half_width_mph": 5},
    "flags": {"lost_yd": 10, "false_discovery_rate": 0.1, "min_shots": 12},
    "privacy": {"min_golfers": 5},
    "window_tolerance_yd": 5,
}
FRONTIER = frontier_at(
    range(75, 106), launch_deg=16.0, spin_rpm=2700.0,
    launch_lo_deg=15.0, launch_hi_deg=17.0, spin_lo_rpm=2500.0, spin_hi_rpm=2900.0,
)  # fmt: skip
UNASSESSED = dict.fromkeys(
    ("efficient_yd", "lost_yd", "lost_lo90_yd", "lost_hi90_yd", "p_value", "q_value", "ranked_lost_yd",
     "ranked_lo90_yd", "ranked_hi90_yd", *PARTS)
)  # fmt: skip


def code(name):
    """Give the pseudonym of a golfer who is called by a digit."""
    return f"g{name * 16}"


def played(name, quarter="2026Q3", *, flagged=False, cause=None, reach=3.0, **given):
    """Make a golfer's quarter, assessed unless `shots` are few; parts are given by their names."""
    parts = dict.fromkeys(PARTS, 0.0) | {f"lost_{part}_yd": given.pop(part) for part in _names() if part in given}
    lost = sum(value or 0.0 for value in parts.values())
    speed = given.setdefault("club_speed_mph", 90.0)
    efficient = 2.6 * speed - 16
    row = {
        "golfer": code(name), "quarter": quarter, "shots": 20, "ball_speed_mph": 1.45 * speed, "launch_deg": 16.0,
        "spin_rpm": 2700.0, "carry_yd": efficient - lost, "efficient_yd": efficient, "lost_yd": lost,
        "lost_lo90_yd": lost - reach, "lost_hi90_yd": lost + reach, **parts, "p_value": 0.001, "q_value": 0.001,
        "ranked_lost_yd": lost, "ranked_lo90_yd": lost - reach, "ranked_hi90_yd": lost + reach,
        "flagged": flagged, "status": "flagged" if flagged else "clear",
        "main_cause": cause or ("mixed" if flagged else "none"),
    }  # fmt: skip
    row |= given
    return row | UNASSESSED | {"status": "not_assessed"} if row["shots"] < 12 else row


def beyond(name, quarter="2026Q3", **given):
    """Make a golfer's quarter at a speed that the benchmarks don't reach."""
    row = played(name, quarter, club_speed_mph=125.0, **given)
    return row | UNASSESSED | {"status": "not_assessed", "note": "the benchmarks don't reach this club speed"}


def _names():
    return [part.removeprefix("lost_").removesuffix("_yd") for part in PARTS]


def drives_of(rows, **given):
    """Strike each golfer's drives of a quarter over three days, their carry 10 yd to each side of the mean in turn."""
    made = [
        {"golfer": row["golfer"], "quarter": row["quarter"], "club_speed_mph": row["club_speed_mph"],
         "launch_deg": row["launch_deg"], "spin_rpm": row["spin_rpm"] or 2700.0, "device": "unit-A", "ball": "premium",
         "carry_standard_yd": row["carry_yd"] + (10 if k % 2 else -10), "row": k} | given
        for row in rows for k in range(row["shots"])
    ]  # fmt: skip
    table = table_of(DriveTable, made)
    return table.with_columns((pl.col("struck_on") + pl.duration(days=pl.col("row") % 3)).alias("struck_on"))


def tables_of(rows, **others):
    """Give the tables of a study; `others` by the names of their schemas, in rows."""
    schemas = (Goals, Priorities, Delivery, Progress, BandTable, Sources, Rejects, Devices)
    made = {schema: table_of(schema, others.get(schema.__name__, [])) for schema in schemas}
    return TableSet({Golfers: table_of(Golfers, rows), **made})


def ground_of(*rows, **others):
    return Ground(tables_of(rows, **others), FRONTIER, drives_of(rows), SETTINGS)


def study_payload(*rows, **others):
    return payload_of(tables=tables_of(rows, **others), frontier=FRONTIER, drives=drives_of(rows), settings=SETTINGS)
