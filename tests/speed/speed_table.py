"""The benchmark's measures with their targets, and the tables and README that its figures go to."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

MILLION = 1_000_000


@dataclass(frozen=True)
class Measure:
    """What is measured.

    Attributes
    ----------
    part : str
        The part of the benchmark that measures it.
    what, unit : str
    bound : str
        `most`, `least` or nothing, where there is no target.
    target : float
    drives : int
        The study's size that the target is for; nil for any.
    reason : str
        Why the target is missed, where it is.
    """

    part: str
    what: str
    unit: str = ""
    bound: str = ""
    target: float = 0.0
    drives: int = 0
    reason: str = ""

    def target_text(self) -> str:
        """Say the target."""
        return f"at {self.bound} {_number(self.target)} {self.unit}".strip() if self.bound else ""

    def verdict(self, value: float, drives: int) -> str:
        """Say met or MISSED, or nothing where there is no target for studies of this size."""
        if not self.bound or (self.drives and drives != self.drives):
            return ""
        return "met" if (value <= self.target if self.bound == "most" else value >= self.target) else "MISSED"


MEASURES = {
    "plain_wall_ratio": Measure(
        "plain",
        "plain way's time over Yardband's, both with 200 resamples",
        "times",
        "least",
        10,
        MILLION,
        "most of Yardband's time goes to what the plain way leaves out: masking and checking every cell, four "
        "candidates compared in ten folds, flight, the coach's tables and pages; without resampling, "
        "the plain way is many times faster",
    ),
    "small_wall_ratio": Measure(
        "plain",
        "the same for a study of an academy's size",
        "times",
        "least",
        1,
        reason="figures, pages and tables take as long as for a large study",
    ),
    "small_yardband_wall": Measure("plain", "Yardband, for an academy's size", "s"),
    "small_plain_wall": Measure("plain", "plain way with resampling, for an academy's size", "s"),
    "plain_peak_ratio": Measure(
        "plain",
        "Yardband's peak memory over the plain way's, all processes together",
        "times",
        "most",
        1,
        MILLION,
        "two steps run at a time, and libraries that they share with the process that they are forked from count for "
        "each",
    ),
    "plain_wall_ratio_no_resamples": Measure(
        "plain", "plain way's time without resampling over Yardband's with all", "times"
    ),
    "yardband_wall": Measure("plain", "Yardband", "s"),
    "yardband_peak": Measure("plain", "Yardband's peak memory, all processes together", "MB"),
    "yardband_largest": Measure("plain", "Yardband's largest process", "MB"),
    "plain_wall": Measure("plain", "plain way with resampling", "s"),
    "plain_wall_no_resamples": Measure("plain", "plain way without resampling", "s"),
    "plain_peak": Measure("plain", "plain way's peak memory", "MB"),
    "plain_peak_no_resamples": Measure("plain", "plain way's peak memory without resampling", "MB"),
    "collect_over_copy": Measure(
        "limit",
        "collecting a log over DuckDB's bare copy, one thread each",
        "times",
        "most",
        3,
        MILLION,
        "cells are read as text, so that a wrong one can be named; names are masked, and texts searched for them",
    ),
    "collect_s": Measure("limit", "collecting a log, start of the process included", "s"),
    "copy_s": Measure("limit", "DuckDB's bare copy, start of the process included", "s"),
    "fit_over_pass": Measure(
        "limit",
        "least squares of the chosen surface over one pass to form its normal matrix",
        "times",
        "most",
        2,
        MILLION,
        "errors clustered by golfer need the residuals, and so a second reading of the drives",
    ),
    "solve_over_pass": Measure("limit", "the same without the pass for errors clustered by golfer", "times"),
    "standardise_rate": Measure(
        "limit", "drives moved to standard conditions in a second of one core", "", "least", MILLION, MILLION
    ),
    "growth_slope": Measure(
        "growth", "slope of time over drives, both logarithmic, steepest between two sizes", "", "most", 1, 10 * MILLION
    ),
    "growth_step_peak": Measure(
        "growth",
        "largest peak memory of any step",
        "MB",
        "most",
        2000,
        10 * MILLION,
    ),
    "growth_wall": Measure("growth", "whole run", "s", "most", 600, 10 * MILLION),
    "growth_peak": Measure("growth", "peak memory, all processes together", "MB"),
    "growth_busy": Measure(
        "growth",
        "share of the cores' time that a first run takes",
        "",
        "least",
        0.8,
        MILLION,
        "loading, calibration, standardizing and bands follow one another, and each has parts that one core does alone",
    ),
    "second_wall": Measure("second", "a run with one more log, its fit held against the kept one", "s"),
    "second_ratio": Measure("second", "its time over that of the first run", "times"),
    "second_step_peak": Measure("second", "largest peak memory of any step", "MB", "most", 2000, 10 * MILLION),
    "second_slope": Measure(
        "second", "slope of time over drives, both logarithmic, steepest between two sizes", "", "most", 1, 10 * MILLION
    ),
    "unchanged_wall": Measure("increments", "a run in which nothing changed", "s", "most", 8),
    "added_starts": Measure("increments", "processes that collect when one log is added to 200", "", "most", 1),
    "added_wall": Measure("increments", "a run with one more log", "s"),
    "added_over_whole": Measure("increments", "its time over that of the first run", "times"),
    "added_else_share": Measure(
        "increments", "its processor time outside that log and the steps that gather, as a share"
    ),
    "small_starts": Measure("increments", "processes that collect 2,000 small logs", "", "most", 200),
    "small_cpu_ratio": Measure("increments", "processor time of a run of 2,000 logs over that of 200, same drives"),
    "small_wall": Measure("increments", "a run of 2,000 small logs", "s"),
    "lookup_s": Measure("startup", "yardband lookup in a new process, median", "s", "most", 0.5),
    "goal_s": Measure("startup", "yardband goal in a new process, median", "s", "most", 0.5),
    "lookup_first_s": Measure("startup", "the first of them", "s"),
    "lookup_cpu_s": Measure("startup", "processor time of one, median", "s"),
}
PARTS = ("plain", "limit", "growth", "increments", "second", "startup")
TITLES = {
    "plain": "Against the same job written plainly with pandas and statsmodels",
    "limit": "Against the limit",
    "growth": "Growth",
    "second": "Growth of a second run, where a model is kept",
    "increments": "Increments",
    "startup": "Start-up",
}
LINE = {"measure": pl.String, "drives": pl.Int64, "note": pl.String, "value": pl.Float64}
STEPS = {
    "run": pl.String, "drives": pl.Int64, "step": pl.String, "processes": pl.Int64, "wall_s": pl.Float64,
    "cpu_s": pl.Float64, "peak_mb": pl.Float64,
}  # fmt: skip
COLUMNS = ("part", "measure", "what", "drives", "note", "target", "value", "unit", "verdict")


def line(measure: str, value: float, drives: int = 0, note: str = "") -> dict[str, Any]:
    """Give one figure; `drives` is the size of the study, nil where it doesn't matter."""
    return {"measure": measure, "drives": drives, "note": note, "value": float(value)}


