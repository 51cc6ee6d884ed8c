"""Hold goals, and speed or delivery first, against the truth of an academy."""

import contextlib
import io
from dataclasses import replace

import numpy as np
import polars as pl
from academy import QUARTERS, Academy
from judge import SPEEDS_MPH, Curve
from measures import inside
from study_run import Found
from targets import Target

from pipeline.coach.goals import plan_goals
from pipeline.configuration.study import BandGoals, Bands
from pipeline.statistics.arrays import Array

# Goals that no run of the pipeline chose; most lie at speeds that the worlds' golfers have.
WANTED_YD = {70.0: 175.0, 80.0: 205.0, 90.0: 238.0, 100.0: 265.0, 110.0: 295.0}
STEPS_MPH = np.arange(-9.0, 30.1, 3.0)  # from a golfer's own speed, for the true carry of a faster or slower self
KEYS = ["golfer", "quarter"]
ASKED, DEFAULT = "goals.csv", "default_goals.csv"  # with `WANTED_YD`, and as the pipeline sets them itself

# Near the last speed of the data a needed speed is told only where it errs low. So truths are judged that lie inside
# by more than three of the largest standard errors.
INSIDE_MPH = 3.0


def plan(found: Found) -> None:
    """Run the step on an academy's results, its message swallowed, for goals that are wanted and for default ones.

    priorities.csv, pace.json, those of `reaching` and the files of goals lie beside the others then.
    """
    inputs = {"drives": "drives.parquet", "golfers": "golfers.csv", "changes": "changes.csv", "model": "model.json"}
    inputs |= {"frontier": "frontier.json", "replicates": "replicates.npz", "tables": "tables.npz"}
    for goals, wanted_yd in ((ASKED, WANTED_YD), (DEFAULT, {})):
        outputs = {"goals": goals, "priorities_csv": "priorities.csv", "pace": "pace.json"}
        outputs |= {"reaching": "reaching.npz", "usual_reaching": "usual_reaching.json"}
        paths = {keyword: str(found.folder / name) for keyword, name in (inputs | outputs).items()}
        wanted = BandGoals(carry_yd=wanted_yd).model_dump(mode="json")
        with contextlib.redirect_stdout(io.StringIO()):
            plan_goals.run(**paths, bands=Bands().model_dump(mode="json"), wanted=wanted, turf="normal")


def true_carry_over(academy: Academy) -> pl.DataFrame:
    """Give true mean carry at speeds `STEPS_MPH` from each golfer's own one, the swing otherwise the same.

    Returns
    -------
    DataFrame
        The rows of `academy.golfers` of the newest quarter, for which goals are planned, with `curve_yd`: as many
        numbers as steps, yd, at sea level on the scale of the reference device and ball.
    """
    golfers = academy.golfers.filter(pl.col("quarter") == QUARTERS[-1])
    carries = []
    for step in STEPS_MPH:
        moved = replace(academy, golfers=golfers.with_columns(pl.col("club_speed_mph") + step))
        carries.append(moved.usual.get_column("mean_carry_yd").to_numpy())
    return golfers.with_columns(pl.Series("curve_yd", np.stack(carries, axis=1)))


