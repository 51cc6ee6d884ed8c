"""The coach's figures in the proving ground: judged in the studies that are run anyhow, and in a few of other kinds."""

from collections.abc import Callable
from functools import partial
from typing import NamedTuple

import coach_delivery
import coach_goals
import coach_practice
import coach_progress
import coach_reaching
import numpy as np
import polars as pl
from academy import Academy
from judge import Curve
from measures import Judged
from study_run import Found
from targets import Target, range_of, verdict
from worlds import World

# Academies of the kinds that need no study of their own, for one of those that do.
SLOPES_FOR_ONE, PRACTICE_FOR_ONE = 6, 3
SWAPS = "loft-swaps"

# Of the cases of progress, "nothing changed" is what most worlds are.
CASES = [case for case in coach_progress.CASES if case != "nothing changed"]


class Part(NamedTuple):
    """A part of the coach's work: its targets and how its measures are calculated from what was judged."""

    targets: tuple[Target, ...]
    frames: tuple[str, ...]
    """Names of the frames that the measures rest on."""
    measures: Callable[[Judged], dict[str, float | None]]


PARTS = {
    "goals": Part(coach_goals.TARGETS, ("goals", "default_goals", "choices", "priorities"), coach_goals.measures),
    "progress": Part(coach_progress.TARGETS, ("progress",), lambda j: coach_progress.measures(j["progress"])),
    "delivery": Part(
        coach_delivery.TARGETS,
        ("slopes", "delivery"),
        lambda j: coach_delivery.measures(j["slopes"], j["delivery"]),
    ),
    "reaching": Part(coach_reaching.TARGETS, ("reaching",), lambda j: coach_reaching.measures(j["reaching"])),
    "practice": Part(coach_practice.TARGETS, ("practice",), lambda j: coach_practice.measures(j["practice"])),
}
FRAMES = tuple(name for part in PARTS.values() for name in part.frames)


def judge_coach(academy: Academy, found: Found, curve: Curve, name: str) -> Judged:
    """Run the coach's steps in an academy's results and hold what they found against the truth.

    Parameters
    ----------
    academy : Academy
    found : Found
    curve : Curve
        From `true_curve`.
    name : str
        Of the academy's world.

    Returns
    -------
    dict of DataFrame
        By the names in `FRAMES`, but practice; without reaching where golfers change.
    """
    coach_goals.plan(found)
    coach_progress.run_progress(found)
    coach_delivery.advise(found)
    over = coach_goals.true_carry_over(academy)
    progress = coach_progress.judge_progress(academy, found, curve)
    # The next quarter's drives are foreseen as this one's: that can be right only where nothing changes.
    same = not (academy.world.cured or academy.world.faster_mph)
    reaching = {"reaching": coach_reaching.judge_reaching(academy, found)} if same else {}
    return {
        "goals": coach_goals.judge_goals(academy, found, curve, over),
        "default_goals": coach_goals.judge_goals(academy, found, curve, over, coach_goals.DEFAULT),
        "choices": coach_goals.judge_choice(found),
        "priorities": coach_goals.judge_priorities(academy, found, curve, over),
        "progress": progress.select(pl.lit(case_of(academy.world, name)).alias("case"), pl.all()),
        "slopes": coach_delivery.judge_slopes(academy),
        "delivery": coach_delivery.judge_delivery(academy, found),
        **reaching,
    }


def case_of(world: World, name: str) -> str:
    """Give the case of progress that a world is; a world where something changes is one of its own."""
    if world.cured or world.faster_mph:
        return name
    return "nothing changed, form of the day" if world.form_yd else "nothing changed"


def _progress(academies: int, case: str) -> Judged:
    return {"progress": coach_progress.study(case, academies).select(pl.lit(case).alias("world"), pl.all())}


def _swaps(academies: int) -> Judged:
    return {"slopes": coach_delivery.prove_delivery(SWAPS, SLOPES_FOR_ONE * academies, 0)[0]}


def _practice(academies: int) -> Judged:
    return {"practice": coach_practice.prove_practice(PRACTICE_FOR_ONE * academies)}


def further(academies: int) -> list[Callable[[], Judged]]:
    """List what is to be judged beside the worlds' own academies; each gives frames with world and academy in front."""
    studies = [partial(_progress, academies, case) for case in CASES]
    return [*studies, partial(_swaps, academies), partial(_practice, academies)]


def coach_table(judged: Judged) -> pl.DataFrame:
    """Hold every measure against its target.

    Returns
    -------
    DataFrame
        part, measure, target, value, std_error (over academies, by the jackknife; null where a measure isn't to be had
        without one of them), met (yes, no by how much, or not measured).
    """
    rows = []
    for name, part in PARTS.items():
        frames = {frame: judged[frame] for frame in part.frames}
        found, errors = part.measures(frames), std_errors(frames, part.measures)
        for target in part.targets:
            value, error = found[target.measure], errors[target.measure]
            rows.append(
                {
                    "part": name,
                    "measure": target.what,
                    "target": range_of(target),
                    "value": None if value is None else round(value, target.digits),
                    "std_error": None if error is None else float(f"{error:.2g}"),
                    "met": verdict(value, target).replace("**missed**", "no, missed").replace("met", "yes"),
                }
            )
    kinds = dict.fromkeys(("value", "std_error"), pl.Float64)
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides=kinds)


def std_errors(frames: Judged, measure: Callable[[Judged], dict[str, float | None]]) -> dict[str, float | None]:
    """Give the standard error of measures over academies by leaving out one at a time.

    Parameters
    ----------
    frames : dict of DataFrame
        With world and academy.
    measure : callable
        Gives figures by name.

    References
    ----------
    The jackknife: Efron, The Jackknife, the Bootstrap and Other Resampling Plans (1982), chapter 3.
    """
    keys = ["world", "academy"]
    academies = pl.concat(frame.select(keys) for frame in frames.values()).unique(maintain_order=True)
    left = [
        measure({name: frame.join(one, on=keys, how="anti") for name, frame in frames.items()})
        for one in academies.iter_slices(1)
    ]
    n = len(left)
    return {name: _spread([one[name] for one in left], n) for name in (left[0] if n > 1 else measure(frames))}


def _spread(values: list[float | None], n: int) -> float | None:
    known = [value for value in values if value is not None]
    if n < 2 or len(known) < n:
        return None
    return float(np.sqrt((n - 1) / n * np.sum((np.array(known) - np.mean(known)) ** 2)))
