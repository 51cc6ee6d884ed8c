"""Golfers cut into parts: `python tests/speed/parts_benchmark.py FOLDER [--drives N] [--copies N] [--parts 1,2]`.

Writes parts.csv, machine.json and README.md into FOLDER. A study is made and run up to what `assess_progress` takes;
then that is run once in one process and once in parts, each job a process of its own, and the bytes are compared. With
copies, each golfer then stands there so often, under other names: many golfers in little time.
"""

import argparse
import json
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

import polars as pl
from machine import describe_machine
from make_study import STUDY, Size, make_study
from measure import Used, run_measured

from pipeline.edge.drives_file import PIECE_ROWS
from pipeline.edge.result_files import digest_of

ROOT = Path(__file__).parents[2]
FROM_HERE = {"PYTHONPATH": str(ROOT)}
DRIVES_A_GOLFER, LOGS = 50, 200
MADE = ("golfers/progress.csv", "golfers/cohorts.csv")
TAKEN = ("golfers/changes.csv", "golfers/straightness.csv")
DRIVES_FILE = "collected/drives.parquet"
STEPS = ("sum_progress", "pool_progress", "compare_progress", "assess_progress")
EMPTY = "a process that has loaded its libraries alone"
COLUMNS = ("drives", "parts", "job", "wall_s", "cpu_s", "peak_mb")


def run_workflow(study: Path, folder: Path, targets: tuple[str, ...], parts: int) -> Used:
    """Run the workflow on one core up to some results: jobs one after the other, so that each has its own memory."""
    wanted = [f"results/{STUDY}/{name}" for name in targets]
    command = [sys.executable, "-m", "snakemake", "--cores", "1", "-s", str(ROOT / "Snakefile")]
    where = ["--rerun-triggers", "mtime", "--directory", str(folder)]
    return run_measured([*command, *wanted, *where, "--config", f"study={study}", f"parts={parts}"], folder, FROM_HERE)


def copy_golfers(results: Path, copies: int) -> None:
    """Let each golfer stand so many times in what `assess_progress` takes; the files keep their times."""

    def times(table: pl.DataFrame) -> pl.DataFrame:
        # The second and third character of a pseudonym count the copies.
        name = pl.col("golfer").str
        counted = (pl.concat_str(name.head(1), pl.lit(f"{k:02x}"), name.slice(3)) for k in range(copies))
        return pl.concat(table.with_columns(one.alias("golfer")) for one in counted)

    drives = results / DRIVES_FILE
    for path in (drives, *(results / name for name in (*TAKEN, "golfers/golfers.csv"))):
        before = path.stat()
        if path == drives:
            times(pl.read_parquet(path)).write_parquet(path, row_group_size=PIECE_ROWS)
        else:
            times(pl.read_csv(path, infer_schema=False)).write_csv(path)
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def jobs_of(used: Used) -> list[dict[str, Any]]:
    """List the jobs of a run in the order in which they began, those of parts numbered."""
    rows = []
    for step in STEPS:
        seen = sorted(used.of(step), key=lambda one: one.begun_s)
        for number, one in enumerate(seen, 1):
            name = step if len(seen) == 1 else f"{step} {number} of {len(seen)}"
            rows.append({"job": name, "wall_s": one.ended_s - one.begun_s, "cpu_s": one.cpu_s, "peak_mb": one.peak_mb})
    return rows


def measure(
    study: Path, folder: Path, drives: int, copies: int, counts: list[int]
) -> tuple[pl.DataFrame, list[list[str]]]:
    """Run the comparison of quarters in so many parts each; give the jobs, and the digests of what came out."""
    run_workflow(study, folder, TAKEN, 1)
    if copies > 1:
        copy_golfers(folder / "results" / STUDY, copies)
    drives *= copies
    code = "import time; import pipeline.coach.progress.assess_progress, scipy.stats, scipy.optimize; time.sleep(1)"
    empty = run_measured([sys.executable, "-c", code], folder, FROM_HERE)
    none = {"job": EMPTY, "wall_s": 0.0, "cpu_s": 0.0, "peak_mb": empty.largest_mb}
    rows, digests = [{"drives": drives, "parts": 0, **none}], []
    for count in counts:
        made = [folder / "results" / STUDY / name for name in MADE]
        for path in made:
            path.unlink(missing_ok=True)
        used = run_workflow(study, folder, MADE, count)
        rows += [{"drives": drives, "parts": count, **row} for row in jobs_of(used)]
        digests.append([digest_of(path) for path in made])
    return pl.DataFrame(rows).select(COLUMNS), digests


def readme(table: pl.DataFrame, same: bool, copies: int, machine: dict[str, Any]) -> str:
    """Write what was measured in words and as a table."""
    drives = table.item(0, "drives")
    empty = table.filter(job=EMPTY).item(0, "peak_mb")
    grown = pl.col("peak_mb") - empty
    rows = table.filter(pl.col("parts") > 0).with_columns(grown.alias("grown_mb"))
    largest = rows.group_by("parts", maintain_order=True).agg(pl.col("grown_mb").max()).rows()
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
        f"{machine['system']}. Load before the run: {machine['load_before']}; times are longer for it.",
        "",
        f"progress.csv and cohorts.csv are **{'the same bytes' if same else 'NOT THE SAME BYTES'}** with any of these "
        "numbers of parts.",
        "",
        f"A process that has loaded its libraries alone takes {empty:.0f} MB. What the largest job takes beside that: "
        + ", ".join(f"{mb:,.0f} MB in {count} part{'s' * (count > 1)}" for count, mb in largest)
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
    return "\n".join(lines) + "\n"


def main() -> None:
    """Make the study, run it and write the tables; exit with 1 where the bytes differ."""
    parser = argparse.ArgumentParser(description="Measure golfers cut into parts.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--drives", type=int, default=10_000_000)
    parser.add_argument("--copies", type=int, default=1, help="of each golfer")
    parser.add_argument("--parts", default="1,2", help="numbers of parts, with commas between")
    parser.add_argument("--work", type=Path, help="keeps study and run for another time")
    given = parser.parse_args()
    machine = describe_machine()
    with tempfile.TemporaryDirectory(prefix="yardband-parts-") as temporary:
        work = (given.work or Path(temporary)).resolve()
        study, folder = work / "study", work / "run"
        if not (study / "planted.json").exists():
            make_study(Size(given.drives, max(given.drives // DRIVES_A_GOLFER, 1), LOGS), study)
        folder.mkdir(exist_ok=True)
        table, digests = measure(
            study, folder, given.drives, given.copies, [int(one) for one in given.parts.split(",")]
        )
    same = all(one == digests[0] for one in digests)
    given.folder.mkdir(parents=True, exist_ok=True)
    table.write_csv(given.folder / "parts.csv")
    (given.folder / "machine.json").write_text(json.dumps(machine, indent=1) + "\n", encoding="utf-8")
    text = readme(table, same, given.copies, machine)
    (given.folder / "README.md").write_text(text, encoding="utf-8")
    print(text)
    sys.exit(0 if same else 1)


if __name__ == "__main__":
    main()