def judge_goals(academy: Academy, found: Found, curve: Curve, over: pl.DataFrame, name: str = ASKED) -> pl.DataFrame:
    """Hold goals against the truth.

    Parameters
    ----------
    academy : Academy
    found : Found
        Its folder has the file of goals, from `plan`.
    curve : Curve
        From `true_curve`.
    over : DataFrame
        From `true_carry_over`.
    name : str
        Of the file.

    Returns
    -------
    DataFrame
        kind (efficient_speed, one row a goal; present_speed, delivery, speed and quarters, one row a golfer), golfer,
        estimate, lo, hi, truth, goal_yd, goal_from. An edge beyond the data is infinite; speeds are those well inside
        the data. Quarters are those of golfers who truly need more speed, the truth being infinite where nobody gains
        any and the estimate null where none is told; without an interval they have no row.
    """
    efficient = curve.carry_yd * (1 + academy.reference_share)
    table = found.golfers(name).rename({"club_speed_mph": "read_speed_mph"})
    rows = table.join(over, on=KEYS, how="inner").filter(pl.col("goal_yd").is_not_null()).sort("golfer")
    goal, speed = (rows.get_column(name).to_numpy() for name in ("goal_yd", "club_speed_mph"))
    carries = rows.get_column("curve_yd").to_numpy()
    now = carries[:, list(STEPS_MPH).index(0.0)]
    at = speed[:, None] + STEPS_MPH
    # Beyond the curve's ends the truth is not known to this judge.
    needed = [np.interp(g, c, v, np.nan, np.nan) for g, c, v in zip(goal, carries, at, strict=True)]
    gap, lost = goal - now, np.interp(speed, SPEEDS_MPH, efficient) - now
    delivery = np.clip(np.minimum(gap, lost), 0, None)
    truths = {
        "efficient_speed": np.interp(goal, efficient, SPEEDS_MPH),
        "present_speed": np.array(needed),
        "delivery": delivery,
        "speed": np.clip(gap, 0, None) - delivery,
        "quarters": true_quarters(np.fmin(np.interp(goal, efficient, SPEEDS_MPH), needed) - speed, academy),
    }
    parts = [_rows(rows.with_columns(pl.Series("truth", truth)), kind) for kind, truth in truths.items()]
    parts[0] = parts[0].unique("goal_yd", keep="first", maintain_order=True)  # one figure for all of a band
    return pl.concat(parts).filter(~pl.col("kind").str.ends_with("_speed") | _well_inside(found))


def true_quarters(step_mph: Array, academy: Academy) -> Array:
    """Give how long golfers who gain what the world says truly need; NaN for those who need no more speed."""
    gain = academy.world.faster_mph
    time = step_mph / gain if gain else np.full_like(step_mph, np.inf)
    return np.where(step_mph > 0, time, np.nan)


def judge_choice(found: Found) -> pl.DataFrame:
    """Say of each golfer where the default goal comes from (`none` without one), and whether a time is told."""
    rows = found.golfers(DEFAULT).sort("golfer")
    told = pl.col("quarters").is_not_null() & pl.col("quarters_hi90").is_not_null()
    return rows.select("golfer", pl.col("goal_from").fill_null("none"), told.alias("time_told"), "reach")


def _well_inside(found: Found) -> pl.Expr:
    speeds = found.frontier().speed_mph
    return pl.col("truth").is_between(speeds.min() + INSIDE_MPH, speeds.max() - INSIDE_MPH)


def _rows(rows: pl.DataFrame, kind: str) -> pl.DataFrame:
    unit = "" if kind == "quarters" else "_mph" if kind.endswith("_speed") else "_yd"
    picked = rows.select(
        pl.lit(kind).alias("kind"),
        "golfer",
        pl.col(f"{kind}{unit}").cast(pl.Float64).alias("estimate"),
        pl.col(f"{kind}_lo90{unit}").cast(pl.Float64).fill_null(-np.inf).alias("lo"),
        pl.col(f"{kind}_hi90{unit}").cast(pl.Float64).fill_null(np.inf).alias("hi"),
        "truth",
        "goal_yd",
        pl.col("goal_from").cast(pl.String),
    )
    stated = pl.col("lo").is_finite() if kind == "quarters" else pl.col("estimate").is_not_null()
    return picked.filter(stated & pl.col("truth").is_not_nan())


def judge_priorities(academy: Academy, found: Found, curve: Curve, over: pl.DataFrame) -> pl.DataFrame:
    """Hold priorities.csv against the truth; one row a golfer, parameters as of `judge_goals`.

    In these worlds everybody gains the same speed, so a golfer's own true gain is that, and the spread is nil.
    """
    efficient = curve.carry_yd * (1 + academy.reference_share)
    table = found.golfers("priorities.csv").drop("club_speed_mph")
    rows = table.join(over, on=KEYS, how="inner").sort("golfer")
    speed, carries = rows.get_column("club_speed_mph").to_numpy(), rows.get_column("curve_yd").to_numpy()
    middle = list(STEPS_MPH).index(0.0)
    per_mph = (carries[:, middle + 1] - carries[:, middle - 1]) / (STEPS_MPH[middle + 1] - STEPS_MPH[middle - 1])
    lost = np.interp(speed, SPEEDS_MPH, efficient) - carries[:, middle]
    gained = per_mph * academy.world.faster_mph
    return rows.select(
        "golfer",
        "first",
        "confidence",
        (pl.col("speed_gain_mph") - academy.world.faster_mph).alias("gain_error_mph"),
        (pl.col("yards_per_mph") - pl.Series(per_mph)).alias("per_mph_error_yd"),
        pl.Series("true_delivery_yd", lost),
        pl.Series("true_speed_yd", gained),
        pl.Series("delivery_gives_more", lost > gained),
    )


