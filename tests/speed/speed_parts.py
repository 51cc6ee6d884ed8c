"""The parts of the benchmark: each runs real commands on invented studies and gives lines for speed.csv."""

import json
import re
import shutil
import statistics
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from math import log
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from make_study import BAD_CELLS, DEVICES, HEADER, STUDY, Plan, Size, hit, make_study, make_table, spoil
from measure import Seen, Used, run_measured
from speed_table import MILLION, STEPS, line

from pipeline.collect.partitions import describe
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import find_logs

ROOT, HERE = Path(__file__).parents[2], Path(__file__).parent
LOGS, MANY_LOGS, SMALL_DRIVES, DRIVES_A_GOLFER = 200, 2000, 100_000, 50
ACADEMY, ACADEMY_LOGS = 10_000, 12  # drives and logs of an academy
LOOKUPS, REPEATS, RESAMPLES = 11, 3, 200
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "POLARS_MAX_THREADS")
ONE_THREAD = dict.fromkeys(THREADS, "1")
FROM_HERE = {"PYTHONPATH": str(ROOT)}
RULES = [
    rule
    for path in sorted(ROOT.glob("pipeline/*/rules.smk"))
    for rule in re.findall(r"^ *(?:rule|checkpoint) (\w+):$", path.read_text("utf-8"), flags=re.MULTILINE)
]

Lines = list[dict[str, Any]]


