"""Hold the shares of drives that reach a distance, said of one quarter's drives, against the truth of the next."""

import numpy as np
import polars as pl
from academy import QUARTERS, Academy, long_run
from study_run import Found
from targets import Target
from true_flight import Array

from pipeline.coach.reaching.reaching_drives import CARRY, golfers_drives
from pipeline.drives import FIT_COLUMNS
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.fit.model import FittedModel

# Distances beside each golfer's center, yd.
BESIDE_YD = (-25.0, -15.0, -8.0, 0.0, 8.0, 15.0, 25.0)
LEAST_PREDICTIONS = 200  # in a tenth that is judged
DRIVES = 2048

TARGETS = (
    Target("share of drives that reach a distance, worst tenth: predicted less true", "reaching_worst_off", None, 0.03, 3),
    Target("the same: 90 % intervals that hold the truth", "reaching_coverage", 0.85, 0.95, 3),
)


def true_drives(academy: Academy, quarter: str) -> tuple[list[str], Array]:
    """Give golfers' names and how far their drives carry, yd, shape (golfers, DRIVES): one a day, on the reference."""
    golfers = academy.golfers.filter(quarter=quarter)
    carry = long_run(academy, golfers, DRIVES, seed=11).carry_yd
    return golfers.get_column("golfer").to_list(), carry * (1 + golfers.get_column("beyond").to_numpy()[:, None])


def judge_reaching(academy: Academy, found: Found) -> pl.DataFrame:
    """Hold shares that the first quarter's drives predict against those of the second.

    Returns
    -------
    DataFrame
        golfer, distance_yd, estimate, lo, hi, truth: a row for each golfer and each of `BESIDE_YD`.
    """
    model = read_artefact(found.folder / "model.json", FittedModel).model
    drives = open_drives(found.folder / "drives.parquet", (*FIT_COLUMNS, "struck_on"))
    first = drives.mapped(
        lambda frame: model.with_reference(frame.filter(quarter=QUARTERS[0])).rename({"carry_reference_yd": CARRY})
    )
    scatter = golfers_drives(first, CARRY)
    names, carries = true_drives(academy, QUARTERS[1])
    place = {name: row for row, name in enumerate(names)}
    true = carries[[place[found.names[code]] for code in scatter.golfer]]
    frames = []
    for beside in BESIDE_YD:
        asked = 5 * np.round((scatter.spread.center_yd + beside) / 5)
        share, lo, hi = scatter.spread.share_reaching(asked)
        columns = {"distance_yd": asked, "estimate": share, "lo": lo, "hi": hi}
        truth = (true >= asked[:, None]).mean(axis=1)
        frames.append(pl.DataFrame({"golfer": scatter.golfer, **columns, "truth": truth}))
    return pl.concat(frames)


def measures(judged: pl.DataFrame) -> dict[str, float | None]:
    """Give how far the worst tenth of predicted shares is off, and the share of intervals that cover the true value.

    Tenths with under `LEAST_PREDICTIONS` predictions aren't judged; null where none is.
    """
    tenths = judged.group_by((10 * pl.col("estimate")).floor().clip(0, 9).alias("tenth")).agg(
        pl.len().alias("n"), (pl.col("estimate") - pl.col("truth")).mean().alias("off")
    )
    judged_off = tenths.filter(pl.col("n") >= LEAST_PREDICTIONS).get_column("off")
    held = judged.select(pl.col("truth").is_between(pl.col("lo"), pl.col("hi")).mean()).item()
    return {"reaching_worst_off": judged_off.abs().max(), "reaching_coverage": held}
