"""Golfers cut into parts: `python tests/speed/parts_benchmark.py FOLDER [--drives N] [--copies N] [--parts 1,2]`.

Writes parts.csv, machine.json and README.md into FOLDER. A study is made and run up to what `assess_progress` takes;
then that and `fit_model` are run once in one process and once in parts, each job a process of its own, and the bytes
are compared. With copies, each golfer then stands there so often, under other names: many golfers in little time.
With `--only WORK`, what FOLDER has of the other work stays.
"""

import argparse
import json
import os
import sys
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import polars as pl
from machine import describe_machine
from make_study import STUDY, Size, make_study
from measure import Used, run_measured

from pipeline.edge.drives_file import PIECE_ROWS
from pipeline.edge.result_files import digest_of

ROOT = Path(__file__).parents[2]
FROM_HERE = {"PYTHONPATH": str(ROOT)}
DRIVES_A_GOLFER, LOGS = 50, 200
DRIVES_FILE = "collected/drives.parquet"
EMPTY = "a process that has loaded its libraries alone"
COLUMNS = ("work", "drives", "load_before", "same_bytes", "parts", "job", "wall_s", "cpu_s", "peak_mb")


class Work(NamedTuple):
    """Something done in one process or in parts: its steps, what it takes and makes, and its largest step's module.

    Of what it takes, parquet and csv are tables by golfer.
    """

    steps: tuple[str, ...]
    taken: tuple[str, ...]
    made: tuple[str, ...]
    module: str


# The fit comes last: it makes its model of the copied golfers again, on which the other rests.
WORKS = {
    "comparing quarters": Work(
        ("sum_progress", "pool_progress", "compare_progress", "assess_progress"),
        (DRIVES_FILE, "golfers/changes.csv", "golfers/straightness.csv", "golfers/golfers.csv"),
        ("golfers/progress.csv", "golfers/cohorts.csv"),
        "pipeline.coach.progress.assess_progress",
    ),
    "the fit": Work(
        ("pool_fit", "sum_fit", "fit_model"),
        (DRIVES_FILE, "flight/calibration.json"),
        tuple(
            f"model/{name}"
            for name in (
                "model.json", "coefficients.csv", "scores.csv", "typical.parquet", "replicates.npz", "held_out.parquet",
            )
        ),
        "pipeline.fit.fit_model",
    ),
}  # fmt: skip


def run_workflow(study: Path, folder: Path, targets: tuple[str, ...], parts: int) -> Used:
    """Run the workflow on one core up to some results: jobs one after the other, so that each has its own memory."""
    wanted = [f"results/{STUDY}/{name}" for name in targets]
    command = [sys.executable, "-m", "snakemake", "--cores", "1", "-s", str(ROOT / "Snakefile")]
    where = ["--rerun-triggers", "mtime", "--directory", str(folder)]
    return run_measured([*command, *wanted, *where, "--config", f"study={study}", f"parts={parts}"], folder, FROM_HERE)


def copy_golfers(paths: Iterable[Path], copies: int) -> None:
    """Let each golfer stand so many times in tables; the files keep their times."""

    def times(table: pl.DataFrame) -> pl.DataFrame:
        # The second and third character of a pseudonym count the copies.
        name = pl.col("golfer").str
        counted = (pl.concat_str(name.head(1), pl.lit(f"{k:02x}"), name.slice(3)) for k in range(copies))
        return pl.concat(table.with_columns(one.alias("golfer")) for one in counted)

    for path in paths:
        before = path.stat()
        if path.suffix == ".parquet":
            times(pl.read_parquet(path)).write_parquet(path, row_group_size=PIECE_ROWS)
        else:
            times(pl.read_csv(path, infer_schema=False)).write_csv(path)
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def jobs_of(used: Used, steps: tuple[str, ...]) -> list[dict[str, Any]]:
    """List the jobs of a run in the order in which they began, several of one step numbered."""
    rows = []
    for step in steps:
        seen = sorted(used.of(step), key=lambda one: one.begun_s)
        for number, one in enumerate(seen, 1):
            name = step if len(seen) == 1 else f"{step} {number} of {len(seen)}"
            spent = {"wall_s": one.ended_s - one.begun_s, "cpu_s": one.cpu_s, "peak_mb": one.peak_mb}
            rows.append((one.begun_s, {"job": name, **spent}))
    return [row for _, row in sorted(rows, key=lambda row: row[0])]


def measure(
    study: Path, folder: Path, drives: int, copies: int, counts: list[int], works: Sequence[str]
) -> pl.DataFrame:
    """Run works in so many parts each; give the jobs, and whether the same bytes came out."""
    taken = tuple(sorted({path for name in works for path in WORKS[name].taken}))
    run_workflow(study, folder, taken, 1)
    if copies > 1:
        tables = (folder / "results" / STUDY / path for path in taken if not path.endswith(".json"))
        copy_golfers(tables, copies)
    tables = []
    for name in works:
        work = WORKS[name]
        here = {"work": name, "drives": drives * copies, "load_before": round(os.getloadavg()[0], 1)}
        code = f"import time; import {work.module}, scipy.stats, scipy.optimize; time.sleep(1)"
        empty = run_measured([sys.executable, "-c", code], folder, FROM_HERE)
        rows = [here | {"parts": 0, "job": EMPTY, "wall_s": 0.0, "cpu_s": 0.0, "peak_mb": empty.largest_mb}]
        digests = []
        for count in counts:
            made = [folder / "results" / STUDY / path for path in work.made]
            for path in made:
                path.unlink(missing_ok=True)
            used = run_workflow(study, folder, work.made, count)
            rows += [here | {"parts": count, **row} for row in jobs_of(used, work.steps)]
            digests.append([digest_of(path) for path in made])
        same = all(one == digests[0] for one in digests)
        tables.append(pl.DataFrame(rows).with_columns(same_bytes=pl.lit(same)).select(COLUMNS))
    return pl.concat(tables)


