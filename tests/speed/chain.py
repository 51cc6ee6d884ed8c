"""The longest chain of a run's steps, which no number of cores shortens: `python tests/speed/chain.py FOLDER`.

FOLDER is where a run has left logs/STUDY/*.tsv, Snakemake's measurements of each step, and the study as `study`.
"""

import re
import subprocess
import sys
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

import polars as pl

ROOT = Path(__file__).parents[2]


def durations_of(folder: Path) -> dict[str, float]:
    """Give the wall time of each step of a run, s; of those of several jobs that of the longest."""
    found: dict[str, float] = {}
    (logs,) = {path.parent for path in folder.glob("logs/*/load_shots.tsv")}
    for path in sorted([*logs.glob("*.tsv"), *logs.glob("collect_logs/*.tsv")]):
        step = path.stem if path.parent == logs else path.parent.name
        spent = pl.read_csv(path, separator="\t", null_values=["-", "NA"]).get_column("s").sum()
        found[step] = max(found.get(step, 0.0), float(spent))
    return found


def rule_edges(tree: Path, folder: Path, study: str = "study") -> list[tuple[str, str]]:
    """Ask Snakemake which rule takes what another makes; give pairs of rules, the taking one last."""
    where = ["-s", str(tree / "Snakefile"), "--directory", str(folder), "--config", f"study={study}"]
    command = [sys.executable, "-m", "snakemake", "--rulegraph", "mermaid-js", *where]
    drawn = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    names = dict(re.findall(r"^\s*(id\d+)\[(\w+)\]$", drawn, flags=re.MULTILINE))
    pairs = re.findall(r"^\s*(id\d+) --> (id\d+)$", drawn, flags=re.MULTILINE)
    return sorted((names[one], names[other]) for one, other in pairs)


def longest_chain(spent: Mapping[str, float], edges: Sequence[tuple[str, str]]) -> list[str]:
    """Give the chain of steps that takes longest, first to last; a step that wasn't measured took no time.

    Parameters
    ----------
    spent : mapping of str to float
        Time of each step, s.
    edges : sequence of (str, str)
        A step and one that waits for it.
    """
    before: dict[str, list[str]] = {name: [] for edge in edges for name in edge} | {name: [] for name in spent}
    for one, other in edges:
        before[other].append(one)

    @cache
    def chain(step: str) -> tuple[float, list[str]]:
        time, path = max((chain(one) for one in before[step]), default=(0.0, []))
        return time + spent.get(step, 0.0), [*path, step]

    return [step for step in max(map(chain, sorted(before)))[1] if step in spent]


def chain_lines(chain: Sequence[str], spent: Mapping[str, float]) -> list[str]:
    """Write a chain as a table, lines of markdown."""
    total, whole = sum(spent[step] for step in chain), sum(spent.values())
    rows = [f"| {step} | {spent[step]:.1f} |" for step in chain]
    told = f"The longest chain takes {total:.1f} s, all steps one after the other {whole:.1f} s."
    return ["## The longest chain of steps", told, "", "| step | wall time, s |", "|---|---|", *rows]


if __name__ == "__main__":
    where = Path(sys.argv[1])
    times = durations_of(where)
    print("\n".join(chain_lines(longest_chain(times, rule_edges(ROOT, where)), times)))
