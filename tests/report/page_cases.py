"""Hand-made studies for the academy page's data: a golfer's quarter in a line, everything else plain."""

import polars as pl
from frontiers import frontier_at
from rows import table_of
from whole_pages import payload_of

from pipeline.report.page.ground import Chunk, Ground
from pipeline.tables.delivery import Delivery
from pipeline.tables.devices import Devices
from pipeline.tables.figures import BandTable
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.golfers import PARTS, Golfers
from pipeline.tables.logs import DriveTable, Rejects, Sources
from pipeline.tables.progress import Progress
from pipeline.tables.straightness import Straightness, StraightnessBands
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
         "carry_standard_yd": row["carry_yd"] + (10 if k % 2 else -10), "row": k + 1} | given
        for row in rows for k in range(row["shots"])
    ]  # fmt: skip
    table = table_of(DriveTable, made)
    return table.with_columns((pl.col("struck_on") + pl.duration(days=pl.col("row") % 3)).alias("struck_on"))


def tables_of(rows, **others):
    """Give the tables of a study; `others` by the names of their schemas, in rows."""
    schemas = (Goals, Priorities, Delivery, Progress, BandTable, Sources, Rejects, Devices)
    of_some = (Straightness, StraightnessBands)  # not every study has them
    schemas += tuple(schema for schema in of_some if schema.__name__ in others)
    made = {schema: table_of(schema, others.get(schema.__name__, [])) for schema in schemas}
    return TableSet({Golfers: table_of(Golfers, rows), **made})


def ground_of(*rows, **others):
    return Ground(tables_of(rows, **others), FRONTIER, drives_of(rows), SETTINGS)


def chunk_of(ground):
    """Lay out all golfers of a study at once."""
    return Chunk(ground, 0, len(ground.codes))


def study_payload(*rows, **others):
    return payload_of(tables=tables_of(rows, **others), frontier=FRONTIER, drives=drives_of(rows), settings=SETTINGS)


def loft(name, **given):
    """Make a golfer's row of `Delivery`, in which more loft and more attack help."""
    row = {
        "golfer": code(name), "carry_now_yd": 200.0, "loft_least_deg": -4.0, "loft_most_deg": 4.0,
        "loft_change_deg": 2.0, "best_carry_yd": 206.0, "gain_yd": 6.0, "gain_lo90_yd": 4.0, "gain_hi90_yd": 8.0,
        "advice": "more loft", "loft_by": "golfers", "attack_change_deg": 3.0, "attack_loft_change_deg": -1.0,
        "attack_gain_yd": 3.0, "attack_gain_lo90_yd": 2.0, "attack_gain_hi90_yd": 4.0,
    }  # fmt: skip
    return row | given


def directed(name, by="golfer", path=-1.0, change=-2.1, **given):
    """Make a golfer's row of `Delivery` with path and face; the path's interval reaches 1 deg to each side."""
    after = path + change
    row = loft(name) | {
        "attack_deg": -1.2, "path_deg": path, "face_deg": 0.6, "plane_deg": 47.3, "path_by": by,
        "path_after_attack_deg": after, "path_after_attack_lo90_deg": after - 1,
        "path_after_attack_hi90_deg": after + 1,
        "swing_direction_turn_deg": -after, "start_direction_deg": 1.1, "spin_axis_deg": 4.3,
        "direction_note": "Try it with a coach.",
    }  # fmt: skip
    return row | given


def progress(name, *better, **given):
    """Make a golfer's row of `Progress`, better in some measures."""
    row = {
        "golfer": code(name), "club_speed_change_mph": 2.14, "speed_ratio_change": 0.02, "launch_change_deg": 1.0,
        "spin_change_rpm": -200.0, "carry_change_yd": 12.4, "lost_change_yd": -9.6,
    }  # fmt: skip
    tests = {}
    for measure in ("club_speed", "speed_ratio", "launch", "spin", "carry", "lost"):
        sure = measure in better
        tests[f"{measure}_p_value"] = tests[f"{measure}_q_value"] = 0.001 if sure else 0.6
        tests[f"{measure}_verdict"] = "better" if sure else "no_clear_change"
    return row | tests | given


def goal(name, reach="delivery", **given):
    carry, gap = given.pop("carry_yd", 200.0), given.pop("gap_yd", 10.0)
    row = {
        "golfer": code(name), "carry_yd": carry, "carry_lo90_yd": carry - 2, "carry_hi90_yd": carry + 2,
        "goal_yd": carry + gap, "goal_from": "own speed", "gap_yd": gap, "delivery_yd": gap, "speed_yd": 0.0,
        "reach": reach,
    }  # fmt: skip
    return row | given