def readme(table: pl.DataFrame, copies: int, machine: dict[str, Any], only: str | None) -> str:
    """Write what was measured in words and as tables."""
    drives = table.item(0, "drives")
    lines = [
        "# Golfers cut into parts",
        "Made by `snakemake --cores 1 --force parts_benchmark` (`tests/speed/parts_benchmark.py`) on an invented study "
        f"of {drives:,} drives of {drives // DRIVES_A_GOLFER:,} golfers. "
        + (
            f"Of them {drives // copies:,} drives were collected and fitted, and each golfer copied {copies} times. "
            * (copies > 1)
        )
        + "Each job is a process of its own, one after the other.",
        "",
        f"Machine: {machine['cores']} cores of {machine['processor']}, {machine['memory_gb']} GB of memory, "
        f"{machine['system']}."
        + (f" That and made.json are of {only} alone; the other rows stay from an earlier run." * (only is not None)),
    ]
    for name in WORKS:
        lines += ["", *_told(name, table.filter(work=name))] if name in table["work"] else []
    return "\n".join(lines) + "\n"


def _told(name: str, table: pl.DataFrame) -> list[str]:
    """Write what was measured of one work."""
    empty = table.filter(job=EMPTY).item(0, "peak_mb")
    rows = table.filter(pl.col("parts") > 0).with_columns(grown_mb=pl.col("peak_mb") - empty)
    largest = rows.group_by("parts", maintain_order=True).agg(pl.col("grown_mb").max()).rows()
    spent = rows.group_by("parts", maintain_order=True).agg(pl.col("cpu_s").sum()).rows()
    lines = [
        f"## {name[0].upper()}{name[1:]}",
        "",
        f"{', '.join(Path(path).name for path in WORKS[name].made)} are "
        f"**{'the same bytes' if table['same_bytes'].all() else 'NOT THE SAME BYTES'}** with any of these numbers of "
        f"parts. Load before the run: {table.item(0, 'load_before')}; wall times are longer for it.",
        "",
        f"A process that has loaded its libraries alone takes {empty:.0f} MB. What the largest job takes beside that: "
        + ", ".join(f"{mb:,.0f} MB in {count} part{'s' * (count > 1)}" for count, mb in largest)
        + ". Processor time of all jobs: "
        + ", ".join(f"{seconds:,.0f} s in {count} part{'s' * (count > 1)}" for count, seconds in spent)
        + ".",
        "",
        "| parts | job | wall time, s | processor time, s | peak memory, MB | of it beside the libraries, MB |",
        "|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {one['parts']} | {one['job']} | {one['wall_s']:.1f} | {one['cpu_s']:.1f} | {one['peak_mb']:,.0f} "
        f"| {one['grown_mb']:,.0f} |"
        for one in rows.iter_rows(named=True)
    ]
    return lines


def main() -> None:
    """Make the study, run it and write the tables; exit with 1 where the bytes differ."""
    parser = argparse.ArgumentParser(description="Measure golfers cut into parts.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--drives", type=int, default=10_000_000)
    parser.add_argument("--copies", type=int, default=1, help="of each golfer")
    parser.add_argument("--parts", default="1,2", help="numbers of parts, with commas between")
    parser.add_argument("--work", type=Path, help="keeps study and run for another time")
    parser.add_argument("--only", choices=list(WORKS), help="the work that is measured")
    given = parser.parse_args()
    machine = describe_machine()
    with tempfile.TemporaryDirectory(prefix="yardband-parts-") as temporary:
        work = (given.work or Path(temporary)).resolve()
        study, folder = work / "study", work / "run"
        if not (study / "planted.json").exists():
            make_study(Size(given.drives, max(given.drives // DRIVES_A_GOLFER, 1), LOGS), study)
        folder.mkdir(exist_ok=True)
        counts, works = [int(one) for one in given.parts.split(",")], [given.only] if given.only else list(WORKS)
        table = measure(study, folder, given.drives, given.copies, counts, works)
    given.folder.mkdir(parents=True, exist_ok=True)
    if given.only:
        stays = pl.read_csv(given.folder / "parts.csv").filter(pl.col("work") != given.only)
        table = pl.concat([stays, table])
    table.write_csv(given.folder / "parts.csv")
    (given.folder / "machine.json").write_text(json.dumps(machine, indent=1) + "\n", encoding="utf-8")
    text = readme(table, given.copies, machine, given.only)
    (given.folder / "README.md").write_text(text, encoding="utf-8")
    print(text)
    sys.exit(0 if table["same_bytes"].all() else 1)


if __name__ == "__main__":
    main()
