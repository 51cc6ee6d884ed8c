"""The proving ground: `python tests/proving_ground/prove.py FOLDER PROCESSES ACADEMIES`.

Draws that many academies of every world, judges what the pipeline finds in them, and writes tables, a figure and a
README into the folder, and every single judgement into its folder judged/. The same bytes with any number of processes.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import polars as pl
from considered import consider_all, write_considered
from gather import write
from measures import Judged
from prove_world import JUDGED, prove
from worlds import WORLDS


def prove_all(processes: int, academies: int) -> Judged:
    """Judge all worlds; worlds are shared out over processes."""
    with ProcessPoolExecutor(processes) as pool:
        found = list(pool.map(partial(prove, academies=academies), WORLDS))
    return {name: pl.concat([world[name] for world in found], how="diagonal_relaxed") for name in JUDGED}


if __name__ == "__main__":
    target, processes = Path(sys.argv[1]), int(sys.argv[2])
    judged = prove_all(processes, int(sys.argv[3]))
    (target / "judged").mkdir(parents=True, exist_ok=True)
    for name, frame in judged.items():
        frame.write_parquet(target / "judged" / f"{name}.parquet")
    write(judged, target)
    write_considered(consider_all(processes), target)