def judged(lines: Sequence[dict[str, Any]]) -> pl.DataFrame:
    """Hold figures against their targets: the columns of speed.csv."""
    rows = []
    for one in lines:
        measure = MEASURES[one["measure"]]
        about = {"part": measure.part, "what": measure.what, "unit": measure.unit, "target": measure.target_text()}
        if measure.drives not in (0, one["drives"]):
            about["target"] = ""
        rows.append(one | about | {"verdict": measure.verdict(one["value"], one["drives"])})
    types = dict.fromkeys(COLUMNS, pl.String) | {"drives": pl.Int64, "value": pl.Float64}
    return pl.DataFrame(rows, schema=types)


def merged(new: pl.DataFrame, path: Path, key: str) -> pl.DataFrame:
    """Put new rows in place of a table's earlier rows of the same part or run."""
    if not path.exists():
        return new
    old = pl.read_csv(path, schema=new.schema)
    return pl.concat([old.filter(~pl.col(key).is_in(new.get_column(key).unique().implode())), new])


def write_results(target: Path, lines: Sequence[dict[str, Any]], steps: pl.DataFrame, machine: dict[str, Any]) -> None:
    """Write speed.csv, steps.csv, machine.json and README.md, keeping what other parts measured before."""
    target.mkdir(parents=True, exist_ok=True)
    table = merged(judged(lines), target / "speed.csv", "part")
    table = table.sort(pl.col("part").cast(pl.Enum(PARTS)), maintain_order=True)
    by_step = merged(steps, target / "steps.csv", "run")
    table.write_csv(target / "speed.csv")
    by_step.write_csv(target / "steps.csv")
    (target / "machine.json").write_text(json.dumps(machine, indent=1) + "\n", encoding="utf-8")
    (target / "README.md").write_text(readme(table, by_step, machine), encoding="utf-8")


