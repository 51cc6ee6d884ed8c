"""The proving ground: `python tests/proving_ground/prove.py FOLDER PROCESSES ACADEMIES`.

Draws that many academies of every world, judges what the pipeline finds in them, and writes tables, a figure and a
README into the folder, and every single judgement into its folder judged/. The same bytes with any number of processes.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

from coach import further
from considered import consider_all, write_considered
from gather import write
from measures import Judged
from prove_world import prove, run_task, together
from worlds import COACH_WORLDS, WORLDS


def prove_all(processes: int, academies: int) -> Judged:
    """Judge all worlds and what else the coach's figures need; these tasks are shared out over processes."""
    tasks = [partial(prove, world, academies) for world in (*WORLDS, *COACH_WORLDS)]
    with ProcessPoolExecutor(processes, get_context("spawn")) as pool:
        return together(list(pool.map(run_task, [*tasks, *further(academies)])))


if __name__ == "__main__":
    target, processes = Path(sys.argv[1]), int(sys.argv[2])
    judged = prove_all(processes, int(sys.argv[3]))
    (target / "judged").mkdir(parents=True, exist_ok=True)
    for name, frame in judged.items():
        frame.write_parquet(target / "judged" / f"{name}.parquet")
    write(judged, target)
    write_considered(consider_all(processes), target)
