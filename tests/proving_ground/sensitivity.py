"""How much figures depend on the method: `python tests/proving_ground/sensitivity.py FILE [NAME ...]`.

Each constant, and each choice of `study.yaml` that was one once, is set lower and higher, to values that nobody could
call wrong, and the steps from the fit to the golfers run again on one academy of the proving ground. The table says
what moves, the largest of both ways. Where names are given, the rows of the others stay as they are in FILE.
"""

import contextlib
import io
import sys
import tempfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import study_run
from academy import make_academy
from true_flight import BALLS
from worlds import WORLDS

from pipeline.configuration.load import load_study

WORLD = "plain"


@dataclass(frozen=True)
class Constant:
    """A constant of a module, by its name, with the two values that are tried."""

    module: str
    name: str
    values: tuple[Any, Any]


CONSTANTS = (
    Constant("pipeline.benchmark.efficient", "SHAPE_WIDTHS", (1.4, 2.8)),
    Constant("pipeline.benchmark.efficient", "LEARNT", (3, 9)),
    Constant("pipeline.benchmark.efficient", "WINDOW_Z", (0.5, 1.28)),
    Constant("pipeline.benchmark.efficient", "LAUNCH_STEP_DEG", (0.125, 0.5)),
    Constant("pipeline.benchmark.efficient", "SPIN_STEP_RPM", (25.0, 100.0)),
    Constant("pipeline.benchmark.support", "MIN_BANDWIDTH_LAUNCH_DEG", (0.15, 0.6)),
    Constant("pipeline.benchmark.support", "MIN_BANDWIDTH_SPIN_RPM", (40.0, 160.0)),
    Constant("pipeline.statistics.sound_center", "HELD", (0.3, 0.5)),
    Constant("pipeline.statistics.sound_center", "WITHIN", (2.0, 3.0)),
    Constant("pipeline.golfers.causes", "UNUSUAL", (0.5, 1.5)),
    Constant("pipeline.golfers.causes", "NEXT_SHARE", (0.8, 1.0)),
    Constant("pipeline.golfers.causes", "LEAST_SPREAD", (0.0025, 0.01)),
    Constant("pipeline.golfers.causes", "NAMED_FROM_YD", (1.0, 4.0)),
    Constant("pipeline.golfers.ranking", "SPEED_FROM_GOLFERS", (3, 8)),
    Constant("pipeline.golfers.ranking", "SCATTER_FROM_GOLFERS", (5, 20)),
)
STUDY = "study.yaml"  # in place of a module
CHOICES = (
    Constant(STUDY, "model.folds", (5, 20)),
    Constant(STUDY, "model.replicates", (100, 400)),
    Constant(STUDY, "efficient.deliveries", (0.75, 0.85)),
    Constant(STUDY, "efficient.strike", (0.7, 0.8)),
)


def with_choice(study: Any, key: str, value: Any) -> Any:
    """Give a study with another value of a key such as `model.folds`."""
    part, name = key.split(".")
    return study.model_copy(update={part: getattr(study, part).model_copy(update={name: value})})


@contextlib.contextmanager
def changed(constant: Constant, value: Any) -> Iterator[None]:
    """Set a constant wherever modules of the pipeline have it under its name."""
    original = getattr(sys.modules[constant.module], constant.name)
    holders = [
        module
        for name, module in sys.modules.items()
        if name.startswith("pipeline.") and getattr(module, constant.name, None) is original
        if name == constant.module or isinstance(original, float)
    ]
    try:
        for module in holders:
            setattr(module, constant.name, value)
        yield
    finally:
        for module in holders:
            setattr(module, constant.name, original)


def judged(study: Any, out: Path) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Run the steps from the fit to the golfers; give bands and golfers."""
    settings = study.model_dump(mode="json", by_alias=True)
    with contextlib.redirect_stdout(io.StringIO()):
        study_run._judge(study, settings, out)
    bands = pl.read_csv(out / "bands.csv", infer_schema_length=None).filter(pl.col("golfers") >= 12)
    return bands, pl.read_csv(out / "golfers.csv", infer_schema_length=None)


def moved(before: tuple[pl.DataFrame, pl.DataFrame], after: tuple[pl.DataFrame, pl.DataFrame]) -> dict[str, float]:
    """Say what moved: efficient carry and the window's edges at most, yards lost, and numbers of golfers."""
    bands = before[0].join(after[0], on=["quarter", "band_mph"], suffix="_now")
    golfers = before[1].join(after[1], on=["golfer", "quarter"], suffix="_now")

    def most(frame: pl.DataFrame, *names: str) -> float:
        gaps = [frame.select((pl.col(f"{name}_now") - pl.col(name)).abs().max()).item() or 0.0 for name in names]
        return float(np.max(gaps))

    def differ(name: str) -> int:
        return golfers.filter(pl.col(f"{name}_now") != pl.col(name)).height

    reach = (pl.col("lost_hi90_yd") - pl.col("lost_lo90_yd")).mean()
    widths = [frame.select(reach).item() for _, frame in (before, after)]
    return {
        "efficient_yd": most(bands, "efficient_carry_yd"),
        "window_deg": most(bands, "launch_lo_deg", "launch_hi_deg"),
        "window_rpm": most(bands, "spin_lo_rpm", "spin_hi_rpm"),
        "lost_yd": most(golfers, "lost_yd"),
        "interval_share": abs(widths[1] / widths[0] - 1),
        "flags": differ("flagged"),
        "causes": differ("main_cause"),
    }


def judged_with(constant: Constant, value: Any, study: Any, out: Path) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Do what `judged` does, with another value of a constant or a choice."""
    if constant.module == STUDY:
        return judged(with_choice(study, constant.name, value), out)
    with changed(constant, value):
        return judged(study, out)


def used_value(constant: Constant, study: Any) -> float:
    """Give the value that a study goes by."""
    if constant.module == STUDY:
        part, name = constant.name.split(".")
        return float(getattr(getattr(study, part), name))
    return float(getattr(sys.modules[constant.module], constant.name))


def measure(constants: tuple[Constant, ...]) -> pl.DataFrame:
    """Run the study once for each value; give a row a constant or choice."""
    ball, seed = next(iter(BALLS)), zlib.crc32(b"sensitivity")
    academy = make_academy(WORLDS[WORLD], ball, seed)
    rows = []
    with tempfile.TemporaryDirectory() as name:
        folder, out = Path(name) / "study", Path(name) / "out"
        study_run.write_study(academy, folder, seed)
        study_run.run_study(folder, out)
        _, study = load_study(folder)
        before = judged(study, out)
        for constant in constants:
            found = [moved(before, judged_with(constant, value, study, out)) for value in constant.values]
            largest = {key: max(one[key] for one in found) for key in found[0]}
            lower, higher = constant.values
            rows.append(
                {"module": constant.module, "constant": constant.name, "used": used_value(constant, study),
                 "lower": float(lower), "higher": float(higher),
                 **{key: round(float(value), 3) for key, value in largest.items()}}
            )  # fmt: skip
            print(rows[-1], flush=True)
    return pl.DataFrame(rows)


if __name__ == "__main__":
    file, *names = sys.argv[1:]
    every = (*CONSTANTS, *CHOICES)
    table = measure(tuple(one for one in every if not names or one.name in names))
    if names:
        kept = pl.read_csv(file).filter(~pl.col("constant").is_in(names))
        order = {one.name: place for place, one in enumerate(every)}
        table = pl.concat([kept, table], how="vertical_relaxed").sort(pl.col("constant").replace_strict(order))
    table.write_csv(file)
