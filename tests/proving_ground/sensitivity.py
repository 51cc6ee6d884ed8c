"""How much figures depend on the constants of the method: `python tests/proving_ground/sensitivity.py FILE`.

Each constant is set lower and higher, to values that nobody could call wrong, and the steps from the fit to the golfers
run again on one academy of the proving ground. The table says what moves, the largest of both ways.
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
    Constant("pipeline.fit.resampled", "REPLICATES", (100, 400)),
    Constant("pipeline.fit.survey", "FOLDS", (5, 20)),
    Constant("pipeline.statistics.sound_center", "HELD", (0.3, 0.5)),
    Constant("pipeline.statistics.sound_center", "WITHIN", (2.0, 3.0)),
    Constant("pipeline.golfers.causes", "UNUSUAL", (0.5, 1.5)),
    Constant("pipeline.golfers.causes", "NEXT_SHARE", (0.8, 1.0)),
    Constant("pipeline.golfers.causes", "LEAST_SPREAD", (0.0025, 0.01)),
    Constant("pipeline.golfers.causes", "NAMED_FROM_YD", (1.0, 4.0)),
    Constant("pipeline.golfers.ranking", "SPEED_FROM_GOLFERS", (3, 8)),
    Constant("pipeline.golfers.ranking", "SCATTER_FROM_GOLFERS", (5, 20)),
)


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


def judged(study: Any, settings: dict[str, Any], out: Path) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Run the steps from the fit to the golfers; give bands and golfers."""
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


def measure(constants: tuple[Constant, ...] = CONSTANTS) -> pl.DataFrame:
    """Run the study once for each value; give a row a constant."""
    ball, seed = next(iter(BALLS)), zlib.crc32(b"sensitivity")
    academy = make_academy(WORLDS[WORLD], ball, seed)
    rows = []
    with tempfile.TemporaryDirectory() as name:
        folder, out = Path(name) / "study", Path(name) / "out"
        study_run.write_study(academy, folder, seed)
        study_run.run_study(folder, out)
        _, study = load_study(folder)
        settings = study.model_dump(mode="json", by_alias=True)
        before = judged(study, settings, out)
        for constant in constants:
            used = getattr(sys.modules[constant.module], constant.name)
            found = []
            for value in constant.values:
                with changed(constant, value):
                    found.append(moved(before, judged(study, settings, out)))
            largest = {key: max(one[key] for one in found) for key in found[0]}
            lower, higher = constant.values
            rows.append(
                {"module": constant.module, "constant": constant.name, "used": float(used), "lower": float(lower),
                 "higher": float(higher), **{key: round(float(value), 3) for key, value in largest.items()}}
            )  # fmt: skip
            print(rows[-1], flush=True)
    return pl.DataFrame(rows)


if __name__ == "__main__":
    measure().write_csv(sys.argv[1])