def readme(table: pl.DataFrame, steps: pl.DataFrame, machine: dict[str, Any]) -> str:
    """Write the README from the tables alone."""
    versions = ", ".join(f"{name} {value}" for name, value in machine["versions"].items())
    text = [
        "# Speed and scale",
        "Made by `snakemake --cores 2 --force speed_benchmark` on invented studies of a stated size "
        "(`tests/speed/make_study.py`): 50 drives a golfer in four logs, one row in 200 faulty.",
        "",
        f"Machine: {machine['cores']} cores of {machine['processor']}, {machine['memory_gb']} GB of memory, "
        f"{machine['system']}; {versions}. Load before the run: {machine['load_before']}.",
        "",
        "Times are wall time unless said otherwise; each ratio is of two figures of one run. Memory is resident, "
        "read every 0.2 s; what processes share counts for each. Files lay in the system's page cache, which can't "
        "be emptied without more rights, so a start-up after a boot takes longer.",
    ]
    for part in PARTS:
        rows = table.filter(pl.col("part") == part)
        if rows.height:
            text += ["", f"## {TITLES[part]}", "| measure | drives | target | measured | |", "|---|---|---|---|---|"]
            text += [_row(row) for row in rows.iter_rows(named=True)]
            text += _reasons(rows)
    text += ["", PLAIN_NOTE, "", "## By step", *_step_tables(steps), ""]
    return "\n".join(text)


PLAIN_NOTE = (
    "The plain way (`tests/speed/plain_way.py`) reads, cleans, fits one second-order surface with errors clustered by "
    "golfer, finds efficient carry by band with an interval from resampled golfers, and gives percentiles, yards lost "
    "and flags. It does not mask names, keep rejected rows with their rule, check units, calibrate flight, move carry "
    "to standard conditions, compare candidates, find windows, share yards lost out into parts, "
    "compare with kept models, protect published figures, report progress, goals and what to change, or make figures, "
    "pages and sheets; Yardband's time includes all of that."
)


def _row(row: dict[str, Any]) -> str:
    what = f"{row['what']} ({row['note']})" if row["note"] else row["what"]
    drives = f"{row['drives']:,}" if row["drives"] else ""
    verdict = "**MISSED**" if row["verdict"] == "MISSED" else row["verdict"]
    return f"| {what} | {drives} | {row['target']} | {_number(row['value'])} {row['unit'] or ''} | {verdict or ''} |"


def _reasons(rows: pl.DataFrame) -> list[str]:
    missed = rows.filter(pl.col("verdict") == "MISSED").get_column("measure").unique(maintain_order=True)
    told = [f"- {MEASURES[name].what}: {MEASURES[name].reason}" for name in missed if MEASURES[name].reason]
    return ["", "Why targets are missed:", *told] if told else []


def _step_tables(steps: pl.DataFrame) -> list[str]:
    text = []
    for (run,), rows in steps.group_by(["run"], maintain_order=True):
        text += ["", f"{run}:", "", "| step | processes | wall time, s | processor time, s | peak memory, MB |"]
        text += ["|---|---|---|---|---|"]
        text += [
            f"| {row['step']} | {row['processes']} | {row['wall_s']:.1f} | {row['cpu_s']:.1f} | {row['peak_mb']:.0f} |"
            for row in rows.iter_rows(named=True)
        ]
    return text


def _number(value: float) -> str:
    if value >= 100:
        return f"{value:,.0f}"
    return f"{value:.0f}" if value == round(value) else f"{value:.2g}" if value < 1 else f"{value:.1f}"
