"""The proving ground: `python tests/proving_ground/prove.py FOLDER PROCESSES ACADEMIES [WORLD ...]`.

Draws that many academies of every world, judges what the pipeline finds in them, and writes tables, a figure and a
README into the folder, and every single judgement into its folder judged/. The same bytes with any number of processes.
Of worlds that are named it writes the same but for coach.csv and what was considered, which rest on further academies.
"""

import sys
from collections.abc import Callable, Sequence
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


def prove_all(processes: int, academies: int, worlds: Sequence[str] = ()) -> Judged:
    """Judge some worlds, or all and what else the coach's figures need; these tasks are shared out over processes."""
    tasks: list[Callable[[], Judged]] = [partial(prove, world, academies) for world in worlds or WORLDS]
    if not worlds:
        tasks += [*(partial(prove, world, academies) for world in COACH_WORLDS), *further(academies)]
    with ProcessPoolExecutor(processes, get_context("spawn")) as pool:
        return together(list(pool.map(run_task, tasks)))


if __name__ == "__main__":
    target, processes, worlds = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[4:]
    if unknown := set(worlds) - set(WORLDS):
        sys.exit(f"There is no world {', '.join(sorted(unknown))}. There are: {', '.join(WORLDS)}.")
    judged = prove_all(processes, int(sys.argv[3]), worlds)
    (target / "judged").mkdir(parents=True, exist_ok=True)
    for name, frame in judged.items():
        frame.write_parquet(target / "judged" / f"{name}.parquet")
    write(judged, target)
    if not worlds:
        write_considered(consider_all(processes), target)
