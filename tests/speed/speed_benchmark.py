"""Speed and scale: `python tests/speed/speed_benchmark.py FOLDER [--parts plain,limit,growth]`.

Writes speed.csv, steps.csv, machine.json and README.md into FOLDER; what other parts measured earlier stays. Everything
is measured on real runs of the workflow and its steps, each in processes of its own, on invented studies.
"""

import argparse
import tempfile
import time
from pathlib import Path

from machine import describe_machine
from speed_parts import MEASURERS, Bench, steps_table
from speed_table import PARTS, write_results


def main() -> None:
    """Run the parts that are asked for, one after the other, and write after each."""
    parser = argparse.ArgumentParser(description="Measure speed and scale.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--parts", default=",".join(PARTS))
    parser.add_argument("--drives", default="100000,1000000,10000000", help="sizes for growth, with commas between")
    parser.add_argument("--cores", type=int, default=2)
    parser.add_argument("--resamples", type=int, default=200, help="of the plain way")
    parser.add_argument(
        "--work", type=Path, help="keeps the studies for another time (a temporary folder if not given)"
    )
    given = parser.parse_args()
    parts = [part for part in PARTS if part in given.parts.split(",")]
    if unknown := set(given.parts.split(",")) - set(PARTS):
        parser.error(f"no such part: {', '.join(sorted(unknown))}")
    machine = describe_machine()
    with tempfile.TemporaryDirectory(prefix="yardband-speed-") as temporary:
        work = (given.work or Path(temporary)).resolve()
        bench = Bench(work, tuple(sorted(map(int, given.drives.split(",")))), given.cores, given.resamples)
        for part in parts:
            begin = time.monotonic()
            lines = MEASURERS[part](bench)
            write_results(given.folder, lines, steps_table(bench), machine)
            print(f"{part}: {time.monotonic() - begin:.0f} s", flush=True)


if __name__ == "__main__":
    main()