def measures(judged: dict[str, pl.DataFrame]) -> dict[str, float | None]:
    """Work out what `TARGETS` are set for, from the part's frames; None where nothing is there."""
    found: dict[str, float | None] = {}
    for frame, name in (("goals", "goal"), ("default_goals", "default_goal")):
        for kind in ("efficient_speed", "present_speed", "delivery", "speed"):
            rows = judged[frame].filter(pl.col("kind") == kind)
            unit = "mph" if kind.endswith("_speed") else "yd"
            found[f"{name}_{kind}_bias_{unit}"] = _mean(rows, pl.col("estimate") - pl.col("truth"))
            found[f"{name}_{kind}_coverage90"] = _mean(rows, inside("truth", "lo", "hi"))
        times = judged[frame].filter(pl.col("kind") == "quarters")
        found[f"{name}_quarters_coverage90"] = _mean(times, inside("truth", "lo", "hi"))
        known = times.filter((pl.col("estimate") > 0) & pl.col("truth").is_finite())
        found[f"{name}_quarters_bias_share"] = _mean(known, pl.col("estimate") / pl.col("truth") - 1)
        never = times.filter(pl.col("truth").is_infinite())
        found[f"{name}_quarters_wrongly_told"] = _mean(never, pl.col("hi").is_finite())
    own = judged["default_goals"].filter(pl.col("kind") == "delivery", pl.col("goal_from") == "own speed")
    found["own_speed_truly_short"] = _mean(own, pl.col("truth") > 0)
    found["without_default_goal"] = _mean(judged["choices"], pl.col("goal_from") == "none")
    first = judged["priorities"]
    named = first.filter(pl.col("first").is_in(["delivery", "speed"]))
    found["first_right"] = _mean(named, (pl.col("first") == "delivery") == pl.col("delivery_gives_more"))
    found["first_confidence"] = _mean(named, pl.col("confidence"))
    found["gain_bias_mph"] = _mean(first, pl.col("gain_error_mph"))
    return found


def _mean(rows: pl.DataFrame, value: pl.Expr) -> float | None:
    found = rows.select(value.cast(pl.Float64).mean()).item() if rows.height else None
    return None if found is None else float(found)


TARGETS = (
    Target("speed for a goal, efficient delivery: bias, mph", "goal_efficient_speed_bias_mph", -1.0, 1.0),
    Target("the same: 90 % intervals that hold the truth", "goal_efficient_speed_coverage90", 0.87, 0.93, 3),
    Target("speed for a goal, present delivery: bias, mph", "goal_present_speed_bias_mph", -1.0, 1.0),
    Target("the same: 90 % intervals that hold the truth", "goal_present_speed_coverage90", 0.87, 0.93, 3),
    Target("yards to a goal by delivery: bias, yd", "goal_delivery_bias_yd", -1.5, 1.5),
    Target("the same: 90 % intervals that hold the truth", "goal_delivery_coverage90", 0.87, 0.93, 3),
    Target("yards to a goal by speed: bias, yd", "goal_speed_bias_yd", -1.5, 1.5),
    Target("the same: 90 % intervals that hold the truth", "goal_speed_coverage90", 0.87, 0.93, 3),
    Target("quarters to a goal, where more speed is needed: 90 % intervals that hold the truth",
           "goal_quarters_coverage90", 0.87, None, 3),
    Target("the same where golfers gain no speed: share with an end", "goal_quarters_wrongly_told", None, 0.10, 3),
    Target("default goals, yards by delivery: 90 % intervals that hold the truth", "default_goal_delivery_coverage90",
           0.87, None, 3),
    Target("the goal is one's own efficient carry: share truly short of it", "own_speed_truly_short", 0.95, None, 3),
    Target("golfers without a default goal", "without_default_goal", None, 0.05, 3),
    Target("speed or delivery first, where one is named: share right", "first_right", 0.8, None, 3),
)  # fmt: skip
