"""Rows of landing and of the speed plan for hand-made golfers."""

from datetime import date, timedelta

from page_cases import code
from rows import table_of

from pipeline.tables.delivery import Delivery
from pipeline.tables.landing import TURFS, LandingBands, Landings
from pipeline.tables.practice import WEEKS_AHEAD, PracticePlan, SpeedGoals

LAST_ON = date(2026, 9, 16)
RUN_YD = dict(zip(TURFS, (6.3, 13.8, 24.6), strict=True))
GAIN_YD = dict(zip(TURFS, (0.2, 2.6, 7.4), strict=True))
COST_YD = dict(zip(TURFS, (0.1, 1.2, 4.3), strict=True))


def landed(name, carry_yd, run_yd=RUN_YD, **given):
    """Make a golfer's rows of `Landings`, a turf each, with totals 5 yd open to each side."""
    return [{"golfer": code(name), "carry_yd": carry_yd} | _turf(turf, carry_yd, run_yd) | given for turf in TURFS]


def band_landed(band_mph, carry_yd, **given):
    """Make a band's rows of `LandingBands`."""
    row = {"band_mph": float(band_mph), "efficient_carry_yd": carry_yd}
    return [row | _turf(turf, carry_yd, RUN_YD) | given for turf in TURFS]


def _turf(turf, carry_yd, run_yd):
    run, best = run_yd[turf], carry_yd + run_yd[turf] + GAIN_YD[turf]
    total = carry_yd + run
    return {
        "turf": turf, "descent_deg": 38.2, "run_yd": run, "run_lo90_yd": 0.6 * run, "run_hi90_yd": 1.4 * run,
        "total_yd": total, "total_lo90_yd": total - 5, "total_hi90_yd": total + 5, "best_launch_deg": 13.6,
        "best_spin_rpm": 2312.0, "best_descent_deg": 33.1, "best_carry_yd": carry_yd - COST_YD[turf],
        "best_total_yd": best, "best_total_lo90_yd": best - 5, "best_total_hi90_yd": best + 5,
        "carry_cost_yd": COST_YD[turf], "total_gain_yd": GAIN_YD[turf],
    }  # fmt: skip


def planned(name, speed_mph=96.6, rise_mph=0.154, **given):
    """Make a golfer's rows of `PracticePlan`; without a speed the trend can't be told."""
    rows = []
    for weeks in WEEKS_AHEAD:
        row = {
            "golfer": code(name),
            "weeks_ahead": weeks,
            "on": LAST_ON + timedelta(weeks=weeks),
            "sessions": 2 * weeks,
        }
        if speed_mph is not None:
            then, reach = speed_mph + rise_mph * weeks, 1.5 + 0.1 * weeks
            row |= {"speed_mph": then, "speed_lo90_mph": then - reach, "speed_hi90_mph": then + reach}
        rows.append(row | given)
    return rows


def speed_goal(name, due="dated", **given):
    """Make a golfer's row of `SpeedGoals`."""
    row = {"golfer": code(name), "goal_yd": 231.0, "goal_speed_mph": 99.2, "goal_speed_lo90_mph": 97.6, "due": due}
    row |= {"goal_speed_hi90_mph": 101.1, "speed_now_mph": 96.6, "with_ball": True, "light_target_mph": 119.4}
    if due == "dated":
        row |= {"due_on": date(2027, 1, 8), "due_lo90_on": date(2026, 11, 20), "due_hi90_on": date(2027, 4, 2)}
    return row | {"light_target_lo90_mph": 117.2, "light_target_hi90_mph": 121.6} | given


def teaching_tables(*, delivery=(), landings=(), bands=(), plan=(), goals=()):
    """Give the tables of these rows, by schema, as `TableSet` takes them; landings and plan are lists of lists."""
    flat = [[row for rows in given for row in rows] for given in (landings, bands, plan)]
    schemas = (Landings, LandingBands, PracticePlan)
    made = {schema: table_of(schema, rows) for schema, rows in zip(schemas, flat, strict=True)}
    return made | {Delivery: table_of(Delivery, delivery), SpeedGoals: table_of(SpeedGoals, goals)}
