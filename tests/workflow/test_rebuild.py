"""A run of the demo made again from its record: the whole workflow, in a folder of its own."""

import json
import os
import subprocess
import sys

import pytest

pytestmark = pytest.mark.bench


def rebuild(folder, root, *arguments):
    command = [sys.executable, "-m", "pipeline", "rebuild", *arguments]
    environment = os.environ | {"PYTHONPATH": str(root)}
    return subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, check=False, timeout=600
    )


def test_a_run_made_again_gives_the_same_figures_and_leaves_the_old_ones(copied, root):
    study, folder = copied
    results = folder / "results/twin-valleys"
    before = {path: path.stat().st_mtime_ns for path in results.rglob("*")}
    made = json.loads((results / "run.json").read_text(encoding="utf-8"))["made"]
    later = study / "study.yaml"
    later.write_text(later.read_text(encoding="utf-8") + "seed: 7\n", encoding="utf-8")  # the record's seed counts

    done = rebuild(folder, root, "results/twin-valleys/run.json", "--study", str(study), "--keep", "again")

    assert (done.returncode, done.stderr) == (0, "")
    last = f"The same figures: {len(made)} of {len(made)} files are the same byte for byte."
    assert done.stdout.splitlines()[-1] == last
    assert {"model/model.json", "golfers/golfers.csv", "report/academy.html", "benchmarks/bands.xlsx"} <= set(made)
    assert {path: path.stat().st_mtime_ns for path in results.rglob("*")} == before
    assert (folder / "again/results/twin-valleys/golfers/golfers.csv").is_file()
