"""This code and another commit's in turn: `python tests/speed/side_by_side.py FOLDER COMMIT [--pairs 3]`.

Writes side_by_side.csv and side_by_side.md into FOLDER: wall and processor time and the processes of a first run, of a
new log under a kept model, of a refit after a new log, and of `lookup` and `goal`; of first runs of invented studies of
so many `--drives`, once each; then the longest chain of steps of this code's first run. Both take the same study: the
commit's demo unless another is named, under a key of its own and with a share of one log's rows held back, which are
the new log. The other commit is unpacked, and runs in this environment with the packages that are installed. Where they
don't fit it, that is said, and nothing is written.
"""

import argparse
import json
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl
from chain import chain_lines, durations_of, longest_chain, rule_edges
from machine import describe_machine
from make_study import Size, make_study
from measure import FORKING, Seen, Used, run_measured
from speed_parts import DRIVES_A_GOLFER, LOGS

from pipeline.collect.key import SECRET_MARK

ROOT = Path(__file__).parents[2]
MORE, HELD_BACK, LOOKUPS = "bay_2026q3", 0.1, 5
SIDES = ("before", "now")
# Of each task: how many times less it should take, by the clock and in processor time; None where there is no target.
FASTER: dict[str, tuple[float | None, float | None]] = {
    "first run": (2.5, 2.0),
    "new log, kept model": (6.0, None),
    "new log, refit": (3.0, None),
    "lookup": (None, None),
    "goal": (None, None),
}
LARGE = {1_000_000: 2.0, 10_000_000: 1.5}  # drives of an invented study, and how many times faster its first run
FASTER |= {f"first run, {drives:,} drives": (target, None) for drives, target in LARGE.items()}
COMMANDS = {"lookup": ("lookup", "97"), "goal": ("goal", "230", "--speed", "97")}
SCHEMA = {"task": pl.String, "side": pl.String, "pair": pl.Int64, "wall_s": pl.Float64, "cpu_s": pl.Float64}
SCHEMA |= {"processes": pl.Int64, "peak_mb": pl.Float64}


@dataclass(frozen=True)
class Side:
    """One of the two codes: its name and the folder with its `pipeline` and Snakefile."""

    name: str
    tree: Path
    cores: int

    def snakemake(self, folder: Path, *config: str) -> Used:
        """Run the study that lies in a folder, results there too."""
        where = ["-s", str(self.tree / "Snakefile"), "--directory", str(folder), "--config", "study=study", *config]
        return self._measured([sys.executable, "-m", "snakemake", "--cores", str(self.cores), *where], folder)

    def command(self, folder: Path, *words: str) -> Used:
        """Run one of the command line's commands on a folder's results."""
        results = next(path.parent for path in sorted(folder.glob("results/*/summary.txt")))
        command = [sys.executable, "-m", "pipeline", *words, "--results", str(results)]
        return self._measured(command, folder)

    def _measured(self, command: Sequence[str], folder: Path) -> Used:
        # As people have it, Python keeps what it compiles; else every step of both codes compiled all that it imports.
        return run_measured(command, folder, {"PYTHONPATH": str(self.tree), "PYTHONDONTWRITEBYTECODE": ""})


def unpack(commit: str, into: Path) -> None:
    """Write the files of a commit into a folder."""
    into.mkdir(parents=True)
    packed = subprocess.run(["git", "-C", str(ROOT), "archive", commit], capture_output=True, check=True).stdout
    subprocess.run(["tar", "-x", "-C", str(into)], input=packed, check=True)


def prepare(demo: Path, study: Path, every: int = 1) -> str:
    """Copy a demo under a key of its own, of its logs every so many-th row; hold back rows of one, and give them."""
    shutil.copytree(demo, study)
    key = study / "private/pseudonym.key"
    key.unlink()
    key.touch(mode=0o600)
    key.write_text(f"{SECRET_MARK}\n{'5a' * 32}\n", encoding="utf-8")
    for log in sorted(study.glob("logs/*.csv")):
        header, *rows = log.read_text(encoding="utf-8").splitlines(keepends=True)
        log.write_text("".join([header, *rows[::every]]), encoding="utf-8")
    log = study / "logs" / f"{MORE}.csv"
    header, *rows = log.read_text(encoding="utf-8").splitlines(keepends=True)
    kept = round(len(rows) * (1 - HELD_BACK))
    log.write_text("".join([header, *rows[:kept]]), encoding="utf-8")
    return "".join([header, *rows[kept:]])


def add_log(folder: Path, text: str) -> None:
    """Write the rows that were held back as a log of their own."""
    (folder / "study/logs" / f"{MORE}_more.csv").write_text(text, encoding="utf-8")


def measure_side(side: Side, study: Path, more: str, work: Path) -> dict[str, list[Used]]:
    """Do every task once, lookups a few times, in `work`; the first run stays in its folder `first`."""
    first = work / "first"
    shutil.rmtree(work, ignore_errors=True)
    shutil.copytree(study, first / "study")
    found = {"first run": [side.snakemake(first)]}
    for name, words in COMMANDS.items():
        found[name] = [side.command(first, *words) for _ in range(LOOKUPS)]
    refit, look = (Path(shutil.copytree(first, work / name)) for name in ("refit", "look"))
    add_log(refit, more)
    found["new log, refit"] = [side.snakemake(refit)]
    kept = next(path.name for path in sorted(look.glob("results/*/model/kept/k*")))
    side.snakemake(look, f"model={kept}")  # the last quarter's look
    add_log(look, more)
    found["new log, kept model"] = [side.snakemake(look, f"model={kept}")]
    return found