def priority(name, first="delivery", confidence=0.95):
    known = confidence if first in ("delivery", "speed") else None
    return {"golfer": code(name), "delivery_yd": 20.0, "first": first, "confidence": known}


def log(source="a.csv", **given):
    return {"source": source, "rows": 100, "accepted": 90, "rejected": 6, "duplicates": 4} | given


def reject(row, rule="missing", column="carry_yd"):
    return {"source": "a.csv", "row": row, "rule": rule, "column": column}


def device(name="unit-B", **given):
    return {"device": name, "reference": "unit-A", "note": f"{name} reads 2 % more club speed than unit-A"} | given


def _steady(*names, quarter="2026Q3", **given):
    return [played(name, quarter, **given) for name in names]


LOW = {"flagged": True, "cause": "launch", "launch": 20.0, "launch_deg": 8.0}
SPUN = {"flagged": True, "cause": "spin", "spin": 15.0, "spin_rpm": 4000.0}
THIN = {"flagged": True, "cause": "contact", "contact": 18.0, "ball_speed_mph": 120.0}
WILD = {"flagged": True, "cause": "consistency", "consistency": 25.0, "reach": 12.0}
NOW, THEN = "2026Q3", "2026Q2"

# Small studies, each with what else it has beside its golfers.
CASES = {
    "first quarter": ([played("1", **LOW), *_steady("2", "3", "4", "5")], {"Sources": [log()]}),
    "first quarter, nobody flagged": (_steady("1", "2", "3", "4", "5", "6", contact=4.0), {}),
    "three golfers": ([played("1", **THIN), played("2", THEN), *_steady("2", "3")], {}),
    "three golfers, nobody flagged": (_steady("1", "2", "3"), {}),
    "nobody assessed": ([played("1", shots=5), played("2", shots=11), beyond("3")], {}),
    "one golfer, not assessed": ([played("1", shots=1)], {}),
    "nobody flagged, nobody before": ([*_steady("1", "2", quarter=THEN), *_steady("1", "2")], {}),
    "nobody flagged any more": ([played("1", THEN, **LOW), *_steady("1", "2")], {}),
    "all still flagged": ([played(name, quarter, **LOW) for name in "12" for quarter in (THEN, NOW)], {}),
    "every movement": (
        [
            *[played(name, THEN, **LOW) for name in "1234567"], *_steady("8", "9", quarter=THEN),
            *[played(name, **SPUN) for name in "128a"], *_steady("3", "4"), played("5", shots=5), played("9"),
        ],
        {},
    ),
    "one of each movement": (
        [*[played(name, THEN, **LOW) for name in "1357"], played("8", THEN), played("1", **LOW), *_steady("3"),
         played("5", shots=5), played("8", **THIN)],
        {},
    ),
    "one golfer, then and now": ([played("1", THEN, **LOW), played("1", **LOW)], {}),
    "one was flagged, no longer": ([played("1", THEN, **LOW), played("1"), played("2", **LOW)], {}),
    "one was flagged, now too little": ([played("1", THEN, **LOW), played("1", shots=4), played("2", **LOW)], {}),
    "one was flagged, now away": ([played("1", THEN, **LOW), played("2", **LOW), played("3", **LOW)], {}),
    "still flagged, fewer of them": (
        [*[played(n, THEN, **LOW) for n in "123"], *[played(n, **LOW) for n in "12"], played("3")], {},
    ),
    "nobody could be assessed before": ([played("1", THEN, shots=5), played("1", **LOW)], {}),
    "everyone flagged is through": ([*[played(n, THEN, **LOW) for n in "12"], *_steady("1", "2")], {}),
    "a high launch and too little spin": (
        [played("1", flagged=True, cause="launch", launch=14.0, launch_deg=22.0),
         played("2", flagged=True, cause="spin", spin=14.0, spin_rpm=1800.0)],
        {},
    ),
    "nobody flagged before": ([played("1", THEN), played("1", **LOW)], {}),
    "tied causes": ([played("1", **LOW), played("2", **THIN), played("3")], {}),
    "each another cause": ([played("1", **LOW), played("2", **LOW), played("3", **THIN), played("4", **WILD)], {}),
    "one cause of several, once": (
        [played("1", **LOW), *[played(n, flagged=True, cause="mixed", launch=8.0, contact=9.0) for n in "23"]], {},
    ),
    "mixed alone": ([played("1", flagged=True, cause="mixed", launch=8.0, contact=9.0)], {}),
    "mixed, all": ([played(n, flagged=True, cause="mixed", launch=7.0, other=7.0) for n in "12"], {}),
    "mixed of nothing known": (
        [played("1", flagged=True, cause="mixed", contact=None, ball_speed_mph=None, other=15.0),
         played("2", flagged=True, cause="mixed", other=15.0)],
        {},
    ),
    "no ball speed": (
        [played(n, contact=None, ball_speed_mph=None, note="ball speed is not known: contact can't be separated from "
                "other", **given) for n, given in {"1": LOW, "2": WILD, "3": {}}.items()],
        {},
    ),
    "spin guessed": (
        [played("1", flagged=True, cause="launch", launch=20.0, launch_deg=8.0, spin=None, spin_rpm=None,
                note="spin is guessed, not measured: spin can't be separated from other; the logs don't show how much "
                "days differ: the interval doesn't cover it"),
         played("2", note="the logs don't show how much days differ: 2 yd are assumed in the interval"),
         played("3", note="5 of 9 drives are from the device x, which has too few drives or golfers to be compared")],
        {},
    ),
    "advice of each kind": (
        [
            played("1", **LOW), played("2", **SPUN), played("3", **THIN), played("4", **WILD),
            played("5", flagged=True, cause="launch", launch=14.0, launch_deg=22.0),
            played("6", flagged=True, cause="spin", spin=14.0, spin_rpm=1800.0),
            played("7", flagged=True, cause="launch", launch=14.0), played("8", flagged=True, cause="spin", spin=14.0),
            played("a", flagged=True, cause="contact", contact=22.0, launch=-4.0, ball_speed_mph=134.0),
            played("b", flagged=True, cause="mixed", launch=6.0, spin=6.0, launch_deg=10.0, spin_rpm=3500.0),
            played("c", cause="consistency", consistency=4.0), played("d", cause="contact", contact=9.0),
            played("e", contact=-4.0), played("f"), played("0", launch=1.0, contact=1.0),
        ],
        {
            "Delivery": [
                loft("1"), loft("2", advice="less loft", loft_change_deg=-3.5, attack_loft_change_deg=-4.0,
                                loft_by="impact"),
                loft("5", advice="keep the loft"), loft("6", attack_gain_yd=None, note="top"),
                loft("b", advice="keep the loft", attack_loft_change_deg=0.0), loft("4"),
            ],
            "Priorities": [priority("1"), priority("2", "speed"), priority("3", "either"), priority("4", "cant_tell"),
                           priority("b"), priority("f")],
            "Goals": [goal("1"), goal("f", "reached", gap_yd=-3.0, delivery_yd=None, speed_yd=None)],
            "Progress": [progress("1", "lost", "carry", "club_speed"), progress("f", "speed_ratio", "launch", "spin")],
        },
    ),
    "directions of each kind": (
        [*[played(n, **LOW) for n in "12"], *_steady("3", "4", "5", "6")],
        {
            "Delivery": [
                directed("1"),
                directed("2", "plane assumed", path=1.2, change=-2.8, start_direction_deg=-1.2, spin_axis_deg=-4.0),
                directed("3", "plane read", path=-2.0, change=-2.1, start_direction_deg=0.1, spin_axis_deg=0.1),
                directed("4", path=0.1, change=-0.1), directed("5", path=1.0, change=1.5),
                directed("6", path=2.0, change=0.1),
            ],
        },
    ),
    "unsure": ([played("1", flagged=True, cause="launch", launch=14.0, launch_deg=8.0, reach=5.0)], {}),
    "unsure how much": ([played("1", flagged=True, cause="launch", launch=11.0, launch_deg=8.0, reach=5.0)], {}),
    "data of all kinds": (
        [played("1")],
        {
            "Sources": [log(), log("b.csv"), log("c.csv", status="refused", reason="empty", rows=0, accepted=0,
                                                 rejected=0, duplicates=0)],
            "Rejects": [reject(1), reject(2), reject(3, "too_low", "spin_rpm")],
            "Devices": [device(reading="club_speed"), device("unit-C", reading="launch", corrected=True)],
        },
    ),
    "data, refused twice": (
        [played("1")],
        {"Sources": [log(), *[log(f"{k}.csv", status="refused", reason="empty", rows=0, accepted=0, rejected=0,
                                  duplicates=0) for k in "bc"]],
         "Rejects": [reject(1)], "Devices": [device(reading="club_speed")]},
    ),
    "data, each row for its own reason": ([played("1")], {"Rejects": [reject(1), reject(2, "too_low", "spin_rpm")]}),
}  # fmt: skip
