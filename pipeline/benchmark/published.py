"""What two models publish at the bands' centers, and what moved it: references, moves to standard air, or the fit."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.bands import band_table, golfers_by_quarter
from pipeline.benchmark.efficient import Efficient, Population, draw_crowds, efficient_at, supported_speeds
from pipeline.benchmark.frontier import WINDOW_EDGES
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.drives import Drives
from pipeline.fit.findings import Findings
from pipeline.fit.model import CarryModel
from pipeline.fit.model_changes import under_conditions
from pipeline.fit.references import References
from pipeline.fit.resampled import ResampledFits
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import MANY, satterthwaite, t_reach
from pipeline.threads import in_order

FIGURES = ("carry_yd", "std_error_yd", "freedom", "launch_deg", "spin_rpm", *WINDOW_EDGES)
USUAL = "carry_p50_yd"


@dataclass(frozen=True)
class BenchmarkRules:
    """How a study makes its benchmarks of a model.

    Attributes
    ----------
    bands : SpeedBands
    min_shots : int
        Drives of a golfer who counts.
    min_golfers : int
        Fewest golfers behind a figure.
    tolerance_yd : float
        How far below efficient carry the window reaches.
    deliveries : float
        Share of deliveries that the reachable ones hold.
    """

    bands: SpeedBands
    min_shots: int
    min_golfers: int
    tolerance_yd: float
    deliveries: float = Population.deliveries

    @classmethod
    def of(cls, settings: Mapping[str, Any]) -> "BenchmarkRules":
        """Take them from settings as study.yaml has them: bands, flags, privacy, window_tolerance_yd and efficient."""
        bands = SpeedBands.of(settings["bands"]["centres"], settings["bands"]["half_width_mph"])
        shots, golfers = settings["flags"]["min_shots"], settings["privacy"]["min_golfers"]
        held = settings["efficient"]["deliveries"]
        return cls(bands, shots, golfers, settings["window_tolerance_yd"], held)


@dataclass(frozen=True)
class Publisher:
    """A model with what its benchmarks are made of.

    Attributes
    ----------
    model : CarryModel
    refits : ResampledFits
    typical : DataFrame
        typical.parquet of its fit.
    rules : BenchmarkRules
    efficient : mapping of float to Efficient
        What is known to be efficient, by club speed; the rest is calculated when it is asked for.
    """

    model: CarryModel
    refits: ResampledFits
    typical: pl.DataFrame
    rules: BenchmarkRules
    efficient: Mapping[float, Efficient] = field(default_factory=dict)


def published_at(by: Publisher, speeds_mph: Array, roller: Roller) -> pl.DataFrame:
    """Recalculate what a model's benchmarks say of club speeds.

    Parameters
    ----------
    by : Publisher
    speeds_mph : ndarray, shape (n,)
    roller : Roller
        Any will do: carry doesn't depend on it.

    Returns
    -------
    DataFrame
        speed_mph and `FIGURES`, a row for each speed. Standard errors are those of resampled golfers. Null where the
        model's golfers don't reach, and edges where there is no window.
    """
    rules = by.rules
    population = Population.from_typical(by.typical, rules.min_shots, rules.deliveries)
    half_width_mph = rules.bands.half_width_mph
    reached = supported_speeds(population, half_width_mph, rules.min_golfers, speeds_mph)

    left = [speed for speed in reached.tolist() if speed not in by.efficient]
    drawn = draw_crowds(by.model.usual, by.refits, population, left, half_width_mph)

    def at(speed: float) -> Efficient:
        if speed in by.efficient:
            return by.efficient[speed]
        about = drawn[speed]
        return efficient_at(by.model, by.refits, population, speed, half_width_mph, rules.tolerance_yd, roller, about)

    rows = [_figures(found) for found in in_order(at, reached.tolist())]
    schema = dict.fromkeys(("speed_mph", *FIGURES), pl.Float64)
    asked = pl.DataFrame({"speed_mph": speeds_mph.astype(float)})
    return asked.join(pl.DataFrame(rows, schema), on="speed_mph", how="left", maintain_order="left")


def _figures(found: Efficient) -> dict[str, float | None]:
    edges = {name: None if found.window is None else getattr(found.window, name) for name in WINDOW_EDGES}
    return {name: edges[name] if name in edges else getattr(found, name) for name in ("speed_mph", *FIGURES)}


def published_moves(old: Publisher, new: Publisher, findings: Findings, roller: Roller) -> pl.DataFrame:
    """Compare what two models publish, and share the move out over what made it.

    Parameters
    ----------
    old, new : Publisher
        The old one with the rules of its own benchmarks.
    findings : Findings
        Of the two.
    roller : Roller

    Returns
    -------
    DataFrame
        One row per band's center of the new rules: speed_mph; efficient carry old_yd (as the old model's own benchmarks
        have it, on its own references), here_yd (the same on today's references), new_yd, moved_yd = new_yd - old_yd;
        its parts reference_yd (readings_yd of it by the scale of readings), conditions_yd and model_yd, which add up to
        it, and model_reach_yd, half the 90 % interval of the last. Then `WINDOW_EDGES`, and those of the old model
        with `old_` before the name, all in today's readings. Null where a model doesn't reach, or the change of
        references isn't known.

    Notes
    -----
    The part of the model and golfers is the rest. Its interval takes the two fits for independent. Golfers whom they
    share make it too wide.
    """
    references, centres = findings.references, np.array(new.rules.bands.centres_mph)
    speeds = references.old_speed(centres)
    own, now = published_at(old, centres, roller), published_at(new, centres, roller)
    there = own if np.array_equal(speeds, centres) else published_at(old, speeds, roller)
    before, shifted, after = (_column(table, "carry_yd") for table in (own, there, now))
    factor = references.factor if references.is_known else np.nan
    here = shifted * factor
    under = _under_conditions(old, findings, speeds, roller) if findings.conditions_differ else shifted
    conditions = (under - shifted) * factor
    columns = {"speed_mph": centres, "old_yd": before, "here_yd": here, "new_yd": after, "moved_yd": after - before}
    columns |= {"reference_yd": here - before, "readings_yd": shifted - before, "conditions_yd": conditions}
    columns |= {"model_yd": after - here - conditions, "model_reach_yd": _reach(references, there, now)}
    for name in WINDOW_EDGES:
        kind = "launch_deg" if name.startswith("launch") else "spin_rpm"
        columns |= {f"old_{name}": references.today(kind, _column(there, name)), name: _column(now, name)}
    return pl.DataFrame(columns).with_columns(pl.all().fill_nan(None))


def _column(table: pl.DataFrame, name: str) -> Array:
    return table.get_column(name).fill_null(np.nan).to_numpy()


def _under_conditions(old: Publisher, findings: Findings, speeds: Array, roller: Roller) -> Array:
    """Give what the old benchmarks would say at today's standard conditions, yd, on the old model's own references."""
    model = under_conditions(old.model, findings.conditions)
    if model is None:
        return np.full(len(speeds), np.nan)
    return _column(published_at(replace(old, model=model, efficient={}), speeds, roller), "carry_yd")


def _reach(references: References, old: pl.DataFrame, new: pl.DataFrame) -> Array:
    """Give half the 90 % interval of the part of model and golfers, yd."""
    of_factor = np.nan_to_num(references.std_error) * _column(old, "carry_yd")
    parts = (references.factor * _column(old, "std_error_yd"), _column(new, "std_error_yd"), of_factor)
    variance = np.square(np.stack(parts, axis=-1))
    freedoms = [_column(old, "freedom"), _column(new, "freedom"), np.full(len(variance), references.freedom)]
    found = np.full(len(variance), np.nan)
    for place, freedom in enumerate(np.stack(freedoms, axis=-1)):
        if np.isfinite(variance[place]).all():
            found[place] = np.sqrt(variance[place].sum()) * t_reach(
                satterthwaite(variance[place], np.minimum(freedom, MANY))
            )
    return found


def usual_moves(
    old: Publisher,
    new: Publisher,
    old_drives: Drives,
    drives: Drives,
    quarters: Sequence[str],
    references: References,
    roller: Roller,
) -> pl.DataFrame:
    """Compare the usual carry of bands (50th percentile) that two models publish for quarters of both.

    Parameters
    ----------
    old, new : Publisher
    old_drives : Drives
        Accepted drives as the old fit takes them, from `drives_of_old`.
    drives : Drives
        The same as the new fit takes them.
    quarters : sequence of str
        Of both fits; the newest that has drives counts.
    references : References
    roller : Roller

    Returns
    -------
    DataFrame
        quarter, band_mph, old_yd (on the old model's references), here_yd (on today's), new_yd, moved_yd. Figures are
        whole yards, as published; null where they are suppressed or the change of references isn't known.
    """
    known = [_usual(*side, quarters) for side in ((old, old_drives, roller), (new, drives, roller))]
    both = known[1].join(known[0], on=["quarter", "band_mph"], how="left", suffix="_old", maintain_order="left")
    factor = references.factor if references.is_known else np.nan
    was, now = pl.col(f"{USUAL}_old"), pl.col(USUAL)
    return both.select(
        "quarter",
        "band_mph",
        was.alias("old_yd"),
        (was * factor).fill_nan(None).alias("here_yd"),
        now.alias("new_yd"),
        (now - was).alias("moved_yd"),
    )


def _usual(by: Publisher, drives: Drives, roller: Roller, quarters: Sequence[str]) -> pl.DataFrame:
    rules = by.rules
    there = drives.mapped(lambda frame: frame.filter(pl.col("quarter").is_in(list(quarters))))
    golfers = golfers_by_quarter(there, by.model, rules.min_shots)
    table = band_table(by.model, golfers, {}, rules.bands, rules.min_golfers, roller)
    newest = table.filter(pl.col("quarter") == pl.col("quarter").max())
    return newest.select("quarter", "band_mph", USUAL)
