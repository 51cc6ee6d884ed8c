"""Hold straightness, and what curve costs, against the truth of an academy whose drives start to a side and bend.

Judged world by world, as yards are (`targets`): figures of offline, of the corridor and of their changes, and beside
them yards lost of those who bend their drives much.
"""

import contextlib
import io

import polars as pl
from academy import CORRIDOR_YD, Academy
from measures import Judged, Value, assessed, inside, mean_of
from study_run import Found
from targets import KINDS, Target, excess, judge, row_of
from words import matrix_of

from pipeline.coach.straightness import assess_straightness
from pipeline.configuration.study import Bands, Flags, Privacy, StandardAir

MUCH_DEG = 10.0  # mean spin axis from which a golfer's drives bend much
FRAME = "straightness"

TARGETS = (
    Target("offline, mean: bias, yd", "offline_mean_bias_yd", -1.0, 1.0),
    Target("offline, mean, away from the target line: bias, yd", "offline_mean_out_yd", -1.0, 1.0),
    Target("offline, mean: 90 % intervals that hold the truth", "offline_mean_coverage90", 0.85, 0.95, 3),
    Target("offline, spread: bias, share of it", "offline_sd_bias", -0.05, 0.05, 3),
    Target("offline, spread: 90 % intervals that hold the truth", "offline_sd_coverage90", 0.85, 0.95, 3),
    Target("share in the corridor: bias", "in_corridor_bias", -0.02, 0.02, 3),
    Target("share in the corridor: 90 % intervals that hold the truth", "in_corridor_coverage90", 0.85, 0.95, 3),
    Target("nothing changed: 90 % intervals of the mean's change that hold zero", "mean_change_coverage90", 0.85, 0.95, 3),
    Target("nothing changed: 90 % intervals of the spread's change that hold zero", "sd_change_coverage90", 0.85, 0.95, 3),
    Target("curve: bias, yd", "curve_bias_yd", -1.5, 1.5),
    Target("yards lost of golfers who bend much: bias, yd", "much_lost_bias_yd", -1.5, 1.5),
    Target("the same: 90 % intervals that hold the truth", "much_lost_coverage90", 0.85, 0.95, 3),
)  # fmt: skip


def assess(found: Found) -> None:
    """Run the step on an academy's results, its message swallowed."""
    names = {"drives": "drives.parquet", "calibration": "calibration.json", "straightness": "straightness.csv"}
    names |= {"straightness_bands": "straightness_bands.csv"}
    with contextlib.redirect_stdout(io.StringIO()):
        assess_straightness.run(
            **{keyword: str(found.folder / name) for keyword, name in names.items()},
            air=StandardAir().model_dump(mode="json"),
            bands=Bands().model_dump(mode="json"),
            corridor_yd=CORRIDOR_YD,
            min_shots=Flags().min_shots,
            min_golfers=Privacy().min_golfers,
        )


def judge_straightness(academy: Academy, found: Found) -> Judged:
    """Hold straightness against the truth.

    Returns
    -------
    dict of DataFrame
        `FRAME`: one row per golfer and quarter that was assessed, with true_offline_mean_yd, true_offline_sd_yd and
        true_in_corridor. Nothing where drives are straight or no log says where they went.
    """
    if not academy.world.side_said:
        return {}
    assess(found)
    table = found.golfers("straightness.csv").filter(status="assessed")
    true = academy.usual.select("golfer", "quarter", "kind", "axis_deg", pl.col("^true_.*$"))
    return {FRAME: table.join(true, on=["golfer", "quarter"], validate="1:1", maintain_order="left")}


def measures(judged: Judged) -> dict[str, Value]:
    """Work out every measure of `TARGETS`, of worlds that bend drives.

    Parameters
    ----------
    judged : dict of DataFrame
        `FRAME`, and golfers with true_curve_yd and axis_deg.
    """
    rows, golfers = judged[FRAME], assessed(judged)
    much = golfers.filter(pl.col("axis_deg").abs() >= MUCH_DEG)
    lost = pl.col("lost_yd") - pl.col("true_lost_yd")
    found = {
        "curve_bias_yd": mean_of(golfers, pl.col("lost_curve_yd") - pl.col("true_curve_yd")),
        "much_lost_bias_yd": mean_of(much, lost),
        "much_lost_coverage90": mean_of(much, inside("true_lost_yd", "lost_lo90_yd", "lost_hi90_yd"), share=True),
    }
    if rows.is_empty():
        return dict.fromkeys((target.measure for target in TARGETS), Value(None, None, 0)) | found
    off = pl.col("offline_mean_yd") - pl.col("true_offline_mean_yd")
    zero = rows.with_columns(zero=pl.lit(0.0))

    def held(what: str, unit: str = "_yd") -> Value:
        return mean_of(rows, inside(f"true_{what}", f"{what}_lo90{unit}", f"{what}_hi90{unit}"), share=True)

    def unchanged(what: str) -> Value:
        return mean_of(zero, inside("zero", f"{what}_change_lo90_yd", f"{what}_change_hi90_yd"), share=True)

    rows = rows.rename({"true_offline_mean_yd": "true_offline_mean", "true_offline_sd_yd": "true_offline_sd"})
    rows = rows.rename({"true_in_corridor": "true_in_corridor_share"})
    return found | {
        "offline_mean_bias_yd": mean_of(zero, off),
        "offline_mean_out_yd": mean_of(zero, off * pl.col("true_offline_mean_yd").sign()),
        "offline_mean_coverage90": held("offline_mean"),
        "offline_sd_bias": mean_of(rows, pl.col("offline_sd_yd") / pl.col("true_offline_sd") - 1),
        "offline_sd_coverage90": held("offline_sd"),
        "in_corridor_bias": mean_of(rows, pl.col("in_corridor_share") - pl.col("true_in_corridor_share")),
        "in_corridor_coverage90": held("in_corridor_share", ""),
        "mean_change_coverage90": unchanged("offline_mean"),
        "sd_change_coverage90": unchanged("offline_sd"),
    }


def straight_by_world(judged: Judged) -> pl.DataFrame:
    """List each target in each world that bends drives; columns as those of `targets.by_world`."""
    rows = []
    bent = judged["golfers"].filter(pl.col("axis_deg").is_not_null())
    for world in bent.get_column("world").unique(maintain_order=True).to_list():
        here = pl.col("world") == world
        found = measures({FRAME: judged[FRAME].filter(here), "golfers": bent.filter(here)})
        for target in TARGETS:
            value = found[target.measure]
            outside = None if value.value is None else excess(value.value, target)
            row = row_of(target, None, value)
            rows.append({"world": world, **row, "rank": int(judge(value, target)), "outside": outside})
    return pl.DataFrame(rows, schema_overrides=KINDS | {"outside": pl.Float64}, infer_schema_length=None)


STRAIGHT = """## How straight
In worlds whose drives start to a side and bend: `curving`; `cross-wind`, with a wind of 0 to 6 m/s from the left that
the logs have; `curving-calculated`, whose logs have start direction and spin axis and no offline; `curving-unsaid`,
whose logs have none of it, as most academies'. True offline is that of all drives a golfer might hit in calm air. The
corridor is {corridor:g} yd wide. A golfer bends drives much from a mean spin axis of {much:g} deg on.

{matrix}"""


def straight_words(listed: pl.DataFrame) -> str:
    """Write the section on straightness."""
    return STRAIGHT.format(corridor=CORRIDOR_YD, much=MUCH_DEG, matrix=matrix_of(listed, TARGETS))