@dataclass
class Bench:
    """Where and how large the benchmark works; studies and runs are made when first asked for.

    Attributes
    ----------
    work : Path
        Studies stay here; runs are made anew each time the benchmark starts.
    drives : tuple of int
        Sizes for growth, rising. The other parts take a million, or the largest of these if that is less.
    resamples : int
        Of the plain way; Yardband always has 200.
    """

    work: Path
    drives: tuple[int, ...] = (100_000, MILLION, 10 * MILLION)
    cores: int = 2
    resamples: int = RESAMPLES
    steps: list[dict[str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        shutil.rmtree(self.work / "runs", ignore_errors=True)
        (self.work / "runs").mkdir(parents=True)
        self._runs: dict[Path, Used] = {}
        self.grown: dict[Path, Used] = {}  # by the first run's folder, once a log was added

    @property
    def middle(self) -> int:
        """The size of the parts that take one."""
        return min(MILLION, max(self.drives))

    @cached_property
    def small(self) -> int:
        """The size of the study of many small logs."""
        return min(SMALL_DRIVES, max(self.drives))

    def study(self, drives: int, logs: int = LOGS) -> Path:
        """Give a study of so many drives and logs."""
        folder = self.work / f"study-{drives}-{logs}"
        if not (folder / "planted.json").exists():
            make_study(Size(drives, max(drives // DRIVES_A_GOLFER, 1), logs), folder)
        return folder

    def run(self, study: Path, folder: Path, name: str) -> Used:
        """Run the workflow on a study, with `folder` for its results, and note its steps under a name."""
        folder.mkdir(exist_ok=True)
        where = ["-s", str(ROOT / "Snakefile"), "--directory", str(folder)]
        command = [sys.executable, "-m", "snakemake", "--cores", str(self.cores), *where]
        used = run_measured([*command, "--config", f"study={study}"], folder, FROM_HERE)
        self.steps += by_step(used, name, json.loads((study / "planted.json").read_text(encoding="utf-8"))["rows"])
        return used

    def first_run(self, drives: int, logs: int = LOGS) -> tuple[Path, Used]:
        """Give the folder and the cost of a study's first run."""
        folder = self.work / "runs" / f"{drives}-{logs}"
        if folder not in self._runs:
            self._runs[folder] = self.run(
                self.study(drives, logs), folder, f"first run, {drives:,} drives, {logs} logs"
            )
        return folder, self._runs[folder]


def by_step(used: Used, run: str, drives: int) -> Lines:
    """Sum a run's processes up by step, in the order in which they began; what has no step counts for the workflow."""
    groups: dict[str, list[Seen]] = {}
    for one in sorted(used.processes, key=lambda each: each.begun_s):
        groups.setdefault(one.name, []).append(one)
    rows = [
        {
            "run": run,
            "drives": drives,
            "step": name,
            "processes": len(group),
            "wall_s": sum(one.ended_s - one.begun_s for one in group),
            "cpu_s": sum(one.cpu_s for one in group),
            "peak_mb": max(one.peak_mb for one in group),
        }
        for name, group in groups.items()
    ]
    whole = {"run": run, "drives": drives, "step": "whole run", "processes": len(used.processes)}
    return [*rows, whole | {"wall_s": used.wall_s, "cpu_s": used.cpu_s, "peak_mb": used.peak_mb}]


def steps_table(bench: Bench) -> pl.DataFrame:
    """Give what was noted of the runs' steps."""
    return pl.DataFrame(bench.steps, schema=STEPS)


def measure_plain(bench: Bench) -> Lines:
    """Yardband's whole run against the plain way."""
    study, n = bench.study(bench.middle), bench.middle
    _, ours = bench.first_run(n)

    def plain(study: Path, resamples: int) -> Used:
        command = [sys.executable, str(HERE / "plain_way.py"), str(study), str(bench.work / "runs" / "plain")]
        return run_measured([*command, "--resamples", str(resamples)], bench.work / "runs")

    theirs, bare = plain(study, bench.resamples), plain(study, 0)
    small = min(ACADEMY, n)
    plainly = plain(bench.study(small, ACADEMY_LOGS), bench.resamples).wall_s
    quick = bench.first_run(small, ACADEMY_LOGS)[1].wall_s
    note = "" if bench.resamples == RESAMPLES else f"with {bench.resamples} resamples alone"
    # Resamples are one like the other, so that the time of all is known from fewer.
    whole_s = bare.wall_s + (theirs.wall_s - bare.wall_s) * RESAMPLES / bench.resamples
    how = "" if bench.resamples == RESAMPLES else f"calculated from {bench.resamples} resamples: {whole_s:.0f} s"
    return [
        line("plain_wall_ratio", whole_s / ours.wall_s, n, how),
        line("small_wall_ratio", plainly / quick, small, note),
        line("small_yardband_wall", quick, small),
        line("small_plain_wall", plainly, small, note),
        line("plain_peak_ratio", ours.peak_mb / theirs.peak_mb, n, note),
        line("plain_wall_ratio_no_resamples", bare.wall_s / ours.wall_s, n),
        line("yardband_wall", ours.wall_s, n),
        line("plain_wall", theirs.wall_s, n, note),
        line("plain_wall_no_resamples", bare.wall_s, n),
        line("yardband_peak", ours.peak_mb, n),
        line("yardband_largest", ours.largest_mb, n),
        line("plain_peak", theirs.peak_mb, n, note),
        line("plain_peak_no_resamples", bare.peak_mb, n),
    ]


def collect_command(study: Path, folder: Path) -> list[str]:
    """Give the command that collects a study's one log, as the workflow would."""
    place, described = load_study(study)
    (log,) = find_logs(place, described)
    files = {"key": str(place / described.privacy.key_file)}
    files |= {name: str(folder / f"collected.{name}") for name in ("shots", "rejects", "receipts", "names")}
    settings = {"study": described.study, "folder": str(place), "partition": describe([log])}
    return [sys.executable, "-m", "pipeline.step", "collect_logs", json.dumps(files), json.dumps(settings)]


def measure_limit(bench: Bench) -> Lines:
    """Collecting, fitting and standardising against what no program can beat by much."""
    n, runs = bench.middle, bench.work / "runs"
    study = bench.study(n, logs=1)
    (path,) = (study / "logs").iterdir()
    limits = [sys.executable, str(HERE / "limits.py")]
    bare = [*limits, "copy", str(path), str(runs / "copy.parquet")]
    pairs = [
        (
            run_measured(collect_command(study, runs), runs, FROM_HERE | ONE_THREAD).wall_s,
            run_measured(bare, runs, ONE_THREAD).wall_s,
        )
        for _ in range(REPEATS)
    ]
    collect, copied = (statistics.median(column) for column in zip(*pairs, strict=True))
    lines = [
        line("collect_over_copy", statistics.median(a / b for a, b in pairs), n),
        line("collect_s", collect, n),
        line("copy_s", copied, n),
    ]
    fits = _printed(run_measured([*limits, "fit", str(n)], runs, FROM_HERE | ONE_THREAD))
    ratios = {name: one["fit_s"] / one["pass_s"] for name, one in fits.items()}
    chosen = chosen_model(bench.first_run(min(bench.drives))[0])
    rest = ", ".join(f"{name} {ratio:.2g}" for name, ratio in ratios.items() if name != chosen)
    lines.append(line("fit_over_pass", ratios[chosen], n, f"{chosen}; not chosen: {rest}"))
    lines.append(line("solve_over_pass", fits[chosen]["solve_s"] / fits[chosen]["pass_s"], n, chosen))
    moved = _printed(run_measured([*limits, "standardise", str(n)], runs, FROM_HERE | ONE_THREAD))
    return [*lines, line("standardise_rate", moved["drives"] / moved["seconds"], n)]


def chosen_model(folder: Path) -> str:
    """Name the candidate that a run chose."""
    scores = pl.read_csv(folder / "results" / STUDY / "model/scores.csv")
    return str(scores.filter("chosen").get_column("model").item())


def _printed(used: Used) -> dict[str, Any]:
    return dict(json.loads(used.output.splitlines()[-1]))


def measure_growth(bench: Bench) -> Lines:
    """Whole first runs of rising size."""
    runs = [bench.first_run(drives)[1] for drives in bench.drives]
    lines = []
    for n, used in zip(bench.drives, runs, strict=True):
        steps = [one for one in used.processes if one.name in RULES]
        largest = max(steps, key=lambda one: one.peak_mb)
        lines += [
            line("growth_wall", used.wall_s, n),
            line("growth_step_peak", largest.peak_mb, n, largest.name),
            line("growth_peak", used.peak_mb, n),
            line("growth_busy", used.cpu_s / (used.wall_s * bench.cores), n),
        ]
    return [*slope_of("growth_slope", bench.drives, runs), *lines]


def slope_of(measure: str, drives: tuple[int, ...], runs: list[Used]) -> Lines:
    """Give the steepest slope of time over drives between two sizes; none of one size alone."""
    walls = list(zip(drives, (used.wall_s for used in runs), strict=True))
    slopes = [log(after / before) / log(more / fewer) for (fewer, before), (more, after) in pairwise(walls)]
    each = ", ".join(f"{slope:.2f}" for slope in slopes)
    return [line(measure, max(slopes), drives[-1], f"from size to size: {each}")] if slopes else []


def measure_second(bench: Bench) -> Lines:
    """Runs of rising size with one more log than their first run had, which kept a model."""
    runs, lines = [], []
    for n in bench.drives:
        used, first = one_more_log(bench, n), bench.first_run(n)[1]
        largest = max((one for one in used.processes if one.name in RULES), key=lambda one: one.peak_mb)
        lines += [
            line("second_wall", used.wall_s, n),
            line("second_ratio", used.wall_s / first.wall_s, n),
            line("second_step_peak", largest.peak_mb, n, largest.name),
        ]
        runs.append(used)
    return [*slope_of("second_slope", bench.drives, runs), *lines]


def one_more_log(bench: Bench, drives: int) -> Used:
    """Run a study again with one more log, and take the log away."""
    folder, _ = bench.first_run(drives)
    if folder in bench.grown:
        return bench.grown[folder]
    study = bench.study(drives)
    more = study / "logs" / "a_more.csv"
    try:
        add_log(drives, more)
        bench.grown[folder] = bench.run(study, folder, f"one more log, {drives:,} drives")
    finally:
        more.unlink()
    return bench.grown[folder]


def measure_increments(bench: Bench) -> Lines:
    """A run without a change, one with one more log, and many small logs."""
    n = bench.middle
    folder, first = bench.first_run(n)
    unchanged = bench.run(bench.study(n), folder, f"nothing changed, {n:,} drives")
    added = one_more_log(bench, n)
    rest = sum(one.cpu_s for one in added.processes if one.name in RULES)
    few, many = bench.first_run(bench.small)[1], bench.first_run(bench.small, MANY_LOGS)[1]
    return [
        line("unchanged_wall", unchanged.wall_s, n),
        line("added_starts", len(collecting(added)), n),
        line("added_wall", added.wall_s, n),
        line("added_over_whole", added.wall_s / first.wall_s, n),
        line("added_else_share", 1 - rest / added.cpu_s, n),
        line("small_starts", len(collecting(many)), bench.small),
        line("small_cpu_ratio", many.cpu_s / few.cpu_s, bench.small),
        line("small_wall", many.wall_s, bench.small),
    ]


def collecting(used: Used) -> list[Seen]:
    """Give the processes that collect logs."""
    return [one for one in used.processes if one.name.startswith("collect")]


def add_log(drives: int, path: Path) -> None:
    """Write another log like the first of a study: the same golfers on the same day, other drives."""
    plan = Plan(Size(drives, max(drives // DRIVES_A_GOLFER, 1), LOGS), 1)
    good = hit(plan, LOGS, drives // LOGS, make_table("a"), 0.0)
    table = spoil(good, np.arange(len(BAD_CELLS)), good.head(0), np.random.default_rng([1, 3, LOGS]))
    table.with_columns(device=pl.lit(DEVICES["a"]), ball=pl.lit("premium")).select(HEADER).write_csv(path)


def measure_startup(bench: Bench) -> Lines:
    """A lookup from the command line, each in a new process."""
    folder, _ = bench.first_run(min(bench.drives))
    yardband, where = str(Path(sys.executable).parent / "yardband"), ["--results", str(folder / "results" / STUDY)]

    def asked(*words: str) -> list[Used]:
        return [run_measured([yardband, *words, *where], bench.work / "runs", FROM_HERE) for _ in range(LOOKUPS)]

    used, goals = asked("lookup", "97"), asked("goal", "230", "--speed", "97")
    return [
        line("goal_s", statistics.median(one.wall_s for one in goals)),
        line("lookup_s", statistics.median(one.wall_s for one in used)),
        line("lookup_first_s", used[0].wall_s),
        line("lookup_cpu_s", statistics.median(one.cpu_s for one in used)),
    ]


MEASURERS: dict[str, Callable[[Bench], Lines]] = {
    "plain": measure_plain,
    "limit": measure_limit,
    "growth": measure_growth,
    # These before the second runs, which add logs.
    "increments": measure_increments,
    "second": measure_second,
    "startup": measure_startup,
}