def measure_large(side: Side, study: Path, work: Path) -> list[Used]:
    """Run a large study once."""
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir()
    (work / "study").symlink_to(study)
    try:
        return [side.snakemake(work)]
    finally:
        shutil.rmtree(work)


def rows_of(found: Mapping[str, Sequence[Used]], side: str, pair: int) -> list[dict[str, Any]]:
    """Give a row for each task: medians over its times."""
    return [
        {
            "task": task,
            "side": side,
            "pair": pair,
            "wall_s": statistics.median(one.wall_s for one in used),
            "cpu_s": statistics.median(one.cpu_s for one in used),
            "processes": len({(one.name, one.begun_s) for one in used[-1].processes if is_program(one)}),
            "peak_mb": max(one.peak_mb for one in used),
        }
        for task, used in found.items()
    ]


def is_program(process: Seen) -> bool:
    """Tell whether a process was started as a program, not forked for a step, and isn't the shell of a rule."""
    return process.name != "bash" and (process.name == FORKING or not process.forked)


def ratios(table: pl.DataFrame) -> pl.DataFrame:
    """Give for each task the medians of both sides over the pairs, and those of the pairs' ratios, before over now."""
    before, now = (table.filter(side=side) for side in SIDES)
    pairs = before.join(now, on=["task", "pair"], suffix="_now", maintain_order="left")
    names = ("wall_s", "cpu_s", "processes")
    return pairs.group_by("task", maintain_order=True).agg(
        *(pl.col(name, f"{name}_now").median() for name in names),
        *((pl.col(name) / pl.col(f"{name}_now")).median().alias(f"{name}_times") for name in names[:2]),
        pl.len().alias("pairs"),
    )


def verdict(times: float, target: float | None) -> str:
    """Say whether a ratio reaches its target, with both."""
    if target is None:
        return f"{times:.1f}"
    return f"{times:.1f} ({'met' if times >= target else '**MISSED**'}: at least {target:g})"


def document(table: pl.DataFrame, commit: str, machine: Mapping[str, Any], chain: Sequence[str]) -> str:
    """Write side_by_side.md from the table."""
    text = [
        "# Side by side",
        f"This code beside commit {commit}, in turn on one machine: {machine['cores']} cores of "
        f"{machine['processor']}, load before {machine['load_before']}. Medians over the pairs; ratios are of each "
        "pair. Processes are programs that were started: steps that one of them forked don't count.",
        "",
        "| task | pairs | wall time before, s | now, s | times faster | processor time before, s | now, s "
        "| times less | processes before | now |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for row in ratios(table).iter_rows(named=True):
        clock, processor = FASTER.get(row["task"], (None, None))
        cells = [row["task"], str(row["pairs"]), f"{row['wall_s']:.2f}", f"{row['wall_s_now']:.2f}"]
        cells += [verdict(row["wall_s_times"], clock), f"{row['cpu_s']:.2f}", f"{row['cpu_s_now']:.2f}"]
        cells += [verdict(row["cpu_s_times"], processor), f"{row['processes']:.0f}", f"{row['processes_now']:.0f}"]
        text.append(f"| {' | '.join(cells)} |")
    return "\n".join([*text, "", *chain, ""])


def main() -> None:
    """Measure and write."""
    parser = argparse.ArgumentParser(description="Measure this code beside another commit's.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("commit")
    parser.add_argument("--pairs", type=int, default=3)
    parser.add_argument("--cores", type=int, default=2)
    parser.add_argument("--study", type=Path, help="a demo's folder (unless given, that of the commit)")
    parser.add_argument("--every", type=int, default=1, help="take every so many-th row of its logs")
    parser.add_argument("--drives", default="", help="of first runs of invented studies, with commas between")
    given = parser.parse_args()
    machine, rows = describe_machine(), []

    def write(chain: Sequence[str]) -> None:
        table = pl.DataFrame(rows, schema=SCHEMA)
        given.folder.mkdir(parents=True, exist_ok=True)
        table.write_csv(given.folder / "side_by_side.csv")
        text = document(table, given.commit, machine, chain)
        (given.folder / "side_by_side.md").write_text(text, encoding="utf-8")

    with tempfile.TemporaryDirectory(prefix="yardband-sides-") as temporary:
        work = Path(temporary)
        unpack(given.commit, work / "tree")
        more = prepare(given.study or work / "tree/data_demo", work / "study", given.every)
        sides = [Side("before", work / "tree", given.cores), Side("now", ROOT, given.cores)]
        chain: Sequence[str] = []
        for pair in range(given.pairs):
            for side in sides[:: 1 if pair % 2 == 0 else -1]:
                try:
                    found = measure_side(side, work / "study", more, work / side.name)
                except RuntimeError as error:
                    sys.exit(f"{side.name}: a command failed. Do the packages fit this code?\n{error}")
                rows += rows_of(found, side.name, pair)
                print(json.dumps({"pair": pair, "side": side.name, "done": list(found)}), flush=True)
            spent = durations_of(work / "now/first")
            chain = chain_lines(longest_chain(spent, rule_edges(ROOT, work / "now/first")), spent)
            write(chain)
        for drives in map(int, filter(None, given.drives.split(","))):
            make_study(Size(drives, drives // DRIVES_A_GOLFER, LOGS), large := work / f"study-{drives}")
            for side in sides:
                used = measure_large(side, large, work / "large")
                rows += rows_of({f"first run, {drives:,} drives": used}, side.name, 0)
                print(json.dumps({"drives": drives, "side": side.name, "wall_s": used[0].wall_s}), flush=True)
            shutil.rmtree(large)
            write(chain)


if __name__ == "__main__":
    main()
